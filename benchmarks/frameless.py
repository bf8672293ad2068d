"""A run without a wire against the same dry run over it: are the points the same, and how much sooner is it done?

Remake the table:  python benchmarks/frameless.py > benchmarks/frameless.md   (half a minute on one core)
The seeds are 1 to 50, stated before they were run; the methods of configs/methods take turns.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

from accuracy import CONFIGS, NOW

from titrator.bench.rig import load_rig
from titrator.control.point import Point
from titrator.method import load_method
from titrator.record.journal_reader import read_journal
from titrator.run.frameless import titrate_frameless
from titrator.run.rehearsal import Setup, rehearse

RUNS = 50


def compare(path: Path, seed: int) -> tuple[bool, float, float]:
    """Whether points and truth are the same; processor seconds over the wire and without it."""
    method = load_method(path)
    rig_path, cell_path = method.rehearsal.rig, method.rehearsal.cell
    rig = load_rig(rig_path)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    with tempfile.TemporaryDirectory() as runs:
        began = time.process_time()
        done = rehearse(Setup(method, path, rig, rig_path, cell_path, seed), Path(runs), NOW)
        wired_s = time.process_time() - began
        lines = read_journal(done.folder.journal).of_kind("point")
    began = time.process_time()
    run = titrate_frameless(method, rig, cell_path, seed)
    frameless_s = time.process_time() - began
    logged = [Point(**{key: line[key] for key in Point._fields}) for line in lines]
    points = [point._replace(t_s=round(point.t_s, 6)) for point in run.points]  # the journal keeps microseconds
    return points == logged and run.truth == done.truth, wired_s, frameless_s


def main() -> int:
    paths = sorted((CONFIGS / "methods").glob("*.yaml"))
    compare(paths[0], 0)  # imports and caches
    rows = [(paths[seed % len(paths)], *compare(paths[seed % len(paths)], seed)) for seed in range(1, RUNS + 1)]
    same = sum(row[1] for row in rows)
    wired_s, frameless_s = sum(row[2] for row in rows), sum(row[3] for row in rows)
    ratios = [row[2] / row[3] for row in rows]
    print(f"""# A run without a wire (simulated)

Made by `python benchmarks/frameless.py`: seeds 1 to {RUNS}, the {len(paths)} methods of configs/methods by turns, one core, syncing
off. What remains without wire and journal is the cell's chemistry and the controller, and they are the same.

| figure | value |
| --- | --- |
| runs with points and truth equal to the last digit | {same} of {RUNS} |
| processor time over the wire / without, all runs | {wired_s / frameless_s:.2f} |
| the same of a run, median (least, largest) | {statistics.median(ratios):.2f} ({min(ratios):.2f}, {max(ratios):.2f}) |
| processor time of a run without the wire, mean | {frameless_s / RUNS:.2f} s |""")
    return 0 if same == RUNS else 1


if __name__ == "__main__":
    sys.exit(main())
