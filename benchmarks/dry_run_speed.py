"""How much faster than the bench a dry run is: bench seconds per processor second, on one core.

Remake the table:  python benchmarks/dry_run_speed.py > benchmarks/dry_run_speed.md
Every frame is encoded and decoded and every reading journaled; the journal is not forced to the disk (`record: sync: false`),
as in a sweep. Evaluation and figures are not part of the run. The ratio depends on the machine; its parts hardly do.
"""

import cProfile
import pstats
import statistics
import tempfile
import time
from pathlib import Path

from accuracy import CELL, METHOD, NOW, RIG

from titrator.bench.rig import load_rig
from titrator.method import load_method
from titrator.record.journal_reader import read_journal
from titrator.run.rehearsal import Setup, rehearse

RUNS = 10
ROOMS = ("sim", "firmware_protocol", "titrator/bench", "titrator/control", "titrator/record", "titrator/run")


def main() -> None:
    method, rig = load_method(METHOD), load_rig(RIG)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    ratios, readings, lengths = [], [], []

    def once(seed: int) -> None:
        with tempfile.TemporaryDirectory() as runs:
            began = time.process_time()
            done = rehearse(Setup(method, METHOD, rig, RIG, CELL, seed), Path(runs), NOW)
            spent_s = time.process_time() - began
            contents = read_journal(done.folder.journal)
        bench_s = contents.of_kind("end")[-1]["t_ms"] / 1000
        lengths.append(bench_s)
        ratios.append(bench_s / spent_s)
        readings.append(spent_s / sum(len(line["uV"]) for line in contents.of_kind("readings")))

    once(0)  # imports and caches
    ratios.clear(), readings.clear(), lengths.clear()
    for seed in range(1, RUNS + 1):
        once(seed)
    speed = f"{statistics.median(ratios):.0f} ({min(ratios):.0f})"
    reading_us = 1e6 * statistics.median(readings)
    length_s = statistics.median(lengths)
    profile = cProfile.Profile()
    profile.runcall(once, 1)
    times = dict.fromkeys((*ROOMS, "libraries and interpreter"), 0.0)
    for (file, _, _), (_, _, own_s, _, _) in pstats.Stats(profile).stats.items():
        room = next((room for room in ROOMS if f"/{room}/" in file.replace("\\", "/")), "libraries and interpreter")
        times[room] += own_s
    whole = sum(times.values())
    print(f"""# How fast a dry run is

Made by `python benchmarks/dry_run_speed.py`, seeds 1 to {RUNS} of the demonstration, one core, syncing off.

| figure | value |
| --- | --- |
| bench time of a run, median | {length_s:.0f} s at {rig.amplifier.readings_per_second} readings a second |
| times real time, median (least) | {speed} |
| processor time a reading, all included | {reading_us:.1f} µs |

Own time by room, profiled (the profiler's own cost falls on many small calls):

| room | share |
| --- | --- |""")
    for room, own_s in sorted(times.items(), key=lambda item: -item[1]):
        print(f"| {room} | {100 * own_s / whole:.0f} % |")


if __name__ == "__main__":
    main()
