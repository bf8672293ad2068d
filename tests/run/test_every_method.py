"""Every method of configs/methods rehearses to its end and is evaluated (simulated)."""

import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from titrator.bench.rig import load_rig
from titrator.cli.main import main
from titrator.control.plan import Plan
from titrator.method import load_method
from titrator.report.document import truth_document
from titrator.run.evaluation import evaluate_run
from titrator.run.expectations import expectation_of
from titrator.run.plan import plan_for
from titrator.run.rehearsal import Setup, rehearse

CONFIGS = Path(__file__).parents[2] / "configs"
METHODS = sorted((CONFIGS / "methods").glob("*.yaml"))
NOW = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
SEED = 1  # the seed of a dry run without options
NEAR_mL = 0.05
"""A point further from the truth is another one."""


def test_there_are_a_dozen_of_every_family():
    methods = [load_method(path) for path in METHODS]
    assert len(methods) >= 12
    families = {method.reaction.known.family for method in methods}
    assert families == {"redox", "acid-base", "precipitation", "complexation"}
    assert any(method.find.equivalence_points == 2 for method in methods)
    assert any(not method.reaction.known.rising for method in methods)


@pytest.mark.parametrize("path", sorted(CONFIGS.rglob("*.yaml")), ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_file_passes_the_check(path: Path):
    """What `titrator check FILE` says; a method must fit its rig too."""
    words = [str(path), "--rig", str(CONFIGS / "rigs" / "simulated.yaml")] if path in METHODS else [str(path)]
    done = CliRunner().invoke(main, ["check", *words])
    assert done.exit_code == 0, done.stderr


def plan_of(path: Path) -> Plan:
    method = load_method(path)
    return plan_for(method, load_rig(method.rehearsal.rig))


@pytest.mark.parametrize("path", METHODS, ids=lambda path: path.stem)
def test_plan_and_expectation_go_the_same_way(path: Path):
    """Direction, windows of the jumps and potentials of the fit are from one table and must agree."""
    method, plan = load_method(path), plan_of(path)
    rising = method.reaction.known.rising
    assert plan.ends.direction == plan.electrode.direction == ("rising" if rising else "falling")
    assert plan.electrode.indicator == method.electrode.indicator
    assert len(plan.ends.jumps_between_mV) <= method.find.equivalence_points
    for window in plan.ends.jumps_between_mV:
        assert window is None or (window[0] < window[1]) == rising
    expectation = expectation_of(method, None)
    assert expectation.points_sought == method.find.equivalence_points
    assert len(expectation.steps) == max(1, method.find.equivalence_points)
    assert all(each.rising == rising for each in expectation.steps)


@pytest.mark.parametrize("path", METHODS, ids=lambda path: path.stem)
def test_it_rehearses_to_finished_with_the_points_it_seeks(path: Path, tmp_path: Path):
    method = load_method(path)
    rig_path, cell_path = method.rehearsal.rig, method.rehearsal.cell
    rig = load_rig(rig_path)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    done = rehearse(Setup(method, path, rig, rig_path, cell_path, SEED), tmp_path, NOW)
    evaluated = evaluate_run(done.folder)
    sought = method.find.equivalence_points
    assert (evaluated.state, len(evaluated.evaluation.equivalence_points)) == ("finished", sought), evaluated.why
    truths_mL = done.truth["equivalence_points_mL"][:sought]
    for point, truth_mL in zip(evaluated.evaluation.equivalence_points, truths_mL, strict=True):
        assert abs(point.volume_mL - truth_mL) < NEAR_mL
        assert point.u_random_mL < NEAR_mL
    told = truth_document(done.truth, evaluated.results, method.result)["results"]
    assert len(told) == len(evaluated.results)
    for result, truth in zip(evaluated.results, told, strict=True):
        assert (result.name, result.unit) == (truth["name"], truth["unit"])
        assert result.value == pytest.approx(truth["value"], rel=0.03)
    assert [result.name for result in evaluated.results[:sought]] == list(method.result.names[:sought])
    assert {result.unit for result in evaluated.results[:sought]} <= {method.result.unit}
