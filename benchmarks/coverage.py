"""Do the 95 % intervals hold the truth? Thousands of simulated runs for each of many cells, without wire and files.

Remake the table:  python benchmarks/coverage.py --workers 2   (3,000 runs of each cell: some hours; it may be interrupted)
The seeds are 1 to 3,000 for every cell, stated before they were run; none is left out or exchanged. Each run draws the
unknown, titrant, aliquot, dilution, potentials, slope and burette within what method, rig and cell file state, and is
evaluated as `titrator evaluate` does. What is done already stands in a file of JSON lines outside the repository; a line
counts for the sources that it was made with and no others.
"""

import argparse
import collections
import json
import math
import multiprocessing
import statistics
import sys
import tempfile
from functools import cache
from functools import partial as partial_of
from pathlib import Path
from typing import Any

from coverage_cells import CASES, FEWER, Case
from kept_runs import digest, kept, put_out
from lagging_cell import lagging
from tabled_cell import put_in

from titrator.bench.rig import load_rig
from titrator.bench.simulated import UnframedBoard
from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.evaluation import EquivalencePoint, Evaluation, FitParameter, FittedModel
from titrator.method import load_method
from titrator.run.course import rig_fields
from titrator.run.evaluation import results_of
from titrator.run.expectations import expectation_of
from titrator.run.fits import fits
from titrator.run.frameless import titrate_frameless

RUNS = 3000
TABLE = Path(__file__).with_suffix(".md")
PARTIAL = Path(tempfile.gettempdir()) / "titrator-coverage.jsonl"
MINE = tuple(
    f"benchmarks/{name}" for name in ("coverage_cells.py", "lagging_cell.py", "tabled_cell.py", "phreeqc_curves.json")
)
SOURCES = ("sim/**/*.py", "titrator/**/*.py", "titrator/**/*.yaml", "configs/**/*.yaml", *MINE)
BY_NAME = {case.name: case for case in CASES}


@cache
def files(name: str, folder: Path) -> tuple[Any, ...]:
    """Method, rig and path of the cell of a case, read once in each process."""
    method_path, cell_path, rig_path = BY_NAME[name].written(folder)
    method, rig = load_method(method_path), load_rig(rig_path)
    fits(method, method_path, rig)
    return method, rig, rig_fields(rig)["burette"], cell_path


def one(folder: Path, task: tuple[str, int]) -> dict[str, Any]:
    """Run a case with a seed; what was found beside what is true, in mL and mol/L. Varied files go into `folder`."""
    name, seed = task
    case = BY_NAME[name]
    method, rig, burette, cell_path = files(name, folder)
    truth: dict[str, Any] = {}

    def change(board: UnframedBoard) -> None:
        if case.shape:
            truth.update(put_in(case.shape, seed, board))
        if case.lags_mV:
            rises = method.reaction.known.rising
            board.read_through(lambda sample: lagging(sample, case.lags_mV, rises=rises, seed=seed))

    run = titrate_frameless(method, rig, cell_path, seed, case.faults, change=change)
    truth = {**run.truth, **truth}
    evaluation = find_equivalence_points(Curve.from_points(run.points), expectation_of(method, burette))
    sought = method.find.equivalence_points
    return {
        "case": name,
        "seed": seed,
        "state": run.state.value,
        "true_mL": [volume_mL + case.counted_mL for volume_mL in truth["equivalence_points_mL"][:sought]],
        "found": [
            [point.volume_mL, point.u_random_mL, *point.interval_95_mL, point.found_by, min(point.dof, 1e9)]
            for point in evaluation.equivalence_points
        ],
        "shares": {
            each.name: [each.value, each.u]
            for fit in evaluation.fits[:1]
            for each in fit.parameters
            if "share" in each.name
        },
        "true_mol_per_L": [each["value"] for each in truth["results"]][:sought],
        "warned": len(evaluation.warnings),
    }


def runs_of(case: Case, runs: int) -> int:
    """How many runs of a case are made where `runs` are asked for: at least 20."""
    return min(runs, max(20, runs // case.part))


def with_results(folder: Path, told: dict[str, Any]) -> dict[str, Any]:
    """Join the concentrations, with their intervals, that are told of the points found. Cheap beside the run itself."""
    method, _, burette, _ = files(told["case"], folder)
    points = tuple(
        EquivalencePoint(
            volume_mL=volume_mL,
            u_random_mL=u_mL,
            dof=math.inf if dof >= 1e9 else dof,
            interval_95_mL=(low, high),
            signal=0.0,
            signal_unit="mV",
            found_by=by,
            u_mL=u_mL,
        )
        for volume_mL, u_mL, low, high, by, dof in told["found"]
    )
    shares = tuple(FitParameter(name, *told_of) for name, told_of in told["shares"].items())
    fit = FittedModel("whole curve", 1, shares, 1.0, ())
    results, _ = results_of(method, Evaluation(equivalence_points=points, fits=(fit,)), burette)
    return told | {"results": [[each.value, each.u, *each.interval_95] for each in results if each.unit == "mol/L"]}


def read_partial(path: Path, made_with: str) -> dict[tuple[str, int], dict[str, Any]]:
    """What is done already with the same sources; a torn last line is none."""
    return {(told["case"], told["seed"]): told for told in kept(path) if told["made_with"] == made_with}


def run_all(cases: list[Case], runs: int, workers: int, partial: Path) -> dict[tuple[str, int], dict[str, Any]]:
    """Run what is not done yet, seed by seed through all cases, so that an interrupted study is even."""
    made_with = digest(SOURCES)
    done = read_partial(partial, made_with)
    tasks = [
        (case.name, seed)
        for seed in range(1, runs + 1)
        for case in cases
        if seed <= runs_of(case, runs) and (case.name, seed) not in done
    ]
    print(f"{len(tasks)} runs to do with the sources {made_with}, kept in {partial}", file=sys.stderr)
    with (
        tempfile.TemporaryDirectory() as folder,
        partial.open("a", encoding="utf-8") as stored,
        multiprocessing.Pool(workers) as pool,
    ):
        for case in cases:
            files(case.name, Path(folder))  # once, before the workers do: whatever is wrong is told at the start
        for number, told in enumerate(pool.imap_unordered(partial_of(one, Path(folder)), tasks, chunksize=4), 1):
            stored.write(json.dumps({"made_with": made_with, **told}) + "\n")
            done[told["case"], told["seed"]] = told
            if number % 200 == 0:
                stored.flush()
                print(f"{number} of {len(tasks)}", file=sys.stderr)
        asked = [told for key, told in done.items() if key[0] in {case.name for case in cases} and key[1] <= runs]
        joined = pool.imap_unordered(partial_of(with_results, Path(folder)), asked, chunksize=50)
        return {(told["case"], told["seed"]): told for told in joined}


def percent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f}" if whole else "–"


def width_mL(told: list[dict[str, Any]], number: int) -> float:
    return statistics.median(each["found"][number][3] - each["found"][number][2] for each in told)


def rows(case: Case, told: list[dict[str, Any]], everything: dict[str, list[dict[str, Any]]]) -> list[str]:
    """A row for each point of a case."""
    sought = len(told[0]["true_mL"])
    right = [each for each in told if len(each["found"]) == sought]
    unfinished = sum(each["state"] != "finished" for each in told)
    lines = []
    for number in range(sought):
        head = f"| {case.name} | {number + 1} | {len(told)} | {unfinished} | {percent(len(told) - len(right), len(told))} |"
        if not right:
            lines.append(f"{head} – | – | – | – | – | – | – | – |")
            continue
        pairs = [(each["found"][number], each["true_mL"][number]) for each in right]
        errors = [1000 * (found[0] - true) for found, true in pairs]
        held = sum(found[2] <= true <= found[3] for found, true in pairs)
        worst = max(abs(found[0] - true) / found[1] for found, true in pairs)
        results = [(each["results"][number], each["true_mol_per_L"][number]) for each in right]
        held_c = sum(found[2] <= true <= found[3] for found, true in results)
        kinds = collections.Counter(found[4] for found, _ in pairs)
        width = width_mL(right, number)
        beside = [each for each in everything.get(case.like, ()) if len(each["found"]) == sought]
        times = f"{width / width_mL(beside, number):.2f}" if beside else ""
        lines.append(
            f"{head} {percent(held, len(pairs))} | {percent(held_c, len(results))} | "
            f"{math.sqrt(statistics.fmean(error**2 for error in errors)):.2f} | {statistics.fmean(errors):+.2f} | "
            f"{1000 * width:.2f} | {times} | {worst:.1f} | {percent(kinds['model-fit'], len(pairs))} |"
        )
    return lines


HEAD = """| cell | point | runs | not finished | wrong count, % | V held, % | c held, % | rms, µL | bias, µL | width, µL | times | worst | fit, % |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"""


def page(cases: list[Case], done: dict[tuple[str, int], dict[str, Any]], runs: int) -> str:
    by_case: dict[str, list[dict[str, Any]]] = collections.defaultdict(list)
    for (name, _), told in sorted(done.items()):
        by_case[name].append(told)
    tables = [
        "\n".join(
            [HEAD, *(row for case in cases if case.modelled is kind for row in rows(case, by_case[case.name], by_case))]
        )
        for kind in (True, False)
        if any(case.modelled is kind for case in cases)
    ]
    sampling = 196 * math.sqrt(0.95 * 0.05 / runs)
    return f"""# Do the 95 % intervals hold the truth? (simulated)

Made by `python benchmarks/coverage.py{"" if runs == RUNS else f" --runs {runs}"}`: seeds 1 to {runs} of every cell (to {max(20, runs // FEWER)} where fewer runs stand in the table), stated before they were run, none exchanged, without
wire and files (the points are those of the dry run, see [frameless.md](frameless.md)). Each run draws the unknown, titrant,
aliquot, dilution, potentials, slope and burette within what method, rig and cell file state. A share of 95 % found in {runs}
runs varies by {sampling:.1f} points (95 %).

*V held*: the interval of the equivalence volume holds the truth as the burette indicates it; *c held*: that of the
concentration (or, behind the first point, of the further analyte) holds the truth of the sample; both over the runs with
the right count of points. *Width*: of the interval of the volume, median; *times*: over that of the modelled cell with the
same noise. *Worst*: the largest error over its own standard uncertainty. *Fit*: the share of points that the fit of the model
gave. Variations are written down in `coverage_cells.py`.

{tables[0]}
""" + (
        f"""
Cells that the evaluator does not model. Backlash is lost at the first push: it is part of what the burette indicates at the
point, so the volume is held against that; against the volume delivered alone it would hold next to never. Lag: every reading
stands 0 to 1 mV behind, unseen in its drift.

{tables[1]}
"""
        if len(tables) > 1
        else ""
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=RUNS, help="Seeds 1 to this one, of every cell.")
    parser.add_argument("--workers", type=int, default=1, help="Processes.")
    parser.add_argument("--cells", nargs="+", default=[""], help="Only cells whose name contains one of these.")
    parser.add_argument("--partial", type=Path, default=PARTIAL, help="Where it is kept what is done already.")
    parser.add_argument("--table", type=Path, default=TABLE, help="Where the table is written to; - prints it.")
    options = parser.parse_args()
    cases = [case for case in CASES if any(part in case.name for part in options.cells)]
    if not cases:
        parser.error(f"expected a part of one of these names: {', '.join(BY_NAME)}")
    text = page(cases, run_all(cases, options.runs, options.workers, options.partial), options.runs)
    put_out(text, options.table)


if __name__ == "__main__":
    main()
