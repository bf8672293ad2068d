"""The methods of configs/methods with another rule of addition, for studies that compare rules."""

from pathlib import Path

from titrator.files.edited import Change, edited
from titrator.method import load_method

FINEST = "0.004 mL"
"""The least addition about a jump, by the burette of configs/rigs/simulated.yaml: four times its random error."""


def by_rule(path: Path, rule: str, folder: Path) -> Path:
    """The method at `path` by the rule `adaptive` (its own file) or `foreseeing` (a copy written into `folder`)."""
    if rule == "adaptive":
        return path
    rehearsal = load_method(path).rehearsal
    changes = [
        Change(("rehearsal", "cell"), str(rehearsal.cell)),
        Change(("rehearsal", "rig"), str(rehearsal.rig)),
        Change(("additions", "rule"), rule),
        Change(("additions", "finest"), FINEST),
    ]
    changed = folder / path.name
    changed.write_text(edited(path.read_text(encoding="utf-8"), changes), encoding="utf-8")
    return changed
