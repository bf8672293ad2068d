"""How much faster than the bench a dry run is: bench seconds per processor second, on one core.

Remake the table:  python benchmarks/dry_run_speed.py > benchmarks/dry_run_speed.md   (half a minute)
Every frame is encoded and decoded and every reading journaled; the journal is not forced to the disk (`record: sync: false`),
as in a sweep. Evaluation and figures are not part of the run. The ratio depends on the machine; its parts hardly do.
"""

import cProfile
import math
import platform
import pstats
import statistics
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from accuracy import CELL, METHOD, NOW, RIG
from other_rule import by_rule

from titrator.bench.rig import Rig, load_rig
from titrator.method import Method, load_method
from titrator.record.journal_reader import read_journal
from titrator.run.rehearsal import Setup, rehearse

RUNS = 10
REPEATS = 3
"""Each run is made so often and the quickest counts: what else the machine does can only add."""
RULES = {"adaptive": 5000, "foreseeing": 1500}
"""The rules, and how many times real time each is to reach."""
ROOMS = (
    "sim",
    "firmware_protocol",
    "titrator/bench",
    "titrator/control/foresight",
    "titrator/control",
    "titrator/record",
    "titrator/run",
)
REST = "libraries and interpreter"


@dataclass(frozen=True)
class Timed:
    """One rule: of each run how many times real time it was, processor seconds a reading, and its length in s."""

    ratios: list[float] = field(default_factory=list)
    reading_s: list[float] = field(default_factory=list)
    length_s: list[float] = field(default_factory=list)

    def add(self, method: Method, path: Path, rig: Rig, seed: int) -> None:
        """Run it, the quickest of several times."""
        spent_s = math.inf
        for _ in range(REPEATS):
            with tempfile.TemporaryDirectory() as runs:
                began = time.process_time()
                done = rehearse(Setup(method, path, rig, RIG, CELL, seed), Path(runs), NOW)
                spent_s = min(spent_s, time.process_time() - began)
                contents = read_journal(done.folder.journal)
        self.length_s.append(contents.of_kind("end")[-1]["t_ms"] / 1000)
        self.ratios.append(self.length_s[-1] / spent_s)
        self.reading_s.append(spent_s / sum(len(line["uV"]) for line in contents.of_kind("readings")))


def shares(method: Method, path: Path, rig: Rig) -> dict[str, float]:
    """Own time by room in one run, profiled, as shares of the whole."""
    profile = cProfile.Profile()
    with tempfile.TemporaryDirectory() as runs:
        profile.runcall(rehearse, Setup(method, path, rig, RIG, CELL, 1), Path(runs), NOW)
    times = dict.fromkeys((*ROOMS, REST), 0.0)
    for (file, _, _), (_, _, own_s, _, _) in pstats.Stats(profile).stats.items():
        times[next((room for room in ROOMS if f"/{room}/" in file.replace("\\", "/")), REST)] += own_s
    whole = sum(times.values())
    return {room: own_s / whole for room, own_s in times.items()}


def main() -> None:
    rig = load_rig(RIG)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    timed, parts = {}, {}
    with tempfile.TemporaryDirectory() as folder:
        for rule in RULES:
            path = by_rule(METHOD, rule, Path(folder))
            method = load_method(path)
            Timed().add(method, path, rig, 0)  # imports and caches
            timed[rule] = Timed()
            for seed in range(1, RUNS + 1):
                timed[rule].add(method, path, rig, seed)
            parts[rule] = shares(method, path, rig)

    def row(name: str, cells: list[str]) -> str:
        return f"| {name} | {' | '.join(cells)} |"

    each = list(timed.values())
    print(f"""# How fast a dry run is

Made by `python benchmarks/dry_run_speed.py`, seeds 1 to {RUNS} of the demonstration by each rule, one core, syncing off,
{rig.amplifier.readings_per_second} readings a second, Python {platform.python_version()}. Each run {REPEATS} times, the quickest counts: what
else the machine does can only add to the processor's time.

{row("figure", list(timed))}
{row("---", ["---"] * len(timed))}
{row("bench time of a run, median", [f"{statistics.median(one.length_s):.0f} s" for one in each])}
{row("times real time, median (least)", [f"{statistics.median(one.ratios):.0f} ({min(one.ratios):.0f})" for one in each])}
{row("that it is to reach", [str(RULES[rule]) for rule in timed])}
{row("processor time a reading, all included", [f"{1e6 * statistics.median(one.reading_s):.1f} µs" for one in each])}

Own time by room, profiled (the profiler's own cost falls on many small calls):

{row("room", list(timed))}
{row("---", ["---"] * len(timed))}""")
    for room in sorted((*ROOMS, REST), key=lambda room: -parts["adaptive"][room]):
        print(row(room, [f"{100 * parts[rule][room]:.0f} %" for rule in timed]))


if __name__ == "__main__":
    main()
