"""Does every method place its points within 4 times their uncertainty of the truth? Simulated runs on stated seeds.

Remake the table:  python benchmarks/points_near_truth.py > benchmarks/points_near_truth.md     (some minutes)
Every method of configs/methods with a point to find, with its own cell and rig, without wire and files. Seeds 1 to 20
were looked at while the evaluation was developed; the other twenty were stated before they were run.
"""

import sys
from pathlib import Path

from titrator.bench.rig import load_rig
from titrator.evaluate.curve import Curve
from titrator.method import load_method
from titrator.run.course import rig_fields
from titrator.run.evaluation import evaluate_curve
from titrator.run.frameless import titrate_frameless

METHODS = sorted((Path(__file__).parents[1] / "configs" / "methods").glob("*.yaml"))
KNOWN, FRESH = range(1, 21), range(50_001, 50_021)
TIMES = 4.0


def errors(method, rig, seed):
    """Return the error of each point in its standard uncertainties, or None for a run with a wrong count of points."""
    run = titrate_frameless(method, rig, method.rehearsal.cell, seed)
    evaluation, _, _ = evaluate_curve(method, Curve.from_points(run.points), rig_fields(rig)["burette"])
    found, sought = evaluation.equivalence_points, method.find.equivalence_points
    if run.state.value != "finished" or len(found) != sought:
        return None
    truths_mL = run.truth["equivalence_points_mL"][:sought]
    return [abs(point.volume_mL - true) / point.u_random_mL for point, true in zip(found, truths_mL, strict=True)]


def row(name, seeds, told):
    """One line of the table."""
    placed = [each for each in told if each is not None]
    worst = max(((max(each), seed) for each, seed in zip(told, seeds, strict=True) if each), default=(0.0, "–"))
    every = [times for each in placed for times in each]
    near = sum(max(each) <= TIMES for each in placed)
    return (
        f"| {name} | {seeds[0]} to {seeds[-1]} | {len(told)} | {len(placed)} | {near} | {worst[0]:.2f} | {worst[1]} | "
        f"{sum(times > 2.0 for times in every)} of {len(every)} |"
    )


HEAD = f"""# Points within {TIMES:g} standard uncertainties of the truth (simulated)

Made by `python benchmarks/points_near_truth.py`. Every method with its own cell; error of each point as the burette
indicates it, over `u_random_mL`. `near`: runs with the right count of points, all of them within {TIMES:g} u. Beyond 2 u
are about 5 % of the points where u is right. Seeds 1 to 20 were looked at while the evaluation was developed, the others
were not.

| method | seeds | runs | right count | near | worst, u | its seed | points beyond 2 u |
| --- | --- | --- | --- | --- | --- | --- | --- |"""


def main():
    """Print the table; the exit code is 1 where a run is not near."""
    print(HEAD)
    runs = near = 0
    for path in METHODS:
        method = load_method(path)
        if not method.find.equivalence_points:
            continue
        rig = load_rig(method.rehearsal.rig)
        for seeds in (KNOWN, FRESH):
            told = [errors(method, rig, seed) for seed in seeds]
            print(row(path.stem, seeds, told), flush=True)
            runs += len(told)
            near += sum(each is not None and max(each) <= TIMES for each in told)
    print(f"\n{near} of {runs} runs are near.")
    sys.exit(near < runs)


if __name__ == "__main__":
    main()
