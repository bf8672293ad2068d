"""The atoms of a formula, and its molar mass."""

from __future__ import annotations

import math
import re
from typing import Final

from titrator.chemistry.atomic_weights import ATOMIC_WEIGHTS

_TOKEN: Final = re.compile(r"([A-Z][a-z]?|\(|\))([1-9]\d*)?")
_PART: Final = re.compile(r"([1-9]\d*)?(.+)")


def _refused(formula: str, what: str) -> ValueError:
    """Return the error for a formula that cannot be read."""
    return ValueError(f"a formula such as KHC8H4O4 or (NH4)2Fe(SO4)2·6H2O expected, {formula!r} came: {what}")


def _counts(part: str, formula: str) -> dict[str, int]:
    """Return the atoms of one part between dots."""
    levels: list[dict[str, int]] = [{}]
    at = 0
    while at < len(part):
        token = _TOKEN.match(part, at)
        if token is None:
            raise _refused(formula, f"{part[at:]!r} is no symbol, bracket or number")
        at = token.end()
        symbol, times = token.group(1), int(token.group(2) or 1)
        if symbol == "(":
            if token.group(2):
                raise _refused(formula, "a number behind an opening bracket")
            levels.append({})
            continue
        added = {symbol: 1}
        if symbol == ")":
            if len(levels) == 1 or not levels[-1]:
                raise _refused(formula, "a closing bracket without its opening one, or nothing between them")
            added = levels.pop()
        for each, count in added.items():
            levels[-1][each] = levels[-1].get(each, 0) + count * times
    if len(levels) > 1:
        raise _refused(formula, "a bracket that is not closed")
    return levels[0]


def atoms(formula: str) -> dict[str, int]:
    """Return the number of atoms by symbol; crystal water behind a dot (· or *). ValueError for what is no formula."""
    found: dict[str, int] = {}
    for piece in re.split(r"[·*]", formula.replace(" ", "")):
        matched = _PART.fullmatch(piece)
        if matched is None:
            raise _refused(formula, "nothing before or behind a dot")
        times = int(matched.group(1) or 1)
        for symbol, count in _counts(matched.group(2), formula).items():
            found[symbol] = found.get(symbol, 0) + times * count
    return found


def molar_mass_g_per_mol(formula: str) -> tuple[float, float]:
    """Return the molar mass and its standard uncertainty in g/mol by the table of atomic weights, bounds rectangular.

    ValueError for what is no formula, and for an element that the table does not have.
    """
    counts = atoms(formula)
    unknown = [symbol for symbol in counts if symbol not in ATOMIC_WEIGHTS]
    if unknown:
        raise _refused(formula, f"the table of atomic weights has no {unknown[0]}")
    value = math.fsum(count * ATOMIC_WEIGHTS[symbol][0] for symbol, count in counts.items())
    variance = math.fsum((count * ATOMIC_WEIGHTS[symbol][1]) ** 2 / 3.0 for symbol, count in counts.items())
    return value, math.sqrt(variance)
