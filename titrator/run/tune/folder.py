"""The folder of a sweep: copies of what it was made from, its cells, the results as they come, what was found."""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from titrator.bench.rig import load_rig
from titrator.method import load_method
from titrator.record.run_folder import SWEEP, RunFolder, find_sweep, sha256, write_json
from titrator.run.host import describe_host
from titrator.run.tune.budget import budget_of
from titrator.run.tune.cells import CellText
from titrator.run.tune.setting import Draft
from titrator.run.tune.sweep import Plan, describe
from titrator.run.tune.sweep_file import SweepFile, SweepFileError
from titrator.run.tune.wish import Granted, Wish, cell_counts
from titrator.run.tune.work import Group, Outfit, sources


@dataclass(frozen=True, slots=True)
class Prepared:
    """A sweep that can begin, or go on. `ensemble` says on which cells, `method` where the original method is."""

    folder: Path
    method: Path
    plan: Plan
    outfit: Outfit
    ensemble: str
    file: SweepFile


def begin(wish: Wish, granted: Granted, runs: Path, now: datetime.datetime) -> Prepared:
    """Make the folder of a new sweep. RunFolderError where it cannot be made."""
    plan, cells = granted.plan, granted.cells
    copies = {"method.yaml": wish.method, "rig.yaml": granted.rig}
    folder = RunFolder.create(runs, f"tuning {plan.draft.method.name}", now.date(), copies).path
    (folder / "results").rmdir()
    (folder / "cells").mkdir()
    for cell in cells:
        (folder / "cells" / cell.name).write_text(cell.text, encoding="utf-8")
    with (folder / "host.json").open("x", encoding="utf-8") as out:
        write_json(out, {**describe_host(now), "method": str(wish.method.resolve())})
    first = {
        "kind": "sweep",
        "format": 1,
        **describe(plan),
        "own_cells": wish.cells is None,
        "ensemble": granted.ensemble,
        "cells": [cell.name for cell in cells],
        "digests": _digests(folder),
        "sources": sources(),
    }
    outfit = outfit_of(plan, cells, varied=wish.cells is None)
    file = SweepFile(folder / SWEEP.file, first)
    return Prepared(folder, wish.method, plan, outfit, granted.ensemble, file)


def outfit_of(plan: Plan, cells: tuple[CellText, ...], *, varied: bool) -> Outfit:
    """Return what the runs are made with: varied cells are parted in those of the search and those that confirm."""
    groups: tuple[Group, ...] = (Group(0, 0, len(cells)),)
    if varied:
        searched, confirmed = cell_counts(plan)
        groups = (Group(0, 0, searched), Group(plan.budget.runs, searched, confirmed))
    return Outfit(plan.draft.rig, cells, groups, plan.seed)


def go_on(word: str, runs: Path) -> Prepared:
    """Read a sweep's folder (a path, a number or `last`) to go on with it. InputProblem where that is not possible."""
    folder = find_sweep(word, runs)
    file = SweepFile(folder / SWEEP.file)
    begun = file.begun
    try:
        _refuse_changes(folder, begun)
        path = folder / "method.yaml"
        draft = Draft(
            path.read_text(encoding="utf-8").removeprefix("\ufeff"), load_method(path), load_rig(folder / "rig.yaml")
        )
        plan = Plan(draft, budget_of(begun["runs"]), tuple(begun["rules"]), begun["prefer"], begun["seed"])
        cells = tuple(CellText(name, (folder / "cells" / name).read_text(encoding="utf-8")) for name in begun["cells"])
        method = Path(json.loads((folder / "host.json").read_text(encoding="utf-8"))["method"])
        outfit = outfit_of(plan, cells, varied=begun["own_cells"])
        return Prepared(folder, method, plan, outfit, begun["ensemble"], file)
    except (KeyError, TypeError, ValueError) as error:
        raise SweepFileError(
            f"{folder}: expected what a sweep is made from in {SWEEP.file} and host.json, got other files ({error}): "
            "they were changed after they were written. Begin the sweep anew"
        ) from None


def _refuse_changes(folder: Path, begun: dict[str, Any]) -> None:
    """What is searched further must be what was begun with: the same files, the same program."""
    for name, digest in begun["digests"].items():
        if sha256(folder / name) != digest:
            raise SweepFileError(
                f"{folder / name}: expected the file that the sweep was begun with, got another. Put it back as it was"
            )
    if begun["sources"] != sources():
        raise SweepFileError(
            f"{folder}: expected to go on with the program that the sweep was begun with, got another version of it, "
            "whose runs may differ. Begin the sweep anew"
        )


def _digests(folder: Path) -> dict[str, str]:
    paths = [folder / "method.yaml", folder / "rig.yaml", *sorted((folder / "cells").iterdir())]
    return {path.relative_to(folder).as_posix(): sha256(path) for path in paths}
