"""Every method places its points within 4 times their uncertainty of the truth (simulated).

`benchmarks/coverage.py` does the same with thousands of seeds.
"""

from pathlib import Path

import pytest

from titrator.bench.rig import load_rig
from titrator.evaluate.curve import Curve
from titrator.method import load_method
from titrator.run.course import rig_fields
from titrator.run.evaluation import evaluate_curve
from titrator.run.frameless import titrate_frameless

METHODS = sorted((Path(__file__).parents[2] / "configs" / "methods").glob("*.yaml"))
SEEDS = range(1, 9)  # what stays below a minute on one core
TIMES = 4.0


@pytest.mark.parametrize("path", METHODS, ids=[path.stem for path in METHODS])
def test_points_lie_near_the_truth(path: Path):
    method = load_method(path)
    rig = load_rig(method.rehearsal.rig)
    sought = method.find.equivalence_points
    far = {}
    for seed in SEEDS:
        run = titrate_frameless(method, rig, method.rehearsal.cell, seed)
        evaluation, _, _ = evaluate_curve(method, Curve.from_points(run.points), rig_fields(rig)["burette"])
        found = evaluation.equivalence_points
        assert evaluation.diagnostics == (), "nothing is wrong with these runs"
        assert (run.state.value, len(found)) == ("finished", sought), f"seed {seed}: {run.ending.sentence}"
        truths_mL = run.truth["equivalence_points_mL"][:sought]
        times = [(point.volume_mL - true) / point.u_random_mL for point, true in zip(found, truths_mL, strict=True)]
        if max(map(abs, times), default=0.0) > TIMES:
            far[seed] = times
    assert not far, f"errors in standard uncertainties, by seed: {far}"
