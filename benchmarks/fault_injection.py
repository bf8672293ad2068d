"""Thousands of dry runs on bad lines, with resets, power cuts and killed hosts: how many hide what was delivered?

Remake the table:  python benchmarks/fault_injection.py --workers 2     (10,000 runs; it may be interrupted and goes on)
                   python benchmarks/fault_injection.py --guards       (each guard taken away in turn: is it missed?)

Simulated runs in virtual time (see injected_runs.py for what is checked). The seeds are 1, 2, 3 … in every class, none left
out or exchanged. What is done already stands in a file of JSON lines outside the repository; a line counts for the
sources that it was made with and no others.
"""

import argparse
import collections
import hashlib
import json
import multiprocessing
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Any

from injected_runs import CLASSES, GUARDS, injected

HERE = Path(__file__).parent
TABLE = HERE / "fault_injection.md"
RUNS = 10_000
GUARD_RUNS = 40
"""Runs of each class without a guard."""
SOURCES = (
    "firmware_protocol/*.py",
    "sim/board*.py",
    "sim/motor.py",
    "sim/retained.py",
    "titrator/bench/*.py",
    "titrator/record/*.py",
    "titrator/control/controller.py",
    "titrator/control/resting.py",
    *[
        f"titrator/run/{name}.py"
        for name in ("course", "driver", "errand", "followed", "lateness", "link_watch", "resume", "told")
    ],
)


def sources() -> str:
    """Of what link, board, driver and record are made of."""
    root = HERE.parent
    paths = sorted(path for pattern in SOURCES for path in root.glob(pattern))
    paths += [HERE / name for name in ("injected_runs.py", "injected_line.py", "removed_guards.py")]
    return hashlib.sha256(b"\0".join(path.read_bytes() for path in paths)).hexdigest()[:16]


def one(job: tuple[str, int, str | None]) -> dict[str, Any]:
    """A run as a line of the partial file."""
    return asdict(injected(*job))


def all_of(jobs: list[tuple[str, int, str | None]], workers: int, partial: Path | None) -> list[dict[str, Any]]:
    """The reports of all jobs; those that the partial file holds are not run again."""
    done: dict[tuple[str, int], dict[str, Any]] = {}
    if partial is not None and partial.exists():
        for line in partial.read_text(encoding="utf-8").splitlines():
            told = json.loads(line)
            done[told["kind"], told["seed"]] = told
    left = [job for job in jobs if job[:2] not in done or partial is None]
    reports = [done[job[:2]] for job in jobs if partial is not None and job[:2] in done]
    file = partial.open("a", encoding="utf-8") if partial is not None else None
    try:
        with multiprocessing.get_context("spawn").Pool(workers) as pool:
            for number, told in enumerate(pool.imap_unordered(one, left, chunksize=10)):
                reports.append(told)
                if file is not None:
                    file.write(json.dumps(told) + "\n")
                    file.flush()
                if number % 500 == 0:
                    print(f"{len(reports)} of {len(jobs)}", file=sys.stderr)
    finally:
        if file is not None:
            file.close()
    return reports


def rows(reports: list[dict[str, Any]]) -> list[str]:
    """A row for each class."""
    told = []
    for kind in CLASSES:
        mine = [report for report in reports if report["kind"] == kind]
        strikes = [moving for report in mine for _, moving in report["struck"]]
        events = sum(report["frames"] for report in mine) + len(strikes)
        moving = sum(report["frames_moving"] for report in mine) + sum(strikes)
        states = collections.Counter(report["state"] for report in mine)
        uncertain = sum(report["uncertain"] for report in mine)
        wrong = [what for report in mine for what in report["violations"]]
        double = sum("twice" in what for what in wrong)
        hangs = sum("hang" in what for what in wrong)
        told.append(
            f"| {kind} | {len(mine)} | {events} ({moving}) | {sum(report['lives'] for report in mine)} | "
            f"{states['finished']} | {uncertain} ({100 * uncertain / max(1, len(mine)):.1f} %) | {double} | {hangs} | "
            f"{len(wrong) - double - hangs} |"
        )
    return told


def table(reports: list[dict[str, Any]], guards: list[str]) -> str:
    """The page."""
    wrong = [report for report in reports if report["violations"]]
    head = [
        "# Dry runs on bad lines",
        "",
        (
            "Simulated. Remade by `python benchmarks/fault_injection.py --workers 2` and then `--guards`; `injected_runs.py` says "
            "what each run meets and what is checked. Half a millilitre of the demonstration's bath, some eleven points, a "
            "burette of 2 mL/min, in 40 % of the runs with strikes one of 0.5 mL that refills itself; a third of all runs is held once by the "
            "operator."
        ),
        "",
        f"{len(reports)} runs, seeds from 1 on in every class: {len(wrong)} with a violation.",
        "",
        (
            "*Strikes*: frames damaged, lost, doubled or late, cables pulled, resets, losses of power, killed hosts; in brackets "
            "those while the motor ran. *Processes*: each killed one is followed by `resume`. *Silent*: the true count of steps "
            "is not the journal's, or lies outside the bounds, or any other check failed."
        ),
        "",
        "| class | runs | strikes (in motion) | processes | finished | marked uncertain | double doses | hangs | silent or other |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
        *rows(reports),
    ]
    return "\n".join([*head, *guards]) + "\n"


def guard_rows(workers: int) -> list[str]:
    """How many runs of each class miss a guard."""
    told = [
        "",
        "## Without a guard",
        "",
        (
            f"The same with one guard taken away (`removed_guards.py`), {GUARD_RUNS} runs of each class: how many of them report a "
            "violation, and the one reported most."
        ),
        "",
        "| without | runs | that report it | most often |",
        "| --- | --- | --- | --- |",
    ]
    for guard in GUARDS:
        jobs = [(kind, seed, guard) for kind in CLASSES for seed in range(1, GUARD_RUNS + 1)]
        reports = all_of(jobs, workers, None)
        found = [report for report in reports if report["violations"]]
        words = collections.Counter(_plain(what) for report in found for what in report["violations"])
        most = words.most_common(1)[0][0] if words else "nothing"
        told.append(f"| {guard} | {len(reports)} | {len(found)} | {most} |")
    return told


def _plain(what: str) -> str:
    """A violation without its numbers, which differ from run to run."""
    return " ".join(
        "…" if any(sign.isdigit() for sign in word) else word for word in what.split(":", maxsplit=1)[0].split()
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--guards", action="store_true", help="also remove each guard in turn")
    options = parser.parse_args()
    partial = Path(tempfile.gettempdir()) / f"fault-injection-{sources()}.jsonl"
    each = -(-options.runs // len(CLASSES))
    jobs: list[tuple[str, int, str | None]] = [(kind, seed, None) for seed in range(1, each + 1) for kind in CLASSES]
    reports = all_of(jobs[: options.runs], options.workers, partial)
    guards = guard_rows(options.workers) if options.guards else []
    TABLE.write_text(table(reports, guards), encoding="utf-8")
    for report in reports:
        for what in report["violations"]:
            print(f"{report['kind']} {report['seed']}: {what}")
    return any(report["violations"] for report in reports)


if __name__ == "__main__":
    sys.exit(main())
