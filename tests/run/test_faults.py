"""Every fault of the catalogue in a dry run of the demonstration (simulated): what it does, and that the run ends.

What a fault does is checked by arithmetic on the truth, or against the same run without it: both are the same to the
byte until the fault strikes, noise included.
"""

import functools
import json
import statistics
import tempfile
from pathlib import Path

import pytest
from demonstration import CONFIGS, NOW, rehearsal

from sim.faults.catalogue import CATALOGUE
from titrator.bench.rig import load_rig
from titrator.files import InputProblem
from titrator.method import load_method
from titrator.record.journal_reader import read_journal
from titrator.run.evaluation import evaluate_run
from titrator.run.rehearsal import Setup, rehearse

SEED = 5
STEP_ML = 0.000625


class Run:
    """A dry run, with its readings by time in ms."""

    def __init__(self, *faults, seed=SEED, made=None):
        with tempfile.TemporaryDirectory() as runs:
            done = made(Path(runs)) if made else rehearsal(seed, Path(runs), faults)
            self.journal = done.folder.journal.read_bytes()
            self.stored = json.loads(done.folder.truth.read_text(encoding="utf-8"))
            contents = read_journal(done.folder.journal)
            self.evaluated = evaluate_run(done.folder)
        self.truth = done.truth
        self.end = contents.of_kind("end")[-1]
        self.points = contents.of_kind("point")
        self.readings = {
            t_ms: uV / 1000
            for block in contents.of_kind("readings")
            for t_ms, uV in zip(block["times_ms"], block["uV"], strict=True)
        }

    @property
    def struck_ms(self):
        return round(1000 * self.truth["faults"][0]["struck_s"])

    @property
    def struck_mL(self):
        return self.truth["faults"][0]["struck_mL"]

    def after_mV(self, sound, seconds=2.0):
        """Readings minus those of the sound run, from the strike on, for as long as both do the same."""
        window = range(self.struck_ms, self.struck_ms + int(1000 * seconds) + 1)
        return {t_ms: uV - sound.readings[t_ms] for t_ms, uV in self.readings.items() if t_ms in window}

    def waits_s(self):
        """How long each point after 9 mL was waited for."""
        return [point["waited_s"] for point in self.points if point["volume_mL"] > 9]


@functools.cache
def sound():
    return Run()


@functools.cache
def run(*faults):
    return Run(*faults)


CASES = [f"{name}@{when}" for name in CATALOGUE for when in ("8 mL", "0 s")]


@pytest.mark.parametrize("words", CASES)
def test_the_run_ends_in_order_and_the_fault_has_struck_once_on_time(words):
    done = run(words)
    assert done.end["state"] in ("finished", "faulted", "stopped")
    (fault,) = done.truth["faults"]
    assert fault["name"] == words.partition("@")[0]
    if words.endswith("0 s"):
        assert done.struck_ms == min(done.readings)
    else:  # at the first reading after it is due: 0.1 s at 10 mL/min are 17 µL
        assert 8.0 <= fault["struck_mL"] < 8.0 + 0.018


@pytest.mark.parametrize("words", CASES)
def test_no_volume_is_made_or_forgotten_and_the_steps_are_those_of_the_journal(words):
    truth = run(words).truth
    where = truth["not_delivered"] or {"in_bubbles_mL": 0, "hanging_mL": 0, "lost_mL": 0, "ahead_mL": 0}
    found_mL = truth["delivered_mL"] + where["in_bubbles_mL"] + where["hanging_mL"] + where["lost_mL"]
    assert found_mL == pytest.approx(truth["left_the_syringe_mL"] + where["ahead_mL"], abs=1e-9)
    assert round(run(words).end["volume_mL"] / STEP_ML) == truth["steps"]


@pytest.mark.parametrize("words", CASES)
def test_neither_journal_nor_evaluation_knows_of_it_and_the_truth_file_does(words):
    done = run(words)
    name = words.partition("@")[0]
    if "-" in name:  # plain words like noise stand in every journal
        assert name.encode() not in done.journal
    first = json.loads(done.journal.splitlines()[0])
    assert first == json.loads(sound().journal.splitlines()[0])
    assert done.stored["faults"] == done.truth["faults"]


@pytest.mark.parametrize("name", CATALOGUE)
def test_until_it_strikes_everything_is_as_without_it(name):
    done = run(f"{name}@8 mL")
    before = {t_ms: mV for t_ms, mV in done.readings.items() if t_ms < done.struck_ms}
    assert len(before) > 1000
    assert before.items() <= sound().readings.items()


# ------------------------------------------------------------------------------------------------ what each one does
def bubble(done):
    where = done.truth["not_delivered"]
    assert where["lost_mL"] == pytest.approx(0.05)


def lost_steps(done):
    truth = done.truth
    assert truth["steps"] - truth["carriage_steps"] == truth["steps"] - truth["pushed_steps"] == 80


def stall(done):
    assert done.truth["delivered_mL"] - done.struck_mL <= 2 * STEP_ML
    assert done.truth["steps"] > done.truth["carriage_steps"]


def drop_hangs(done):
    assert 0 <= done.truth["not_delivered"]["hanging_mL"] < 0.05


def tip_blocked(done):
    assert done.truth["delivered_mL"] == done.struck_mL
    assert done.truth["not_delivered"]["lost_mL"] > 1


def calibration_shift(done):
    truth, scale = done.truth, 1 + done.truth["drawn"]["burette_calibration"]
    after_mL = truth["steps"] * STEP_ML * scale - done.struck_mL
    # Two positions, each known to a random error of 0.001 mL: four standard deviations.
    assert truth["delivered_mL"] - done.struck_mL == pytest.approx(1.005 * after_mL, abs=4 * 0.0015)


def backlash(done):
    assert done.truth["steps"] - done.truth["pushed_steps"] == 0.01 / STEP_ML
    assert done.truth["carriage_steps"] == done.truth["steps"]


def tip_diffusion(done):
    assert 0 < done.truth["not_delivered"]["ahead_mL"] <= 0.02


def stirrer_off(done):
    # An addition of 1 mL does not arrive: the potential stays behind that of the stirred vessel.
    t_ms = done.struck_ms + 8000
    assert done.readings[t_ms] < sound().readings[t_ms] - 1.0


def same_as_sound(done):
    assert done.journal == sound().journal


def tip_outside_stream(done):
    # The pocket empties with 60 s, where mixing takes 1.5 s.
    assert statistics.median(done.waits_s()) > 1.2 * statistics.median(sound().waits_s())


def evaporation(done):
    truth = done.truth
    passed_h = (max(done.readings) - done.struck_ms) / 3.6e6
    expected_mL = 50 + truth["delivered_mL"] - 5 * passed_h
    assert truth["vessel_mL"] == pytest.approx(expected_mL, abs=0.01)


def warming(done):
    passed_min = (max(done.readings) - done.struck_ms) / 6e4
    assert done.truth["vessel_C"] == pytest.approx(20 + 0.5 * passed_min, abs=0.05)


def acid_missing(done):
    # Iron(III) hydrolyses where only the acid of the titrant is left: the couple's potential falls.
    last = max(done.after_mV(sound(), 4.0).items())
    assert last[1] < -1.0


def coated(done):
    assert statistics.median(done.waits_s()) > 2 * statistics.median(sound().waits_s())


def cracked(done):
    # A fifth of the potential remains; the electrode needs its few seconds to get there.
    t_ms = done.struck_ms + 20_000
    assert done.readings[t_ms] == pytest.approx(0.2 * sound().readings[t_ms], abs=15.0)


def oxide(done):
    t_ms = done.struck_ms + 20_000
    assert 10 < done.readings[t_ms] - sound().readings[t_ms] <= 31


def reference_shift(done):
    # Both are rounded to the ADC's 0.1 mV.
    assert all(abs(shift - 20.0) < 0.11 for shift in done.after_mV(sound()).values())


def disconnected(done):
    assert max(done.readings.values()) > 1500.0


def hum(done):
    shifts = done.after_mV(sound()).values()
    assert max(map(abs, shifts)) <= 5.11
    assert any(shifts)


def noise(done):
    shifts = list(done.after_mV(sound(), 3.0).values())
    # 30 draws of a standard deviation of 2 mV: between 1.1 and 3.1 mV in all but one case of a thousand (chi-square).
    assert 1.1 < statistics.pstdev(shifts, 0.0) < 3.1


def drift(done):
    for t_ms, shift in done.after_mV(sound(), 5.0).items():
        assert shift == pytest.approx(0.05 * (t_ms - done.struck_ms) / 1000, abs=0.11)


DOES = {
    "bubble": bubble, "lost-steps": lost_steps, "stall": stall, "drop-hangs": drop_hangs, "tip-blocked": tip_blocked,
    "calibration-shift": calibration_shift, "backlash": backlash, "tip-diffusion": tip_diffusion,
    "stirrer-off": stirrer_off,
    "stirrer-on": same_as_sound,  # it turned all along
    "tip-outside-stream": tip_outside_stream, "evaporation": evaporation, "warming": warming,
    "air": same_as_sound,  # the demonstration's vessel is open, and there is acid
    "acid-missing": acid_missing, "electrode-coated": coated, "electrode-cracked": cracked, "electrode-oxide": oxide,
    "reference-shift": reference_shift, "electrode-disconnected": disconnected,
    "input-leak": same_as_sound,  # platinum has no resistance to speak of
    "hum": hum, "noise": noise, "drift": drift,
}  # fmt: skip


@pytest.mark.parametrize("name", CATALOGUE)
def test_it_does_what_its_entry_says(name):
    DOES[name](run(f"{name}@8 mL"))


def test_what_falls_from_the_tip_are_whole_drops():
    done = run("drop-hangs@0 s")
    # The truth knows the volume: without the tip's drops it would be that of the steps to 0.005 mL.
    hanging_mL = done.truth["not_delivered"]["hanging_mL"]
    assert done.truth["left_the_syringe_mL"] - done.truth["delivered_mL"] == pytest.approx(hanging_mL)


def test_a_stirrer_that_turns_again_brings_the_potential_back():
    done = Run("stirrer-off@8 mL", "stirrer-on@330 s")
    assert done.end["state"] == "finished"
    (point,) = done.evaluated.evaluation.equivalence_points
    assert point.volume_mL == pytest.approx(done.truth["equivalence_points_mL"][0], abs=0.02)


def other(method_name, fault, cell_path=None):
    """A dry run of another method, with a fault."""
    path = CONFIGS / "methods" / f"{method_name}.yaml"
    method = load_method(path)
    rig_path, cell_path = method.rehearsal.rig, cell_path or method.rehearsal.cell

    def made(runs):
        faults = () if fault is None else (fault,)
        return rehearse(Setup(method, path, load_rig(rig_path), rig_path, cell_path, SEED, faults), runs, NOW)

    return Run(made=made)


def test_air_reaches_tin_under_an_inert_gas():
    kept, open_to_air = other("tin_plating_bath", None), other("tin_plating_bath", "air@0 s")
    assert kept.truth["equivalence_points_mL"] == open_to_air.truth["equivalence_points_mL"]
    with_gas, without = (each.evaluated.evaluation.equivalence_points for each in (kept, open_to_air))
    # Air uses up tin(II): less titrant is needed.
    assert without[0].volume_mL < with_gas[0].volume_mL - 0.02


def test_a_leaking_input_takes_a_part_of_a_glass_electrodes_potential(tmp_path):
    cell = tmp_path / "cell.yaml"
    sound_cell = (CONFIGS / "cells" / "phosphoric_acid.yaml").read_text(encoding="utf-8")
    lines = [line for line in sound_cell.splitlines() if not line.startswith("  resistance:")]
    cell.write_text("\n".join(lines).replace("electrode:\n", "electrode:\n  resistance: 250 MOhm\n"), encoding="utf-8")
    whole = other("phosphoric_acid", None, cell)
    leaking = other("phosphoric_acid", "input-leak=1000 MOhm@0 s", cell)
    for t_ms in sorted(whole.readings)[:10]:
        # A divider of 250 and 1000 megohms; drift and noise (0.25 mV or so) do not all pass through it.
        assert leaking.readings[t_ms] == pytest.approx(0.8 * whole.readings[t_ms], abs=0.5)
    assert abs(whole.readings[min(whole.readings)]) > 50


def test_the_same_words_give_the_same_run_to_the_byte():
    words = ("drop-hangs@3 mL", "noise=1 mV@60 s", "bubble@8 mL")
    assert Run(*words).journal == Run(*words).journal


def test_a_fault_that_comes_too_late_is_told_as_such():
    done = Run("stall@24 mL", seed=1)
    (fault,) = done.truth["faults"]
    assert (fault["struck_s"], fault["struck_mL"]) == (None, None)
    assert done.journal == Run(seed=1).journal


def test_wrong_words_leave_no_folder(tmp_path):
    with pytest.raises(InputProblem, match="did you mean stall"):
        rehearsal(1, tmp_path / "runs", ("stal@8 mL",))
    assert not (tmp_path / "runs").exists()


def test_every_fault_has_its_check():
    assert set(DOES) == set(CATALOGUE)
