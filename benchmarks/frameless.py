"""A run without a wire against the same dry run over it: is it the same run, and how much sooner is it done?

Remake the table:  python benchmarks/frameless.py > benchmarks/frameless.md   (a minute on one core)
The seeds are 1 to 50, stated before they were run, by each rule; the methods of configs/methods take turns.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from accuracy import CONFIGS, NOW
from other_rule import by_rule

from titrator.bench.rig import load_rig
from titrator.control.point import Passing, Point
from titrator.method import load_method
from titrator.record.journal_reader import JournalContents, read_journal
from titrator.run.frameless import FramelessRun, titrate_frameless
from titrator.run.rehearsal import Setup, rehearse

RUNS = 50
RULES = ("adaptive", "foreseeing")


class Compared(NamedTuple):
    """Whether all is the same, how many readings in passing there are, and processor seconds over the wire and without."""

    same: bool
    passing: int
    wired_s: float
    frameless_s: float


def same_run(run: FramelessRun, contents: JournalContents) -> bool:
    """Whether points, readings in passing, additions and the end of a run are those of a journal."""
    [end] = contents.of_kind("end")
    points = [Point(**{key: line[key] for key in Point._fields}) for line in contents.of_kind("point")]
    passing = [Passing(**{key: line[key] for key in Passing._fields}) for line in contents.of_kind("passing")]
    return (
        # The journal keeps times to the microsecond.
        [each._replace(t_s=round(each.t_s, 6)) for each in run.points] == points
        and [each._replace(t_s=round(each.t_s, 6)) for each in run.passing] == passing
        and run.additions == len(contents.of_kind("intent"))
        and (run.state.value, run.ending.cause.value, run.ending.sentence) == (end["state"], end["cause"], end["why"])
    )


def compare(path: Path, seed: int) -> Compared:
    """The dry run of a method and a seed, and the run without a wire."""
    method = load_method(path)
    rig_path, cell_path = method.rehearsal.rig, method.rehearsal.cell
    rig = load_rig(rig_path)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    with tempfile.TemporaryDirectory() as runs:
        began = time.process_time()
        done = rehearse(Setup(method, path, rig, rig_path, cell_path, seed), Path(runs), NOW)
        wired_s = time.process_time() - began
        contents = read_journal(done.folder.journal)
    began = time.process_time()
    run = titrate_frameless(method, rig, cell_path, seed)
    frameless_s = time.process_time() - began
    return Compared(same_run(run, contents) and run.truth == done.truth, len(run.passing), wired_s, frameless_s)


def main() -> int:
    paths = sorted((CONFIGS / "methods").glob("*.yaml"))
    compare(paths[0], 0)  # imports and caches
    rows: dict[str, list[Compared]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for rule in RULES:
            # A blank has no jump to foresee: it is titrated by its own rule.
            ours = [path if "blank" in path.stem else by_rule(path, rule, Path(folder)) for path in paths]
            rows[rule] = [compare(ours[seed % len(ours)], seed) for seed in range(1, RUNS + 1)]
    same = {rule: sum(row.same for row in each) for rule, each in rows.items()}
    print(f"""# A run without a wire (simulated)

Made by `python benchmarks/frameless.py`: seeds 1 to {RUNS} by each rule, the {len(paths)} methods of configs/methods by turns, one
core, syncing off. What remains without wire and journal is the cell's chemistry and the controller, and they are the same.
Compared are points, readings in passing, additions, the end and its reason, and the truth. The blank keeps its own rule.

| figure | {" | ".join(RULES)} |
| --- | {" | ".join("---" for _ in RULES)} |""")
    for name, figure in (
        ("runs equal to the last digit", lambda each: f"{sum(row.same for row in each)} of {len(each)}"),
        ("readings in passing, all runs", lambda each: f"{sum(row.passing for row in each)}"),
        (
            "processor time over the wire / without, all runs",
            lambda each: f"{sum(row.wired_s for row in each) / sum(row.frameless_s for row in each):.2f}",
        ),
        (
            "the same of a run, median (least, largest)",
            lambda each: ratios([row.wired_s / row.frameless_s for row in each]),
        ),
        (
            "processor time of a run without the wire, mean",
            lambda each: f"{statistics.mean(row.frameless_s for row in each):.2f} s",
        ),
    ):
        print(f"| {name} | {' | '.join(figure(rows[rule]) for rule in RULES)} |")
    return 0 if all(each == RUNS for each in same.values()) else 1


def ratios(each: list[float]) -> str:
    return f"{statistics.median(each):.2f} ({min(each):.2f}, {max(each):.2f})"


if __name__ == "__main__":
    sys.exit(main())
