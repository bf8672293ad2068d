"""The rule `foreseeing` on simulated cells: right, quick, and safe where the curve is not what was foreseen."""

import datetime
import itertools
from pathlib import Path

import pytest

from titrator.bench.rig import load_rig
from titrator.control.point import Passing, Point
from titrator.control.rules import increment_rule
from titrator.evaluate.curve import Curve
from titrator.files.edited import Change, edited
from titrator.method import load_method
from titrator.record.journal_reader import read_journal
from titrator.run.course import rig_fields
from titrator.run.evaluation import evaluate_curve, evaluate_run
from titrator.run.frameless import titrate_frameless
from titrator.run.plan import plan_for
from titrator.run.rehearsal import Setup, rehearse

CONFIGS = Path(__file__).parents[2] / "configs"
NOW = datetime.datetime(2026, 11, 26, 12, 0, tzinfo=datetime.UTC)
SEEDS = range(9101, 9105)
ONE_POINT = ("iron_in_pickling_bath", "acetic_acid", "chloride_in_rinse_water")
OTHERS = ("tin_and_iron", "phosphoric_acid", "iodide_and_chloride", "calcium_hardness", "carbonate_with_acid")


def with_rule(name: str, folder: Path, *changes: Change):
    """The method of that name with the rule `foreseeing`, written into `folder`."""
    text = (CONFIGS / "methods" / f"{name}.yaml").read_text(encoding="utf-8")
    text = text.replace("rule: adaptive", "rule: foreseeing\n  finest: 0.004 mL").replace("../", f"{CONFIGS}/")
    path = folder / f"{name}.yaml"
    path.write_text(edited(text, changes), encoding="utf-8")
    return path, load_method(path)


@pytest.mark.parametrize("name", [*ONE_POINT, *OTHERS])
def test_points_are_right_and_sooner_there(name, tmp_path):
    """Within four standard uncertainties, never slower than the rule adaptive on the same cell (simulated time)."""
    _, method = with_rule(name, tmp_path)
    before = load_method(CONFIGS / "methods" / f"{name}.yaml")
    rig = load_rig(method.rehearsal.rig)
    for seed in SEEDS:
        run = titrate_frameless(method, rig, method.rehearsal.cell, seed)
        adaptive = titrate_frameless(before, rig, method.rehearsal.cell, seed)
        assert run.state.value == "finished", run.ending.sentence
        evaluation, _, _ = evaluate_curve(method, Curve.from_points(run.points), rig_fields(rig)["burette"])
        truths_mL = run.truth["equivalence_points_mL"][: method.find.equivalence_points]
        found = evaluation.equivalence_points
        assert len(found) == len(truths_mL), evaluation.warnings
        for point, true_mL in zip(found, truths_mL, strict=True):
            assert abs(point.volume_mL - true_mL) < 4.0 * point.u_random_mL
            random_mL = (
                rig.burette.random_error_mL
            )  # a reading so close about the jump lies on neither side, or on both
            assert sum(each.volume_mL < true_mL + random_mL for each in run.points) >= 4
            assert sum(each.volume_mL > true_mL - random_mL for each in run.points) >= 3
        assert run.duration_s < (0.5 if name in ONE_POINT else 1.25) * adaptive.duration_s


def test_a_second_solid_hands_nothing_over(tmp_path):
    """Silver chloride sets in at iodide's point: the rule itself ends the run, in less than half the time."""
    _, method = with_rule("iodide_and_chloride", tmp_path)
    before = load_method(CONFIGS / "methods" / "iodide_and_chloride.yaml")
    rig = load_rig(method.rehearsal.rig)
    for seed in SEEDS:
        run = titrate_frameless(method, rig, method.rehearsal.cell, seed)
        assert "what was sought" in run.ending.sentence
        assert run.duration_s < 0.5 * titrate_frameless(before, rig, method.rehearsal.cell, seed).duration_s
        iodide_mL, _ = run.truth["equivalence_points_mL"]
        close = [each for each in run.points if 0.0 < iodide_mL - each.volume_mL < 0.05]
        assert len(close) >= 3, "what tells of the corner lies before it"
        behind = [each for each in run.points if 0.0 < each.volume_mL - iodide_mL < 0.3]
        assert 2 <= len(behind) <= 4


def test_no_addition_leaps_over_the_jump(tmp_path):
    """Before the first point behind the jump the plunger rests no further beyond it than a hundredth of the amount."""
    _, method = with_rule("iron_in_pickling_bath", tmp_path)
    rig = load_rig(method.rehearsal.rig)
    for seed in range(9201, 9217):
        run = titrate_frameless(method, rig, method.rehearsal.cell, seed)
        [true_mL] = run.truth["equivalence_points_mL"]
        first_behind = next(point for point in run.points if point.volume_mL > true_mL)
        assert first_behind.volume_mL - true_mL < 0.01 * true_mL


@pytest.mark.parametrize("told", [("0.02", "0.06"), ("0.1", "0.2"), ("0.5", "0.6"), ("2.3", "2.4"), None])
def test_an_expectation_is_not_trusted(told, tmp_path):
    """Baths of 1.2 to 2.2 mol/L of which far less is expected (the flight leaves that behind), more, or nothing."""
    way = ("sample", "expected")
    low, high = told or ("1", "2")
    changes = [Change((*way, "from"), f"{low} mol/L"), Change((*way, "to"), f"{high} mol/L")]
    first = Change(("additions", "first"), "0.02 mL")  # less than the weakest sample takes
    _, method = with_rule("iron_in_pickling_bath", tmp_path, *changes, first)
    if told is None:
        method = method.model_copy(update={"sample": method.sample.model_copy(update={"expected": None})})
    rig = load_rig(method.rehearsal.rig)
    for seed in (9301, 9302, 9303):
        run = titrate_frameless(method, rig, method.rehearsal.cell, seed)
        evaluation, _, _ = evaluate_curve(method, Curve.from_points(run.points), rig_fields(rig)["burette"])
        [point] = evaluation.equivalence_points
        assert abs(point.volume_mL - run.truth["equivalence_points_mL"][0]) < 4.0 * point.u_random_mL
        assert run.duration_s < 400.0, "half of what the rule adaptive takes"


@pytest.mark.parametrize("fault", ["electrode-disconnected@2 s", "electrode-disconnected@8 mL", "noise=2 mV@1 s"])
def test_what_goes_wrong_gives_no_false_point(fault, tmp_path):
    _, method = with_rule("iron_in_pickling_bath", tmp_path)
    rig = load_rig(method.rehearsal.rig)
    for seed in (9401, 9402):
        run = titrate_frameless(method, rig, method.rehearsal.cell, seed, (fault,))
        evaluation, _, _ = evaluate_curve(method, Curve.from_points(run.points), rig_fields(rig)["burette"])
        [true_mL] = run.truth["equivalence_points_mL"]
        assert all(abs(point.volume_mL - true_mL) < 0.02 for point in evaluation.equivalence_points)
        if fault.startswith("electrode"):
            assert run.state.value == "faulted"
            assert all(point.volume_mL < true_mL for point in run.points)


def test_a_blank_is_titrated_without_foresight(tmp_path):
    _, method = with_rule("blank_of_the_iron_method", tmp_path)
    rig = load_rig(method.rehearsal.rig)
    before = load_method(CONFIGS / "methods" / "blank_of_the_iron_method.yaml")
    run, adaptive = (titrate_frameless(each, rig, each.rehearsal.cell, 8) for each in (method, before))
    assert run.points == adaptive.points


def wired(name: str, seed: int, folder: Path, *faults: str):
    """The dry run over the wire, and the run without one: method, rehearsal, its journal, and that run."""
    path, method = with_rule(name, folder)
    rig = load_rig(method.rehearsal.rig)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    setup = Setup(method, path, rig, method.rehearsal.rig, method.rehearsal.cell, seed, faults)
    done = rehearse(setup, folder, NOW)
    return done, read_journal(done.folder.journal), titrate_frameless(method, rig, method.rehearsal.cell, seed, faults)


@pytest.mark.parametrize(
    ("name", "seed", "faults"),
    [
        ("iron_in_pickling_bath", 3, ()),
        ("acetic_acid", 4, ()),
        ("phosphoric_acid", 5, ()),
        ("iron_in_pickling_bath", 6, ("electrode-disconnected@8 mL",)),
    ],
)
def test_over_the_wire_it_is_the_same_run(name, seed, faults, tmp_path):
    """To the last digit; `benchmarks/frameless.py` compares fifty."""
    done, contents, run = wired(name, seed, tmp_path, *faults)
    for kind, found, fields in (("point", run.points, Point._fields), ("passing", run.passing, Passing._fields)):
        lines = [tuple(line[key] for key in fields) for line in contents.of_kind(kind)]
        assert [each._replace(t_s=round(each.t_s, 6)) for each in found] == lines  # the journal keeps microseconds
        assert lines
    [end] = contents.of_kind("end")
    assert (run.state.value, run.ending.cause.value, run.ending.sentence) == (end["state"], end["cause"], end["why"])
    assert run.truth == done.truth


def test_passing_readings_are_kept_and_not_evaluated(tmp_path):
    done, _, run = wired("iron_in_pickling_bath", 3, tmp_path)
    logged, passing = run.points, [each._replace(t_s=round(each.t_s, 6)) for each in run.passing]
    assert len(passing) >= 5
    assert all(one.reached_mL < other.reached_mL for one, other in itertools.pairwise(passing))
    assert passing[-1].reached_mL < logged[2].volume_mL
    told = evaluate_run(done.folder)
    assert list(told.passing) == passing
    assert len(told.curve) == len(logged), "they do not enter the evaluation"
    assert len(told.evaluation.equivalence_points) == 1
    assert not any("control counted" in warning for warning in told.warnings)


def test_an_electrode_that_does_not_answer_is_read_at_rest(tmp_path):
    """No flight on a potential that stays where it was: the watch on the electrode decides on readings at rest."""
    _, method = with_rule("iron_in_pickling_bath", tmp_path)
    initial = Point(0, 6.0, 0.0, 270.0, 0.1, 0.0, 0.1, 0.4, 0.0, 0.1, True, 6.0, 60)
    for potential_mV, flies_on in ((270.2, False), (400.0, True)):
        rule = increment_rule(plan_for(method, load_rig(method.rehearsal.rig)))
        rule.add_point(initial)
        assert rule.next_step().passing
        rule.add_passing(Passing(7.0, 0.05, 270.2, 0.1, 0.1667, 0.1, 10))
        assert rule.next_step().passing, "mixing alone takes longer"
        rule.add_passing(Passing(27.0, 2.5, potential_mV, 0.1, 0.1667, 2.6, 10))
        assert rule.next_step().passing is flies_on
