"""What somebody asks `titrator tune` for, and whether it can be done: every refusal comes before anything is made."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from titrator.bench.rig import Rig, load_rig
from titrator.bench.simulated import check_cell, open_unframed
from titrator.files import FileProblem, InputProblem, Problem
from titrator.method import Method, load_method
from titrator.run.fits import fits
from titrator.run.rehearsal import stated_values
from titrator.run.tune.budget import budget_of
from titrator.run.tune.cells import WHAT_IS_VARIED, CellText, cells_of_folder, varied_cells
from titrator.run.tune.choice import Prefer
from titrator.run.tune.dials import tunable
from titrator.run.tune.search import check_library
from titrator.run.tune.setting import Draft
from titrator.run.tune.sweep import Plan

OTHERWISE = "fixed"
"""This rule is searched only where the method has it or the user asks for it: its runs take the longest by far."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What the user asks for. `cell`, `rig` None: those that the method names. `cells` None: its own cell is varied."""

    method: Path
    rig: Path | None
    cell: Path | None
    cells: Path | None
    runs: int
    rules: tuple[str, ...]
    prefer: Prefer
    seed: int


@dataclass(frozen=True, slots=True)
class Granted:
    """A wish that can be carried out."""

    plan: Plan
    cells: tuple[CellText, ...]
    ensemble: str
    rig: Path


def granted(wish: Wish) -> Granted:
    """Read and check everything that is asked for. InputProblem, with places where there are some."""
    check_library()
    method = load_method(wish.method)
    rig_path = _path(wish, "rig", method.rehearsal.rig, wish.rig)
    rig = load_rig(rig_path)
    fits(method, wish.method, rig)
    _refuse_what_cannot_be_judged(wish.method, method)
    refuse_refills(rig_path, rig)
    rules = wish.rules or _rules(method)
    plan = Plan(
        draft=Draft(wish.method.read_text(encoding="utf-8").removeprefix("\ufeff"), method, rig),
        budget=budget_of(wish.runs),
        rules=tuple(rule for rule in tunable() if rule in rules),
        prefer=wish.prefer,
        seed=wish.seed,
    )
    if wish.cells is not None:
        cells = cells_of_folder(wish.cells)
        problems = [problem for cell in cells for problem in _unsuited(wish.cells / cell.name, method, rig)]
        if problems:
            raise FileProblem(problems)
        told = ", ".join(cell.name for cell in cells[:8]) + (f" and {len(cells) - 8} more" if len(cells) > 8 else "")
        return Granted(plan, tuple(cells), f"{len(cells)} of a folder, in turn: {told}", rig_path)
    cell = _path(wish, "cell", method.rehearsal.cell, wish.cell)
    check_cell(cell)
    unsuited = _unsuited(cell, method, rig)
    if unsuited:
        raise FileProblem(unsuited)
    counts = cell_counts(plan)
    varied = varied_cells(cell, counts, wish.seed)
    ensemble = (
        f"the method's own, varied {sum(counts)} times ({counts[0]} for the search, {counts[1]} to confirm), each "
        f"kept as a file: {WHAT_IS_VARIED}"
    )
    return Granted(plan, tuple(varied), ensemble, rig_path)


MOST_CELLS = 200
"""More varied cells than this cover the ranges no better."""


def cell_counts(plan: Plan) -> tuple[int, int]:
    """Return how many cells are varied for the search, and how many to confirm."""
    return min(plan.budget.runs, MOST_CELLS), min(plan.budget.confirming, MOST_CELLS)


def refuse_refills(path: Path, rig: Rig) -> None:
    """Runs by the thousand leave out the wire, and with it refills. InputProblem where the rig refills."""
    if rig.burette.refills:
        raise InputProblem(
            f"{path}: expected a rig whose burette does not refill (burette.refills: false), as rules are tuned "
            "without its refills, got one that does. Give one with --rig; the rules hold for both"
        )


def _rules(method: Method) -> tuple[str, ...]:
    own = method.additions.rule
    return tuple(rule for rule in tunable() if rule in (own, *(each for each in tunable() if each != OTHERWISE)))


def _path(wish: Wish, what: str, named: Path | None, given: Path | None) -> Path:
    path = given or named
    if path is None:
        raise InputProblem(
            f"{wish.method}: expected the {what} of the rehearsal under `rehearsal:` or --{what} FILE, got neither"
        )
    return path


def _refuse_what_cannot_be_judged(path: Path, method: Method) -> None:
    if method.find.equivalence_points == 0:
        raise InputProblem(
            f"{path}: expected a method that seeks an equivalence point, whose error can be judged, got a blank"
        )


def _unsuited(path: Path, method: Method, rig: Rig) -> list[Problem]:
    """What is wrong with a cell for this method."""
    try:
        open_unframed(rig, path, stated_values(method), 1)
    except FileProblem as error:
        return error.problems
    return []
