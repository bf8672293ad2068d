"""Decisions of simulated runs, replayed through the C: the Python with its 64 bits is the reference.

A smaller run of benchmarks/decisions_in_c.py, on seeds of its own; no decision here was looked at before the C was done.
"""

import shutil

import pytest

SEEDS = (1001, 1002)


@pytest.fixture(scope="module")
def recordings(study):
    return {case.stem: [study.record(case, seed) for seed in SEEDS] for case in study.REPLAYED}


def test_32_bits_choose_the_same(study, program, recordings):
    compared = [each for runs in recordings.values() for run in runs for each in study.compare(program, run)]
    assert len(compared) >= 200
    assert sum(each.steps == 0 for each in compared) >= 0.99 * len(compared)
    assert sum(each.same_reading for each in compared) >= 0.99 * len(compared)
    # By the digits of the text that the program prints one smallest addition is not quite one.
    assert max(abs(each.finest) for each in compared) <= 1.001


def test_every_kind_of_decision_is_among_them(study, program, recordings):
    """Flights, approaches, places about the jump, the adaptive rule that takes over, a second jump."""
    decisions = [each for runs in recordings.values() for run in runs for each in run.decisions]
    assert sum(each.passing for each in decisions) >= 30
    assert sum(each.error_mV > 0.0 for each in decisions) >= 100
    assert sum(each.alike for each in decisions) >= 30


def test_another_constant_would_be_noticed(study, recordings, tmp_path, monkeypatch):
    """The comparison can fail: a tenth of a standard deviation nearer to the jump is told by some decisions."""
    for path in study.SOURCE.glob("*.[ch]"):
        shutil.copy(path, tmp_path)
    rule = tmp_path / "rule.c"
    text = rule.read_text(encoding="utf-8")
    assert "SAFE = 2.3f" in text
    rule.write_text(text.replace("SAFE = 2.3f", "SAFE = 2.2f"), encoding="utf-8")
    monkeypatch.setattr(study, "SOURCE", tmp_path)
    program = study.compiled(tmp_path)
    compared = [each for runs in recordings.values() for run in runs for each in study.compare(program, run)]
    assert sum(each.steps == 0 for each in compared) < 0.99 * len(compared)


def test_a_plan_that_it_cannot_hold_is_refused(study, program, recordings):
    words = recordings["acetic_acid"][0].words[0].split()
    at = 1 + 5 + 5 + 2 + 4 + 1  # amounts stand behind settings, direction, costs and vessel
    assert words[at] == "1"
    words[at] = "4"
    with pytest.raises(study.subprocess.CalledProcessError):
        study.replayed(program, [" ".join(words)])
