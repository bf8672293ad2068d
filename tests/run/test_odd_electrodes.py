"""Whole dry runs (simulated) whose electrode misbehaves: through amplifier, wire, plan and controller."""

import pytest
from demonstration import CELL, METHOD, NOW, RIG

from sim.cell import SimulatedCell
from titrator.bench.rig import load_rig
from titrator.method import load_method
from titrator.record.journal_reader import read_journal
from titrator.run.rehearsal import Setup, rehearse

CERIUM = "potential_beyond: 1300 mV"


@pytest.fixture
def ended(tmp_path, monkeypatch):
    """Runs the demonstration with potentials of `of(t_s, delivered_mL, potential_mV)`: its last line and the truth."""

    def run(of, potential_beyond=CERIUM, stroke="stroke: 25 mL"):
        sample = SimulatedCell.sample
        monkeypatch.setattr(SimulatedCell, "sample", lambda cell, t_s, mL: of(t_s, mL, sample(cell, t_s, mL)))
        text = METHOD.read_text(encoding="utf-8").replace(CERIUM, potential_beyond)
        text = text.replace("../", f"{METHOD.parents[1]}/")
        method, rig = tmp_path / "method.yaml", tmp_path / "rig.yaml"
        method.write_text(text, encoding="utf-8")
        rig.write_text(RIG.read_text(encoding="utf-8").replace("stroke: 25 mL", stroke), encoding="utf-8")
        done = rehearse(Setup(load_method(method), method, load_rig(rig), rig, CELL, 1), tmp_path / "runs", NOW)
        return read_journal(done.folder.journal).of_kind("end")[-1] | {
            "truth_mL": done.truth["equivalence_points_mL"][0]
        }

    return run


def test_a_dead_input_is_found_within_the_volume_that_the_method_states(ended):
    end = ended(lambda t_s, _mL, _mV: 300.0 + 0.2 * (round(10 * t_s) % 2))
    assert (end["state"], end["cause"]) == ("faulted", "electrode")
    assert "changed by only" in end["why"]
    assert end["volume_mL"] <= 2.0  # the method states 1 mL, and no addition is larger than 1 mL


def test_an_end_by_potential(ended):
    end = ended(lambda _t_s, _mL, mV: mV, "potential_beyond: 600 mV")
    assert (end["state"], end["cause"]) == ("finished", "potential")


def test_an_end_by_potential_on_a_falling_curve(ended):
    end = ended(lambda _t_s, _mL, mV: 700.0 - mV, "potential_beyond: 0 mV")
    assert (end["state"], end["cause"]) == ("finished", "potential")
    assert end["volume_mL"] > 0.9 * end["truth_mL"]  # at the jump, not at the first point


def test_readings_at_a_rail_now_and_then_do_not_end_a_run(ended):
    # Five readings at a rail in every minute: fifty and more in the run, never ten in a row.
    end = ended(lambda t_s, _mL, mV: 2000.0 if t_s % 60.0 > 59.55 else mV)
    assert end["cause"] != "electrode"


def test_a_bubble_is_no_jump(ended):
    end = ended(lambda _t_s, mL, mV: mV + (100.0 if 5.0 < mL < 6.2 else 0.0))
    assert (end["state"], end["cause"]) == ("finished", "points")
    assert end["volume_mL"] > end["truth_mL"]


def test_a_stroke_that_is_no_whole_number_of_steps_is_counted_alike_on_both_sides(ended):
    end = ended(lambda _t_s, _mL, mV: mV, stroke="stroke: 24.5004 mL")
    assert (end["state"], end["cause"]) == ("finished", "points")
