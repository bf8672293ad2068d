"""Series of recorded runs (simulated): mean, scatter, blanks, a control's recovery; what does not belong together."""

import math
from dataclasses import replace

import numpy as np
import pytest
from demonstration import CELL, METHOD, NOW, RIG, rehearsal

from titrator.bench.rig import load_rig
from titrator.evaluate.blanks import blank_below
from titrator.evaluate.curve import Curve
from titrator.evaluate.evaluation import Estimate, Evaluation
from titrator.evaluate.quantity import Quantity
from titrator.method import load_method
from titrator.report.document import enough_found, run_document
from titrator.run import evaluation
from titrator.run.attendance import Attendance
from titrator.run.blank_run import Blank, blank_of_run
from titrator.run.evaluation import evaluate_run, expectation_of
from titrator.run.rehearsal import Setup, rehearse
from titrator.run.replicates import LabelledRun, SeriesProblem, evaluate_series

BLANK = METHOD.parent / "blank_of_the_iron_method.yaml"
MEANT = METHOD.read_text("utf-8").replace("../", f"{METHOD.parents[1]}/")


def variant(folder, seed, *edits):
    """Evaluate a dry run of the demonstration's method with edits."""
    text = MEANT
    for was, now in edits:
        assert text.count(was) == 1, was
        text = text.replace(was, now)
    path = folder / "method.yaml"
    path.write_text(text, "utf-8")
    setup = Setup(load_method(path), path, load_rig(RIG), RIG, CELL, seed, ())
    return evaluate_run(rehearse(setup, folder / "runs", NOW, Attendance()).folder)


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs")
    return [LabelledRun(f"run {seed}", evaluate_run(rehearsal(seed, folder).folder)) for seed in (1, 2, 3)]


@pytest.fixture(scope="module")
def blank(tmp_path_factory):
    folder = tmp_path_factory.mktemp("blank")
    setup = Setup(load_method(BLANK), BLANK, load_rig(RIG), RIG, CELL, 1, ())
    return LabelledRun("blank", evaluate_run(rehearse(setup, folder, NOW, Attendance()).folder))


def values(runs):
    return [each.run.results[0].value for each in runs]


def test_mean_and_scatter_are_those_of_the_runs(three):
    (told,) = evaluate_series(three).results
    assert told.mean.value == pytest.approx(np.mean(values(three)))
    assert told.series.sd == pytest.approx(np.std(values(three), ddof=1))
    lines = {line.name: line for line in told.mean.budget}
    scatter = lines.pop("scatter of 3 replicates")
    assert scatter.u == pytest.approx(np.std(values(three), ddof=1) / math.sqrt(3))
    assert set(lines) == {"titrant concentration", "burette calibration", "aliquot", "dilution"}
    # What is shared is in the mean as large as in one run, relative to the value.
    one = {line.name: line for line in three[0].run.results[0].budget}
    for name, line in lines.items():
        relative = one[name].contribution / three[0].run.results[0].value
        assert line.contribution / told.mean.value == pytest.approx(relative, rel=1e-9)


def test_an_exclusion_stays_listed_with_its_reason(three):
    runs = [*three[:2], replace(three[2], excluded="a bubble in the burette")]
    (told,) = evaluate_series(runs).results
    assert told.mean.value == pytest.approx(np.mean(values(three[:2])))
    assert told.to_json()["replicates"][2]["excluded"] == "a bubble in the burette"
    assert told.to_json()["n"] == 2


def test_one_run_that_counts_is_its_own_mean(three):
    runs = [three[0], *(replace(each, excluded="spilled") for each in three[1:])]
    (told,) = evaluate_series(runs).results
    assert told.mean.value == pytest.approx(values(three)[0])
    assert told.mean.u == pytest.approx(three[0].run.results[0].u)
    assert told.series.sd is None


def test_all_excluded_is_refused(three):
    with pytest.raises(SeriesProblem, match="not excluded"):
        evaluate_series([replace(each, excluded="spilled") for each in three])


def test_a_blank_below_the_first_addition_is_told_and_not_taken_off(three, blank):
    assert blank.run.blank.below_mL == pytest.approx(0.05)
    # 0.05 mL of 0.1 mol/L in an aliquot of 10 mL: 0.0005 mol/L.
    assert blank.run.blank.concentration_below_mol_per_L == pytest.approx(0.0005)
    found = evaluate_series([*three, blank])
    assert found.results[0].mean.value == pytest.approx(np.mean(values(three)))
    assert "less than 0.05 mL" in found.blank_sentence


def test_blanks_with_a_volume_are_taken_off(three, blank):
    """Two blanks of 0.09 and 0.11 mL: 0.1 mL of 0.1 mol/L, times 10 / 10 mL: 0.01 mol/L less."""

    def with_volume(label, volume_mL):
        told = Blank(Quantity("blank", volume_mL, 0.01, "mL"), None, None, "")
        return LabelledRun(label, replace(blank.run, blank=told))

    found = evaluate_series([*three, with_volume("b1", 0.09), with_volume("b2", 0.11)])
    assert found.results[0].mean.value == pytest.approx(np.mean(values(three)) - 0.01)
    line = next(line for line in found.results[0].mean.budget if line.name == "blank")
    assert (line.u, line.dof) == (pytest.approx(0.01), 1)  # s = 0.01414, divided by √2
    assert "taken off" in found.blank_sentence
    mixed = evaluate_series([*three, with_volume("b1", 0.1), blank])
    assert mixed.results[0].mean.value == pytest.approx(np.mean(values(three)))
    assert any("find out why" in each for each in mixed.warnings)


def test_blanks_alone_are_no_series(blank):
    with pytest.raises(SeriesProblem, match="blanks only"):
        evaluate_series([blank, replace(blank, label="another")])


def test_another_sample_is_refused(three, tmp_path):
    other = variant(tmp_path, 4, ("aliquot: {value: 10.00 mL, u: 0.010 mL}", "aliquot: {value: 9.00 mL, u: 0.010 mL}"))
    with pytest.raises(SeriesProblem, match="another sample in other"):
        evaluate_series([*three, LabelledRun("other", other)])


def test_another_burette_is_refused(three):
    other = replace(three[1], run=replace(three[1].run, burette={"calibration_half_width": 0.001}))
    with pytest.raises(SeriesProblem, match="one burette"):
        evaluate_series([three[0], other])


def test_the_control_sample_has_its_recovery(tmp_path):
    """By hand: found over certified, u from both relative parts."""
    found = variant(tmp_path, 5, ("kind: unknown", "kind: standard\n  certified: {value: 1.5 mol/L, u: 0.003 mol/L}"))
    result, recovery = found.results[0], found.recovery
    assert recovery.ratio.value == pytest.approx(result.value / 1.5)
    relative = math.hypot(result.u / result.value, 0.002)
    assert recovery.ratio.u / recovery.ratio.value == pytest.approx(relative)
    assert recovery.score == pytest.approx((recovery.ratio.value - 1.0) / recovery.ratio.u)
    series = evaluate_series([LabelledRun("a", found), LabelledRun("b", found)])
    assert series.recovery.ratio.value == pytest.approx(recovery.ratio.value)


def test_the_keys_of_the_method_reach_the_result(tmp_path):
    """The same run with a blank of 0.1 mL, 0.5 % of sampling: 0.01 mol/L less, and two more lines."""
    plain = evaluate_run(rehearsal(6, tmp_path / "plain").folder)
    edited = variant(
        tmp_path, 6, ("kind: unknown", "kind: unknown\n  blank: {value: 0.1 mL, u: 0.01 mL}\n  sampling: 0.5 %")
    )
    assert plain.results[0].value - edited.results[0].value == pytest.approx(0.01)
    assert {"blank", "sampling"} <= {line.name for line in edited.results[0].budget}


def blank_curve(signal_mV):
    volumes = 0.05 * np.arange(len(signal_mV))
    return Curve(volumes, np.array(signal_mV, float), "mV", sd_signal=np.full(len(signal_mV), 0.2))


def told_of(signal_mV):
    method = load_method(BLANK)
    burette = {"random_error_mL": 0.001, "calibration_half_width": 0.002}
    return blank_of_run(method, blank_curve(signal_mV), burette, expectation_of(method, burette))


def test_an_electrode_that_stays_on_the_side_of_iron_says_nothing():
    """Iron in the vessel: the first addition lifts the potential most, but to 390 mV, not to that of cerium."""
    found, why = told_of([250, 390, 408, 420, 428, 435, 441, 446, 450, 454])
    assert found is None
    assert "takes more titrant than was delivered" in why[0]


def test_a_dead_electrode_says_nothing():
    found, why = told_of([300.0] * 10)
    assert found is None
    assert "says nothing" in why[0]


def test_one_reading_says_nothing():
    found, why = told_of([300.0])
    assert found is None
    assert "before and one behind" in why[0]


def test_a_good_blank_lies_below_the_first_addition():
    found, why = told_of([500, 1250, 1270, 1281, 1289, 1295, 1300, 1304, 1307, 1310])
    assert why == []
    assert found.volume == blank_below(0.05)
    assert found.to_json()["volume_mL"] is None


def test_a_method_that_extrapolates_takes_its_estimates(tmp_path, monkeypatch):
    """17.0 mL of 0.1 mol/L, times 10 / 10 mL: 1.7 mol/L, from the estimate and marked; by the jump there is none."""
    estimate = Estimate(17.0, 0.02, (16.96, 17.04), "gran", "it was not bracketed")
    monkeypatch.setattr(evaluation, "find_equivalence_points", lambda *_: Evaluation(estimates=(estimate,)))
    by_jump = variant(tmp_path, 7)
    assert by_jump.results == []
    edit = ("find: {equivalence_points: 1}", "find: {equivalence_points: 1, by: extrapolation}")
    extrapolated = variant(tmp_path, 7, edit)
    assert extrapolated.results[0].value == pytest.approx(1.7)
    assert all(each.from_estimate for each in extrapolated.results)
    assert enough_found(run_document(extrapolated), 1)
    assert not enough_found(run_document(by_jump), 1)


OXALATE = """standardised:
    standard: Na2C2O4
    mass: {value: 0.1340 g, linearity: 0.1 mg}
    standard_per_titrant: 0.5
    volume: {value: 20.00 mL, u: 0.002 mL}"""


def test_the_burette_cancels_where_it_standardised_the_titrant(tmp_path):
    """A burette of ±5 % hardly matters: 8 results (seeds stated before) within 4 u, u below 0.2 %."""
    rig = tmp_path / "rig.yaml"
    text = RIG.read_text("utf-8")
    assert text.count("half_width: 0.2 %") == 1
    rig.write_text(text.replace("half_width: 0.2 %", "half_width: 5 %"), "utf-8")
    path = tmp_path / "method.yaml"
    path.write_text(MEANT.replace("concentration: {value: 0.1000 mol/L, u: 0.0002 mol/L}", OXALATE), "utf-8")
    for seed in range(1, 9):
        setup = Setup(load_method(path), path, load_rig(rig), rig, CELL, seed, ())
        done = rehearse(setup, tmp_path / "runs", NOW, Attendance())
        result = evaluate_run(done.folder).results[0]
        assert result.u / result.value < 0.002
        assert abs(result.value - done.truth["results"][0]["value"]) <= 4.0 * result.u
        assert abs(done.truth["drawn"]["burette_calibration"]) <= 0.05
