"""The kinds of files: telling a method from a rig and a cell, and the model of each."""

from __future__ import annotations

from pathlib import Path
from typing import Final, Literal, TypeAlias

from titrator.files import StrictModel, read_yaml

Kind: TypeAlias = Literal["method", "rig", "cell"]
KINDS: Final[tuple[Kind, ...]] = ("method", "rig", "cell")

_TELLING: Final[dict[Kind, frozenset[str]]] = {
    "method": frozenset(
        "rehearsal medium vessel additions reading ends_when find result cautions".split()  # noqa: SIM905
    ),
    "rig": frozenset(["kind", "burette", "wetted", "link", "record", "board"]),
    "cell": frozenset(["potentials", "exchange", "mixing", "tip", "surroundings", "noise", "drift"]),
}
"""Keys at the top of a file that only this kind has; a test holds them against the models."""


def recognised(path: Path) -> Kind | None:
    """Return the kind that a file's keys tell, None where they tell none. FileProblem when it is no YAML file."""
    data = read_yaml(path).data
    keys = set(data) if isinstance(data, dict) else set()
    counts = {kind: len(keys & telling) for kind, telling in _TELLING.items()}
    most = max(counts.values())
    kinds = [kind for kind, count in counts.items() if count == most]
    return kinds[0] if most and len(kinds) == 1 else None


def model_of(kind: Kind) -> type[StrictModel]:
    """Return the model of a kind of file; imports no more than that kind needs."""
    if kind == "method":
        from titrator.method import Method

        return Method
    if kind == "rig":
        from titrator.bench.rig import Rig

        return Rig
    from titrator.bench.simulated import cell_model

    return cell_model()
