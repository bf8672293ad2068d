"""Which columns of a table are volume and signal, and in which units. What is ambiguous is refused with its remedy."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from titrator.evaluate.csv_header import Unit, unit_in
from titrator.evaluate.curve import SignalUnit
from titrator.files.problems import FileProblem, Problem

_NUMBER = re.compile(r"^[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?$")
_NOT_FINITE = re.compile(r"^[+-]?(nan|inf(inity)?)$", re.IGNORECASE)
_WHOLE = re.compile(r"^\d+$")


def looks_numeric(field: str) -> bool:
    """Return whether a field is a number as anybody may write it, not a number among them."""
    return bool(_NUMBER.match(field) or _NOT_FINITE.match(field))


class _LineProblem(FileProblem):
    """A file problem told by line only: columns of a table of numbers are counted in fields, not in characters."""

    def __str__(self) -> str:
        return "\n".join(f"{each.path}:{each.line}: {each.text}" for each in self.problems)


@dataclass(frozen=True, slots=True)
class Row:
    line: int
    fields: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """Which field is the volume, which the signal, and what they are multiplied by."""

    volume: int
    signal: int
    volume_factor: float
    signal_factor: float
    signal_unit: SignalUnit


@dataclass(frozen=True, slots=True)
class Beside:
    """What was said beside the file: units and columns, None where nothing was."""

    volume_unit: Unit | None
    signal_unit: Unit | None
    volume_column: int | None
    signal_column: int | None


def line_problem(path: Path, line: int, text: str) -> FileProblem:
    return _LineProblem([Problem(line, 1, text, path)])


def stated_column(path: Path, header: Row, stated: str | None, option: str, *, headed: bool) -> int | None:
    """Return the place of the column named beside the file, by its header or its number from 1; None: not named."""
    if stated is None:
        return None
    names = [cell.casefold() for cell in header.fields] if headed else []
    if names.count(stated.strip().casefold()) == 1:
        return names.index(stated.strip().casefold())
    if _WHOLE.match(stated) and 1 <= int(stated) <= len(header.fields):
        return int(stated) - 1
    known = f"one of {header.fields!r} or a" if headed else "a"
    raise line_problem(
        path, header.line, f"{option}: {known} number from 1 to {len(header.fields)} expected, {stated!r} came"
    )


def _one_of(path: Path, header: Row, found: list[int], stated: int | None, kind: str) -> int | None:
    """Return the column stated, or the only one that carries such a unit; raises FileProblem where several do."""
    if stated is not None or not found:
        return stated
    if len(found) > 1:
        names = " and ".join(repr(header.fields[k]) for k in found)
        raise line_problem(
            path,
            header.line,
            f"one volume and one signal expected, {'two' if len(found) == 2 else len(found)} columns of {kind} came "
            f"({names}): name one by --{kind}-column",
        )
    return found[0]


def with_header(path: Path, header: Row, beside: Beside) -> Columns:
    """Return the columns of a file with a header; units beside the file must not contradict it."""
    found = [unit_in(cell) for cell in header.fields]
    taken = (beside.volume_column, beside.signal_column)
    volumes = [k for k, unit in enumerate(found) if unit is not None and unit.is_volume and k != taken[1]]
    signals = [k for k, unit in enumerate(found) if unit is not None and not unit.is_volume and k != taken[0]]
    volume = _one_of(path, header, volumes, taken[0], "volume")
    signal = _one_of(path, header, signals, taken[1], "signal")
    if len(found) == 2:
        volume = volume if volume is not None else (1 - signal if signal is not None else 0)
        signal = 1 - volume if signal is None else signal
    if volume is None or signal is None:
        option = "--volume-column" if volume is None else "--signal-column"
        raise line_problem(
            path,
            header.line,
            f"units in the header of two of {len(found)} columns expected (such as volume_mL and potential_mV or pH), "
            f"{header.fields!r} came: name them there, or say which by {option}",
        )
    if volume == signal:
        raise line_problem(path, header.line, "two columns expected, the same came as volume and as signal")
    for at, given, option in (
        (volume, beside.volume_unit, "--volume-unit"),
        (signal, beside.signal_unit, "--signal-unit"),
    ):
        inside = found[at]
        if inside is None and given is None:
            example = "volume_mL" if at == volume else "potential_mV or pH"
            raise line_problem(
                path,
                header.line,
                f"a unit in the header expected (such as {example}), {header.fields[at]!r} came: "
                f"name it there or by {option} (a line that is no part of the table: put # before it)",
            )
        if inside is not None and (inside.is_volume != (at == volume) or (given is not None and inside != given)):
            other = option if given is not None else "its column"
            raise line_problem(
                path, header.line, f"the unit of the header ({header.fields[at]!r}) expected, another came by {other}"
            )
    the_volume, the_signal = found[volume] or beside.volume_unit, found[signal] or beside.signal_unit
    assert the_volume is not None
    assert the_signal is not None
    assert the_signal.signal_unit is not None
    return Columns(volume, signal, the_volume.factor, the_signal.factor, the_signal.signal_unit)


def without_header(path: Path, first: Row, beside: Beside) -> Columns:
    width = len(first.fields)
    wanted = [("--volume-unit", beside.volume_unit is None), ("--signal-unit", beside.signal_unit is None)]
    if width > 2:
        wanted += [("--volume-column", beside.volume_column is None), ("--signal-column", beside.signal_column is None)]
    lacking = [option for option, missing in wanted if missing]
    if lacking:
        raise line_problem(
            path,
            first.line,
            f"a header with units (such as volume_mL,potential_mV) expected, numbers came: {first.fields!r}; "
            f"for a file without a header give {', '.join(lacking[:-1])}{' and ' * (len(lacking) > 1)}{lacking[-1]}",
        )
    volume = beside.volume_column
    if volume is None:
        volume = 0 if beside.signal_column is None else 1 - beside.signal_column
    signal = beside.signal_column if beside.signal_column is not None else 1 - volume
    if volume == signal:
        raise line_problem(path, first.line, "two columns expected, the same came as volume and as signal")
    assert beside.volume_unit is not None
    assert beside.signal_unit is not None
    assert beside.signal_unit.signal_unit is not None
    return Columns(volume, signal, beside.volume_unit.factor, beside.signal_unit.factor, beside.signal_unit.signal_unit)


def joined_header(rows: list[Row]) -> tuple[Row, list[Row]]:
    """Return the header and the rows below; a second line that holds units and no number belongs to the header."""
    header, body = rows[0], rows[1:]
    if body and not any(looks_numeric(field) for field in body[0].fields) and any(map(unit_in, body[0].fields)):
        cells = zip(header.fields, body[0].fields, strict=True)
        return Row(header.line, tuple(f"{name} {unit}".strip() for name, unit in cells)), body[1:]
    return header, body
