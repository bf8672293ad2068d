"""What a rig remembers from one real run to the next: the titrant that stands in it.

Only real runs read and write it, never rehearsals. Whoever primes with another titrant forgets the old one before the
first drop moves (`forget`) and remembers the new one once the purge is delivered (`remember`), so that a run that is
broken off in between leaves a rig that is known to hold a mixture.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from titrator.bench.errors import BenchError
from titrator.bench.rig import Rig

FORMAT: Final = 1
PURGE_DEAD_VOLUMES: Final = 3
"""In plug flow one dead volume would do; perfectly mixed, the worst case, three leave exp(-3) = 5 % of the old titrant
in one dead volume (derived). Three is common practice."""
SAME_WITHIN: Final = 0.01
"""Concentrations that differ by less, as a part, are one titrant standardised again: a dead volume of 0.5 mL that is
1 % off moves a titration of 10 mL by 0.05 % (derived)."""


class RigMemoryError(BenchError):
    """The memory cannot be read or written, or the titrant that the rig holds is not the one asked for."""


@dataclass(frozen=True, slots=True)
class HeldTitrant:
    """A titrant in a rig: its name as the method has it, its concentration, the acid or medium it is made up in."""

    name: str
    mol_per_L: float
    medium: str

    def __str__(self) -> str:
        """`cerium(IV) 0.1 mol/L in sulfuric acid`."""
        return f"{self.name} {self.mol_per_L:.4g} mol/L in {self.medium}"

    def same_as(self, other: HeldTitrant) -> bool:
        """Whether the one may follow the other without a purge."""
        close = abs(self.mol_per_L - other.mol_per_L) <= SAME_WITHIN * other.mol_per_L
        return close and (self.name, self.medium) == (other.name, other.medium)


def memory_path(rig: Rig, rig_path: Path) -> Path:
    """The file that the rig names, or `<stem>.memory.json` beside its own."""
    return rig.memory or rig_path.with_name(f"{rig_path.stem}.memory.json")


def held(path: Path) -> HeldTitrant | None:
    """What the rig holds; None when nothing is known of it, or it holds a mixture. RigMemoryError when unreadable."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise _unreadable(path, str(error)) from error
    try:
        return _parsed(json.loads(text))
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise _unreadable(path, f"{type(error).__name__}: {error}") from error


def _parsed(document: Any) -> HeldTitrant | None:
    if document["format"] != FORMAT:
        raise ValueError(f"format {FORMAT} is the only one known, got {document['format']!r}")
    titrant = document["titrant"]
    if titrant is None:
        return None
    name, mol_per_L, medium = titrant["name"], titrant["mol_per_L"], titrant["medium"]
    if not (isinstance(name, str) and isinstance(medium, str) and isinstance(mol_per_L, float) and mol_per_L > 0.0):
        raise ValueError("a titrant has a name, a concentration above 0 and a medium")
    return HeldTitrant(name, mol_per_L, medium)


def purge_due_mL(path: Path, titrant: HeldTitrant, rig: Rig) -> float:
    """Volume of the purge that must come before a run with `titrant`: 0 when the rig holds it already.

    RigMemoryError when one is due and the rig file states no dead volume.
    """
    holds = held(path)
    if holds is not None and titrant.same_as(holds):
        return 0.0
    dead_mL = rig.burette.dead_volume_mL
    if not dead_mL:
        raise RigMemoryError(
            f"expected a rig that holds {titrant}, got {_spoken(holds)} (by {path}), and its file states no dead "
            f"volume to purge. Next: state burette.dead_volume, the volume from valve to tip"
        )
    return PURGE_DEAD_VOLUMES * dead_mL


def check_titrant(path: Path, titrant: HeldTitrant, rig: Rig, purge_mL: float) -> None:
    """Refuse a run with another titrant than the rig holds, unless `purge_mL` is delivered over waste before it.

    RigMemoryError.
    """
    due_mL = purge_due_mL(path, titrant, rig)
    if purge_mL < due_mL * (1.0 - 1e-9):
        raise RigMemoryError(
            f"expected a rig that holds {titrant}, got {_spoken(held(path))} (by {path}). Next: purge at least "
            f"{due_mL:g} mL over waste, {PURGE_DEAD_VOLUMES} times the dead volume, got {purge_mL:g} mL"
        )


def remember(path: Path, titrant: HeldTitrant) -> None:
    """The rig holds this titrant from now on. RigMemoryError when it cannot be written."""
    _write(path, {"name": titrant.name, "mol_per_L": float(titrant.mol_per_L), "medium": titrant.medium})


def forget(path: Path) -> None:
    """What the rig holds is not known from now on: a purge begins. RigMemoryError when it cannot be written."""
    _write(path, None)


def _write(path: Path, titrant: dict[str, Any] | None) -> None:
    """Replaced in one move, so that a power cut leaves the old memory or the new one, never half of it."""
    beside = path.with_name(path.name + ".new")
    try:
        with beside.open("w", encoding="utf-8") as file:
            json.dump({"format": FORMAT, "titrant": titrant}, file, ensure_ascii=False, indent=2)
            file.write("\n")
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as error:
        raise RigMemoryError(
            f"expected to write what the rig holds to {path}, got: {error}. Next: make room or mend the permissions, "
            f"or name another file under `memory` in the rig file"
        ) from error


def _spoken(holds: HeldTitrant | None) -> str:
    return "one whose content is not known" if holds is None else f"one that holds {holds}"


def _unreadable(path: Path, what: str) -> RigMemoryError:
    return RigMemoryError(
        f"expected what the rig holds in {path}, got: {what}. Next: if you know the titrant in the rig, mend the file; "
        f"if not, delete it and purge"
    )
