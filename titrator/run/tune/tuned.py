"""The tuned method: the original with the picked values in place, and a head that says what was compared."""

from __future__ import annotations

import os
import textwrap
from pathlib import Path
from typing import Final

from titrator.files.edited import Change, edited, quoted, value_at
from titrator.run.tune.choice import MEANS, Figures
from titrator.run.tune.sweep import Swept

WIDTH: Final = 118
SAME_RUNS: Final = "Run k has the seed {seed} + k - 1, and the same cell for every setting."
MARKED: Final = (
    'What was changed is marked with "tuned" and what it was; the other comments are the original\'s and speak of what '
    "it was made from."
)


def tuned_text(swept: Swept, ensemble: str, method: Path, into: Path) -> str:
    """Return the text of the tuned method, which will stand in the folder `into`; `method` is the original's file.

    `ensemble` says on which cells settings were judged. Paths of the rehearsal are written as seen from `into`.
    """
    choice = swept.choice
    assert choice is not None, "without a choice nothing is written"
    draft, setting = swept.plan.draft, swept.settings[choice.setting]
    changes = [*draft.changes(setting), *_paths(swept, method, into)]
    return "\n".join([*_head(swept, choice, ensemble), "", edited(draft.text, changes)])


def _paths(swept: Swept, method: Path, into: Path) -> list[Change]:
    """Cell and rig of the rehearsal, which the original names as seen from its own folder."""
    folder, text = method.resolve().parent, swept.plan.draft.text
    changes = []
    for key in ("cell", "rig"):
        named = value_at(text, ("rehearsal", key))
        if named is not None and folder != into.resolve():
            path = os.path.relpath((folder / named).resolve(), into.resolve())
            changes.append(Change(("rehearsal", key), quoted(Path(path).as_posix())))
    return changes


def _head(swept: Swept, choice: Figures, ensemble: str) -> list[str]:
    plan, budget = swept.plan, swept.plan.budget
    what = "the method as it stood" if choice.setting == 0 else f"setting {choice.setting}"
    rule, last = swept.settings[choice.setting].rule, budget.runs + budget.confirming
    searched = f"{budget.settings} settings on runs 1 to {budget.runs} each"
    confirmed = f"{budget.finalists} of them on runs {budget.runs + 1} to {last}, whose figures stand here"
    told = [
        f"Tuned by `titrator tune` on simulated cells: {what}, rule {rule}. All figures below are simulated.",
        f"Preference {plan.prefer}: {MEANS[plan.prefer]}.",
        f"{budget.total} dry runs, seed {plan.seed}: {searched}, then {confirmed}. {SAME_RUNS.format(seed=plan.seed)}",
        f"Rules searched: {', '.join(plan.rules)}. Cells: {ensemble}.",
        MARKED,
    ]
    lines = [line for text in told for line in textwrap.wrap(text, WIDTH)]
    return [f"# {line}".rstrip() for line in [*lines, *_table(swept, choice)]]


def _table(swept: Swept, choice: Figures) -> list[str]:
    lines = ["  setting  rule        duration  additions  rms error  values"]
    for each in sorted(swept.confirmed.values(), key=lambda one: one.duration_s):
        setting = swept.settings[each.setting]
        mark = "*" if each.setting == choice.setting else " "
        error = f"{len(each.failures)} failed" if each.failures or each.rms_uL is None else f"{each.rms_uL:.2f} µL"
        values = ", ".join(f"{way.split('.')[1]} {value}" for way, value in setting.values.items())
        values = f"as it stood: {values}" if each.setting == 0 else values
        lines.append(
            f"{mark} {each.setting:7d}  {setting.rule:<10}  {each.duration_s:6.0f} s  {each.additions:9.1f}  {error:>9}"
            f"  {values}"
        )
    return [*lines, "* picked"]
