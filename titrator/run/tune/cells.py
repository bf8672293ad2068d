"""The cells that settings are judged on: those of a folder, or the method's own cell with its values varied.

A varied cell is the own cell's file with some values changed, nothing else: anybody can rehearse on it. The draws come
from the seed, one stream for each value, and cover its range evenly (each of n cells has its own n-th part).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Final, NamedTuple

from titrator.bench.simulated import check_cell
from titrator.files import FileProblem, InputProblem, Problem
from titrator.files.edited import Change, Way, edited, value_at

FACTOR: Final = 1.5
"""Lags and noise of another day or bench: up to so many times the cell's own, or one such part of it."""
OFFSET_mV: Final = 3.0
"""A reference electrode drifts by some millivolts from one check to the next (common practice)."""
DRIFT_TIMES: Final = 2.0


class CellText(NamedTuple):
    """A cell file by its name, and what was varied in it, in words."""

    name: str
    text: str
    varied: str = ""


@dataclass(frozen=True, slots=True)
class _Varied:
    """A value that is varied: `value` makes a new one from the old and a draw from 0 to 1."""

    way: Way
    words: str
    value: Callable[[float, float], float]
    absent: str | None = None
    """What a cell without the key has; None: nothing is varied then."""


def _times(factor: float) -> Callable[[float, float], float]:
    return lambda old, u: old * factor ** (2.0 * u - 1.0)


LAGS_AND_STATE: Final = (
    _Varied(("mixing",), "mixing", _times(FACTOR)),
    _Varied(("electrode", "response"), "response", _times(FACTOR)),
    _Varied(("electrode", "slowing"), "slowing", _times(FACTOR)),
    _Varied(("electrode", "offset"), "offset", lambda old, u: old + OFFSET_mV * (2.0 * u - 1.0), "0 mV"),
    _Varied(("drift",), "drift", lambda old, u: DRIFT_TIMES * (2.0 * u - 1.0) * old),
)
WHAT_IS_VARIED: Final = (
    f"concentration (within the limits of the cell), mixing, response and slowing of the electrode and noise (each up "
    f"to {FACTOR:g} times or a {FACTOR:g}th), drift (up to {DRIFT_TIMES:g} times, either way), offset of the electrode "
    f"(within {OFFSET_mV:g} mV); potentials, slope, titrant, aliquot and burette are drawn in each run as always"
)


def cells_of_folder(folder: Path) -> list[CellText]:
    """Return the cell files of a folder, by name. FileProblem for a wrong one, InputProblem where there is none."""
    try:
        paths = sorted(path for path in folder.iterdir() if path.suffix in (".yaml", ".yml"))
    except OSError as error:
        raise InputProblem(f"{folder}: expected a folder with cell files, got: {error.strerror or error}") from None
    if not paths:
        raise InputProblem(f"{folder}: expected cell files in it (*.yaml), got none")
    problems: list[Problem] = []
    for path in paths:
        try:
            check_cell(path)
        except FileProblem as error:
            problems += error.problems
    if problems:
        raise FileProblem(problems)
    return [CellText(path.name, path.read_text(encoding="utf-8")) for path in paths]


def varied_cells(path: Path, counts: tuple[int, ...], seed: int) -> list[CellText]:
    """Return groups of so many varied cells after each other, each group covering the ranges for itself."""
    check_cell(path)
    text = path.read_text(encoding="utf-8")
    varied = [*LAGS_AND_STATE, *_noises(text)]
    cells: list[CellText] = []
    for group, count in enumerate(counts):
        draws = {each.way: _even(f"{seed}/cells {group}/{each.words}", count) for each in varied}
        amounts = [_even(f"{seed}/cells {group}/concentration {k}", count) for k, _ in enumerate(_concentrations(text))]
        for number in range(count):
            changes, said = _concentration_changes(text, [draw[number] for draw in amounts], count)
            for each in varied:
                change = _change(text, each, draws[each.way][number])
                if change is not None:
                    changes.append(change)
                    said.append(f"{each.words} {change.value}")
            name = f"{len(cells) + 1:04d}.yaml"
            head = f"# Varied for a sweep of `titrator tune`, seed {seed}: {', '.join(said)}.\n"
            cells.append(CellText(name, head + edited(text, changes), ", ".join(said)))
    return cells


def _even(stream: str, count: int) -> list[float]:
    """Draws from 0 to 1, one in each n-th part, in random order."""
    random = Random(stream)
    order = list(range(count))
    random.shuffle(order)
    return [(place + random.random()) / count for place in order]


def _noises(text: str) -> list[_Varied]:
    """Every kind of noise of the cell."""
    found: list[_Varied] = []
    while value_at(text, ("noise", len(found), "sd")) is not None:
        words = "noise" if not found else f"noise {len(found) + 1}"
        found.append(_Varied(("noise", len(found), "sd"), words, _times(FACTOR)))
    return found


def _concentrations(text: str) -> list[Way]:
    ways: list[Way] = [("sample", "concentration")]
    while value_at(text, ("sample", "then", len(ways) - 1, "from")) is not None:
        ways.append(("sample", "then", len(ways) - 1))
    return ways


def _concentration_changes(text: str, draws: list[float], count: int) -> tuple[list[Change], list[str]]:
    """Each cell has one part of the range: a run still draws within it, from its own seed."""
    changes: list[Change] = []
    said = []
    for number, (way, draw) in enumerate(zip(_concentrations(text), draws, strict=True)):
        low, high = (value_at(text, (*way, key)) for key in ("from", "to"))
        assert low is not None, "a cell that was checked has it"
        assert high is not None, "a cell that was checked has it"
        (a, unit), (b, other) = _parted(low), _parted(high)
        if unit != other or a == b:
            continue
        part = int(draw * count)
        limits = [f"{a + (b - a) * share / count:.6g}{unit}" for share in (part, part + 1)]
        changes += [Change((*way, key), value) for key, value in zip(("from", "to"), limits, strict=True)]
        said.append(f"concentration{'' if number == 0 else f' {number + 1}'} {limits[0]} to {limits[1]}")
    return changes, said


def _change(text: str, each: _Varied, draw: float) -> Change | None:
    old = value_at(text, each.way)
    old = each.absent if old is None else old
    if old is None:
        return None
    number, unit = _parted(old)
    return Change(each.way, f"{each.value(number, draw):.4g}{unit}")


def _parted(value: str) -> tuple[float, str]:
    """Return number and unit (with its blank) of a quantity that was checked."""
    stripped = value.strip()
    end = next((at for at, letter in enumerate(stripped) if letter not in "0123456789.+-eE−"), len(stripped))
    number = stripped[:end].rstrip()
    return float(number.replace("−", "-")), stripped[len(number) :]
