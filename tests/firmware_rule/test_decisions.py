"""Simulated runs, replayed through the C: the Python with its 64 bits is the reference.

A smaller run of benchmarks/decisions_in_c.py, on seeds of its own.
"""

import re
import shutil

import pytest

SEEDS = (1001, 1002)


@pytest.fixture(scope="module")
def recordings(study):
    return {case.name: [study.record(case, seed) for seed in SEEDS] for case in study.REPLAYED}


@pytest.fixture(scope="module")
def runs(recordings):
    return [run for each in recordings.values() for run in each]


def test_32_bits_choose_the_same(study, program, runs):
    decided = [each for run in runs for each in study.decided(program, run)]
    assert len(decided) >= 200
    assert sum(each.steps == 0 for each in decided) >= 0.99 * len(decided)
    assert sum(each.same_reading for each in decided) >= 0.99 * len(decided)
    assert max(abs(each.smallest) for each in decided) <= 1.0


def test_every_kind_of_decision_is_among_them(runs):
    """Flights, readings at rest, an electrode that answers alike."""
    decisions = [each for run in runs for each in run.decisions]
    assert sum(each.passing for each in decisions) >= 30
    assert sum(each.error_mV > 0.0 for each in decisions) >= 100
    assert sum(each.alike for each in decisions) >= 30


def test_32_bits_choose_the_same_once_the_rule_has_handed_over(study, program):
    """Told a wrong law it does, and `adaptive` goes on."""
    runs = [study.record(study.MISLED, seed, study.misled) for seed in SEEDS]
    decided = [each for run in runs for each in study.decided(program, run)]
    assert sum(each.handed_over for each in decided) >= 20
    assert sum(each.steps == 0 for each in decided) >= 0.99 * len(decided)
    assert max(abs(each.smallest) for each in decided) <= 1.0


def test_additions_are_whole_smallest_ones(runs):
    """Whole ones of `finest`, and beyond ten times `least` whole ones of that; about there of either."""
    for run in runs:
        for each in run.decisions:
            times = each.addition_mL / run.least_mL
            units_mL = ([run.finest_mL] if times < 10.5 else []) + ([run.least_mL] if times > 9.5 else [])
            parts = [each.addition_mL / unit_mL for unit_mL in units_mL]
            assert min(abs(part - round(part)) for part in parts) < 1e-6


def test_32_bits_log_the_same(study, program, runs):
    logged = [each for run in runs for each in study.logged(program, run.settling_words, run.settlements)]
    assert len(logged) >= 200
    assert sum(each.same_reading for each in logged) >= 0.99 * len(logged)
    away = [each.times for each in logged if each.same_reading]
    # The search for the tail may end an attempt sooner in 64 bits: a step of 0.7999 of the span, the limit being 0.8.
    assert sum(each < 0.02 for each in away) >= 0.99 * len(away)
    assert max(away) < 1.0, (
        "a choice within the forecast may fall the other way; the reading stays within its own error"
    )


def test_32_bits_average_the_same_in_passing(study, program, runs):
    """A reading one second before the leg's end counts or not, by the last bit of either."""
    passed = [each for run in runs for each in study.passed(program, run.legs)]
    assert len(passed) >= 50
    assert sum(each.same_reading for each in passed) >= 0.95 * len(passed)
    assert max(each.times for each in passed if each.same_reading) < 0.02


@pytest.mark.parametrize(("file", "name"), [("choosing.c", "SAFE"), ("estimate.c", "MISFIT")])
def test_another_constant_would_be_noticed(study, recordings, tmp_path, monkeypatch, file, name):  # noqa: PLR0917
    """The comparison can fail: some readings further from the jump, a law that may err half as much again."""
    for path in study.SOURCE.glob("*.[ch]"):
        shutil.copy(path, tmp_path)
    text = (tmp_path / file).read_text(encoding="utf-8")
    text, changed = re.subn(rf"\b{name} = ([\d.]+)f", lambda found: f"{name} = {1.5 * float(found[1]):g}f", text)
    assert changed == 1
    (tmp_path / file).write_text(text, encoding="utf-8")
    monkeypatch.setattr(study, "SOURCE", tmp_path)
    program = study.compiled(tmp_path)
    iron = recordings["iron(II) with cerium(IV)"] + recordings["iron(II) with permanganate"]
    decided = [each for run in iron for each in study.decided(program, run)]
    assert sum(each.steps == 0 for each in decided) < 0.99 * len(decided)


def test_a_plan_that_it_cannot_hold_is_refused(study, program, recordings):
    words = recordings["acetic acid with hydroxide"][0].rule_words[0].split()
    at = 1 + 5 + 5 + 2 + 4 + 1  # amounts stand behind settings, direction, costs and vessel
    assert words[at] == "1"
    words[at] = "4"
    with pytest.raises(study.subprocess.CalledProcessError):
        study.replayed(program, [" ".join(words)])
