"""How near the demonstration comes to the truth (simulated): 200 dry runs, each with its own draw of everything uncertain.

Remake the table:  python benchmarks/accuracy.py > benchmarks/accuracy.md   (about a minute on one core)
The seeds are 1 to 200, stated before they were run; none is left out or exchanged.
"""

import argparse
import datetime
import statistics
import sys
import tempfile
from pathlib import Path

from titrator.bench.rig import load_rig
from titrator.method import load_method
from titrator.run.evaluation import EvaluatedRun, evaluate_run
from titrator.run.rehearsal import Rehearsal, Setup, rehearse

CONFIGS = Path(__file__).parents[1] / "configs"
METHOD = CONFIGS / "methods" / "iron_in_pickling_bath.yaml"
RIG = CONFIGS / "rigs" / "simulated.yaml"
CELL = CONFIGS / "cells" / "iron_in_pickling_bath.yaml"
NOW = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)


def dry_runs(first: int, last: int):
    """Each seed's rehearsal and its evaluation, from its journal alone."""
    method, rig = load_method(METHOD), load_rig(RIG)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    for seed in range(first, last + 1):
        with tempfile.TemporaryDirectory() as runs:
            done = rehearse(Setup(method, METHOD, rig, RIG, CELL, seed), Path(runs), NOW)
            yield seed, done, evaluate_run(done.folder)


def errors_uL(done: Rehearsal, evaluated: EvaluatedRun) -> float | None:
    """Equivalence volume minus the truth as indicated, µL; None when no point was found."""
    points = evaluated.evaluation.equivalence_points
    return 1000 * (points[0].volume_mL - done.truth["equivalence_points_mL"][0]) if points else None


def covered(done: Rehearsal, evaluated: EvaluatedRun) -> tuple[bool, bool]:
    """Whether the 95 % intervals of volume and of concentration hold the truth."""
    volume_mL, value = done.truth["equivalence_points_mL"][0], done.truth["results"][0]["value"]
    low, high = evaluated.evaluation.equivalence_points[0].interval_95_mL
    result = evaluated.results[0]
    return low <= volume_mL <= high, result.interval_95[0] <= value <= result.interval_95[1]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--last", type=int, default=200)
    options = parser.parse_args()
    errors, intervals, additions, durations, missing = [], [], [], [], []
    for seed, done, evaluated in dry_runs(options.first, options.last):
        error = errors_uL(done, evaluated)
        if error is None:
            missing.append(seed)
            continue
        errors.append(error)
        intervals.append(covered(done, evaluated))
        additions.append(evaluated.additions)
        durations.append(evaluated.duration_s)
        print(f"seed {seed}: {error:+.2f} µL", file=sys.stderr)
    count = len(errors) + len(missing)
    rms = statistics.fmean(error**2 for error in errors) ** 0.5
    print(f"""# How near the demonstration comes to the truth (simulated)

Made by `python benchmarks/accuracy.py`: seeds {options.first} to {options.last}, stated before they were run, none exchanged. Each draws the
unknown, titrant, aliquot, dilution, formal potentials, slope and burette within what method, rig and cell state. The error
is the equivalence volume minus the truth as the burette indicates it.

| figure | value |
| --- | --- |
| runs | {count} |
| without an equivalence point | {len(missing)} |
| within 0.003 mL of the truth | {sum(abs(error) <= 3 for error in errors)} |
| beyond 0.010 mL | {sum(abs(error) > 10 for error in errors)} |
| rms error | {rms:.2f} µL |
| mean error | {statistics.fmean(errors):+.2f} µL |
| largest error | {max(map(abs, errors)):.2f} µL |
| 95 % interval of the volume holds the truth | {100 * statistics.fmean(v for v, _ in intervals):.1f} % |
| 95 % interval of the concentration holds the truth | {100 * statistics.fmean(c for _, c in intervals):.1f} % |
| additions, median (largest) | {statistics.median(additions):.0f} ({max(additions)}) |
| duration, median | {statistics.median(durations):.0f} s |""")


if __name__ == "__main__":
    main()
