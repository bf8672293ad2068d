"""Rules of addition against hand practices, an oracle that knows the cell, and the floor. Without wire and files.

Remake the table:  python benchmarks/rules.py --workers 2     (200 runs of each cell and way: some hours of processor
time; it may be interrupted and goes on where it was)
More runs of the rules alone:  python benchmarks/rules.py --runs 2000 --ways adaptive foreseeing floor --table -
The seeds are 1 to 200 for every cell and way, stated before they were run; none is left out or exchanged. What is done
stands in a file of JSON lines outside the repository; a line counts for the sources that it was made with and no
others, but for the ways of `--older`.
"""

import argparse
import json
import multiprocessing
import sys
import tempfile
from collections import defaultdict
from pathlib import Path
from typing import Any

from kept_runs import digest, kept, put_out
from rules_bounds import located_bound_mL
from rules_cases import CASES, Case
from rules_page import Bounds, page, rows_needed
from rules_runs import WAYS, accepts, one

RUNS = 200
QUICK = ("foreseeing", "floor")
"""The ways that are run with all seeds where the others get few."""
TABLE = Path(__file__).with_suffix(".md")
PARTIAL = Path(tempfile.gettempdir()) / "titrator-rules.jsonl"
SOURCES = (
    "sim/**/*.py", "titrator/**/*.py", "titrator/**/*.yaml", "configs/**/*.yaml", "benchmarks/rules_cells/**/*.yaml",
    *(f"benchmarks/rules_{name}.py" for name in ("bounds", "cases", "floor", "runs", "scripted")),
)  # fmt: skip

Key = tuple[str, str, int]
Done = dict[Key, dict[str, Any]]


def read_partial(path: Path, made_with: str, older: list[str]) -> Done:
    """What is done already with the same sources, or of the ways `older` with any; a torn last line is none."""
    done: Done = {}
    for told in kept(path):
        same = told["made_with"] == made_with
        if same or told["way"] in older:
            done[told["case"], told["way"], told["seed"]] = told | {"older": not same}
    return done


def several(task: tuple[Case, int, tuple[str, ...], bool]) -> list[dict[str, Any]]:
    """All the ways of one cell and seed: they share its true curve."""
    case, seed, ways, bounds = task
    return [one(case, way, seed, bounds=bounds) for way in ways]


def run_all(
    cases: list[Case],
    ways: list[str],
    options: argparse.Namespace,
    pool: Any,
    *,
    bounds: bool = True,
    few: int | None = None,
) -> Done:
    """Run what is not done yet, seed by seed through all cases, so that an interrupted study is even.

    `options`: runs, partial and older, as `main` has them. `few`: seeds of the ways that are not QUICK.
    """
    runs = options.runs
    made_with = digest(SOURCES)
    done = read_partial(options.partial, made_with, options.older)
    tasks = []
    for seed in range(1, runs + 1):
        for case in cases:
            wanted = [way for way in ways if few is None or seed <= few or way in QUICK]
            left = tuple(way for way in wanted if (case.name, way, seed) not in done)
            if left:
                tasks.append((case, seed, left, bounds))
    print(f"{len(tasks)} tasks to do with the sources {made_with}, kept in {options.partial}", file=sys.stderr)
    with options.partial.open("a", encoding="utf-8") as kept:
        for number, told in enumerate(pool.imap_unordered(several, tasks), 1):
            for each in told:
                kept.write(json.dumps({"made_with": made_with, **each}) + "\n")
                done[each["case"], each["way"], each["seed"]] = each
            kept.flush()
            if number % 100 == 0:
                print(f"{number} of {len(tasks)}", file=sys.stderr)
    return _asked(done, cases, ways, runs)


def _asked(done: Done, cases: list[Case], ways: list[str], runs: int) -> Done:
    names = {case.name for case in cases}
    return {key: told for key, told in done.items() if key[0] in names and key[1] in ways and key[2] <= runs}


def _bound(task: tuple[Case, int]) -> tuple[str, int, tuple[float, ...]]:
    case, count = task
    return case.name, count, located_bound_mL(case, count)


def bounds_of(cases: list[Case], done: Done, pool: Any) -> Bounds:
    """The least bound of each case for the numbers of readings that runs had."""
    told = pool.imap_unordered(_bound, [(case, count) for case in cases for count in rows_needed(case, done)])
    return {(name, count): bounds for name, count, bounds in told}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=RUNS, help="Seeds 1 to this one.")
    parser.add_argument("--few", type=int, default=None, help="Seeds of all ways but foreseeing and the floor.")
    parser.add_argument("--workers", type=int, default=1, help="Processes; the table does not depend on it.")
    parser.add_argument("--cells", nargs="+", default=[""], help="Only cells whose name contains one of these.")
    parser.add_argument("--ways", nargs="+", choices=WAYS, default=list(WAYS), help="Only these ways to titrate.")
    parser.add_argument("--older", nargs="+", choices=WAYS, default=[], help="Of these, runs of older sources count.")
    parser.add_argument("--partial", type=Path, default=PARTIAL, help="Where it is kept what is done already.")
    parser.add_argument("--kept", action="store_true", help="Run nothing: the table of what is done already.")
    parser.add_argument("--table", default=str(TABLE), help="Where the table is written to; - prints it.")
    options = parser.parse_args()
    cases = [case for case in CASES if any(part in case.name for part in options.cells)]
    ways = [way for way in options.ways if way not in ("adaptive", "foreseeing") or accepts(way)]
    with multiprocessing.Pool(options.workers) as pool:
        if options.kept:
            done = _asked(read_partial(options.partial, digest(SOURCES), options.older), cases, ways, options.runs)
        else:
            done = run_all(cases, ways, options, pool, few=options.few)
        bounds = bounds_of(cases, done, pool)
    by_case: dict[str, Done] = defaultdict(dict)
    for key in sorted(done):
        by_case[key[0]][key] = done[key]
    text = page(cases, ways, by_case, bounds, runs=options.runs, few=options.few, full=RUNS, kept=options.kept)
    put_out(text, options.table)


if __name__ == "__main__":
    main()
