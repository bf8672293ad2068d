"""Recorded runs evaluated from their journals (simulated; the truth is the simulator's and never opened here)."""

import math
import sys

import pytest
from demonstration import METHOD, rehearsal

from titrator.chemistry.references import reference_potential_V
from titrator.method import load_method
from titrator.record.journal_reader import JournalDamagedError
from titrator.run.evaluation import evaluate_run, expectation_of

SEEDS = range(1, 25)  # stated before they were run; the study of benchmarks/accuracy.md goes on to 200


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs")
    done = [rehearsal(seed, folder) for seed in SEEDS]
    return [(each, evaluate_run(each.folder)) for each in done]


def errors_mL(runs):
    return [
        evaluated.evaluation.equivalence_points[0].volume_mL - done.truth["equivalence_points_mL"][0]
        for done, evaluated in runs
    ]


def test_every_run_finds_its_one_point(runs):
    assert [len(evaluated.evaluation.equivalence_points) for _, evaluated in runs] == [1] * len(SEEDS)


def test_volumes_lie_within_3_microlitres_of_the_truth_as_indicated(runs):
    # At least 95 in 100, and none beyond 0.010 mL: 23 of these 24.
    errors = [abs(error) for error in errors_mL(runs)]
    assert sum(error <= 0.003 for error in errors) >= 23
    assert max(errors) <= 0.010


def test_the_fit_beats_the_largest_first_derivative(runs):
    def rms(way):
        squares = []
        for done, evaluated in runs:
            (found,) = [each for each in evaluated.evaluation.by_method if each.name == way]
            squares.append((found.volume_mL - done.truth["equivalence_points_mL"][0]) ** 2)
        return math.sqrt(sum(squares) / len(squares))

    assert rms("model-fit") < 0.5 * rms("first-derivative")


def test_the_concentration_agrees_with_the_truth_within_its_uncertainty(runs):
    # Normalised errors of 24 independent draws: none beyond 4 u, and at most 4 beyond U (2 in 24 expected at most
    # 0.05 · 24 = 1.2 on average; more than 4 has a chance of 0.6 %).
    scores = [
        (evaluated.results[0].value - done.truth["results"][0]["value"]) / evaluated.results[0].u
        for done, evaluated in runs
    ]
    assert max(map(abs, scores)) <= 4.0
    assert sum(abs(score) > evaluated.results[0].k for score, (_, evaluated) in zip(scores, runs, strict=True)) <= 4


def test_few_additions_are_enough(runs):
    assert sorted(evaluated.additions for _, evaluated in runs)[len(runs) // 2] <= 40


def test_the_truth_is_never_opened(tmp_path):
    done = rehearsal(30, tmp_path)
    opened = []
    listening = True
    sys.addaudithook(lambda name, args: opened.append(str(args[0])) if listening and name == "open" else None)
    evaluated = evaluate_run(done.folder)
    listening = False
    assert any(path.endswith("journal.jsonl") for path in opened)  # the hook hears what is opened
    assert not any(path.endswith("truth.json") for path in opened)
    done.folder.truth.unlink()
    assert evaluate_run(done.folder).results == evaluated.results


def test_a_torn_last_line_is_left_aside_with_a_warning(tmp_path):
    done = rehearsal(31, tmp_path)
    whole = evaluate_run(done.folder)
    raw = done.folder.journal.read_bytes()
    done.folder.journal.write_bytes(raw[:-20])
    torn = evaluate_run(done.folder)
    assert any("torn" in warning for warning in torn.warnings)
    assert (torn.state, torn.why) == ("finished", "the record breaks off here")
    assert torn.evaluation.equivalence_points == whole.evaluation.equivalence_points


def test_a_changed_record_is_refused(tmp_path):
    done = rehearsal(32, tmp_path)
    raw = done.folder.journal.read_bytes()
    done.folder.journal.write_bytes(raw.replace(b'"potential_mV":', b'"potential_mV": ', 1))
    with pytest.raises(JournalDamagedError):
        evaluate_run(done.folder)


def test_what_is_expected_follows_from_method_and_tables():
    # Formal potentials: a textbook table, 1 mol/L sulfuric acid. Reference: an electrode maker's table, 20 °C.
    expectation = expectation_of(load_method(METHOD), None)
    assert reference_potential_V("silver/silver chloride", "3 mol/L KCl", 20.0) == 0.210
    assert expectation.analyte_potential_mV == pytest.approx(470.0)
    assert expectation.titrant_potential_mV == pytest.approx(1230.0)
    assert expectation.sd_volume_mL is None
