"""A two-column text file of volume and signal, from anywhere. What is ambiguous is refused, never guessed."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from titrator.evaluate.csv_header import Unit, stated_signal_unit, stated_volume_unit, unit_in
from titrator.evaluate.curve import Curve, SignalUnit
from titrator.files.problems import FileProblem, Problem

MOST_BYTES = 20_000_000
"""No titration has as many readings as that; a larger file is another kind of file."""
LEAST_BESIDE = 100
"""Whole numbers as large beside 1.122 and its like: they end where thousands would begin to be separated."""

_NUMBER = re.compile(r"^[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?$")
_DECIMAL_COMMA = re.compile(r"^[+-]?(\d+(,\d*)?|,\d+)([eE][+-]?\d+)?$")
_GROUPED = re.compile(r"^[+-]?[1-9]\d{0,2}[.,]\d{3}$")
_WHOLE = re.compile(r"^[+-]?\d+$")
_NOT_FINITE = re.compile(r"^[+-]?(nan|inf(inity)?)$", re.IGNORECASE)
_DELIMITER_NAMES = {",": "comma", ";": "semicolon", "\t": "tab"}


class _LineProblem(FileProblem):
    """A file problem told by line only: columns of a table of numbers are counted in fields, not in characters."""

    def __str__(self) -> str:
        return "\n".join(f"{each.path}:{each.line}: {each.text}" for each in self.problems)


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    fields: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Columns:
    """Which field is the volume, which the signal, and what they are multiplied by."""

    volume: int
    signal: int
    volume_factor: float
    signal_factor: float
    signal_unit: SignalUnit


def _problem(path: Path, line: int, text: str) -> FileProblem:
    return _LineProblem([Problem(line, 1, text, path)])


def _text(path: Path) -> str:
    """Return the file's text; raises FileProblem where it is not there, empty, binary or not UTF-8."""
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise _problem(path, 1, f"a table of at most {MOST_BYTES // 1_000_000} MB expected, {size} bytes came")
        raw = path.read_bytes()
    except OSError as error:
        raise _problem(path, 1, f"a readable file expected, came: {error.strerror}") from error
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _problem(path, 1, "UTF-8 text expected, UTF-16 came: save the table as CSV in UTF-8")
    if b"\x00" in raw:
        line = raw[: raw.index(b"\x00")].count(b"\n") + 1
        raise _problem(path, line, "text expected, a NUL byte came")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        byte = raw[error.start]
        raise _problem(path, line, f"UTF-8 text expected, the byte 0x{byte:02x} came: save it as UTF-8") from error
    if not text.strip():
        raise _problem(path, 1, "a header and rows of two numbers expected, the file is empty")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _delimiter(path: Path, lines: list[tuple[int, str]]) -> str:
    """Return what separates the fields: the first of semicolon, tab, comma that the first line has outside quotes."""
    line, first = lines[0]
    bare = re.sub(r'"[^"]*"', "", first)
    for delimiter in (";", "\t", ","):
        if delimiter in bare:
            return delimiter
    raise _problem(path, line, f"two columns separated by comma, semicolon or tab expected, {first.strip()!r} came")


def _rows(path: Path, text: str) -> tuple[list[_Row], str]:
    """Return the rows that hold something, and the delimiter."""
    lines = [
        (number, line)
        for number, line in enumerate(text.split("\n"), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise _problem(path, 1, "a header and rows of two numbers expected, only blank lines and comments came")
    delimiter = _delimiter(path, lines)
    rows = []
    for number, line in lines:
        try:
            fields = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=True))
        except (csv.Error, StopIteration) as error:
            raise _problem(path, number, f"two fields expected, a line came that is no CSV ({error})") from error
        stripped = tuple(field.strip() for field in fields)
        if not any(stripped):
            continue
        rows.append(_Row(number, stripped))
    if not rows:
        raise _problem(path, lines[0][0], "rows of two numbers expected, only empty fields came")
    return rows, delimiter


def _looks_numeric(field: str) -> bool:
    return bool(_NUMBER.match(field) or _DECIMAL_COMMA.match(field) or _NOT_FINITE.match(field))


def _check_width(path: Path, row: _Row, delimiter: str) -> None:
    if len(row.fields) == 2:
        return
    name = _DELIMITER_NAMES[delimiter]
    hint = ""
    if delimiter == "," and len(row.fields) in (3, 4) and all(_looks_numeric(field) for field in row.fields):
        hint = " (decimal commas beside separating commas are ambiguous: separate by semicolons)"
    raise _problem(
        path, row.line, f"2 fields separated by a {name} expected, {len(row.fields)} came: {row.fields!r}{hint}"
    )


def _with_header(path: Path, header: _Row, volume_unit: Unit | None, signal_unit: Unit | None) -> _Columns:
    """Return the columns of a file with a header; units beside the file must not contradict it."""
    found = [unit_in(cell) for cell in header.fields]
    volumes = [k for k, unit in enumerate(found) if unit is not None and unit.is_volume]
    signals = [k for k, unit in enumerate(found) if unit is not None and not unit.is_volume]
    if len(volumes) == 2 or len(signals) == 2:
        kind = "volume" if len(volumes) == 2 else "signal"
        raise _problem(path, header.line, f"one volume and one signal expected, two columns of {kind} came")
    volume = volumes[0] if volumes else (1 - signals[0] if signals else 0)
    signal = 1 - volume
    for at, given, option in ((volume, volume_unit, "--volume-unit"), (signal, signal_unit, "--signal-unit")):
        inside = found[at]
        if inside is None and given is None:
            example = "volume_mL" if at == volume else "potential_mV or pH"
            raise _problem(
                path,
                header.line,
                f"a unit in the header expected (such as {example}), {header.fields[at]!r} came: "
                f"name it there or by {option}",
            )
        if inside is not None and given is not None and inside != given:
            raise _problem(
                path, header.line, f"the unit of the header ({header.fields[at]!r}) expected, another came by {option}"
            )
    the_volume, the_signal = found[volume] or volume_unit, found[signal] or signal_unit
    assert the_volume is not None
    assert the_signal is not None
    assert the_signal.signal_unit is not None
    return _Columns(volume, signal, the_volume.factor, the_signal.factor, the_signal.signal_unit)


def _without_header(path: Path, first: _Row, volume_unit: Unit | None, signal_unit: Unit | None) -> _Columns:
    if volume_unit is None or signal_unit is None:
        lacking = " and ".join(
            option for option, unit in (("--volume-unit", volume_unit), ("--signal-unit", signal_unit)) if unit is None
        )
        raise _problem(
            path,
            first.line,
            f"a header with units (such as volume_mL,potential_mV) expected, numbers came: {first.fields!r}; "
            f"for a file without a header give {lacking}",
        )
    assert signal_unit.signal_unit is not None
    return _Columns(0, 1, volume_unit.factor, signal_unit.factor, signal_unit.signal_unit)


def _decimal_comma(path: Path, rows: list[_Row]) -> bool:
    """Return whether numbers have decimal commas; raises FileProblem where one file has both."""
    with_comma = [row for row in rows if any("," in field for field in row.fields)]
    with_point = [row for row in rows if any("." in field for field in row.fields)]
    if with_comma and with_point:
        later = max(with_comma[0], with_point[0], key=lambda row: row.line)
        raise _problem(
            path, later.line, f"one decimal sign in the whole file expected, comma and point came: {later.fields!r}"
        )
    return bool(with_comma)


def _check_grouping(path: Path, rows: list[_Row], delimiter: str, comma: bool) -> None:
    """Refuse numbers whose mark may separate thousands; raises FileProblem with the first of them.

    A column is refused whose marked numbers all look like 13,500 (0,300 or 1,50 cannot separate thousands): in a file
    separated by the same commas always, elsewhere beside whole numbers of a hundred and more.
    """
    mark = "," if comma else "."
    for at in (0, 1):
        marked = [row for row in rows if mark in row.fields[at]]
        whole = [abs(int(row.fields[at])) for row in rows if _WHOLE.match(row.fields[at])]
        grouped = bool(marked) and all(_GROUPED.match(row.fields[at]) for row in marked)
        if grouped and (delimiter == mark or max(whole, default=0) >= LEAST_BESIDE):
            row = marked[0]
            raise _problem(
                path,
                row.line,
                f"numbers without separators of thousands expected, {row.fields[at]!r} came, which may be "
                f"{row.fields[at].replace(mark, '')} or {row.fields[at].replace(mark, '.')}: write plain numbers"
                + (", with a decimal point or separated by semicolons" if delimiter == "," else ""),
            )


def _number(path: Path, row: _Row, field: str, comma: bool, what: str) -> float:
    if _NOT_FINITE.match(field):
        raise _problem(path, row.line, f"a finite number expected as {what}, {field!r} came")
    if not (_DECIMAL_COMMA if comma else _NUMBER).match(field):
        came = repr(field) if field else "an empty field"
        raise _problem(path, row.line, f"a number expected as {what}, {came} came")
    value = float(field.replace(",", "."))
    if not math.isfinite(value):
        raise _problem(path, row.line, f"a number within the range of doubles expected as {what}, {field!r} came")
    return value


def read_csv(path: Path | str, volume_unit: str | None = None, signal_unit: str | None = None) -> Curve:
    """Read two columns, volume and signal, in the file's own order; the curve is in mL and in mV, pH or pX.

    The header carries the units; a file without one needs both arguments. Raises FileProblem with file, line, what was
    expected and what came; ValueError for an argument that names no unit.
    """
    path = Path(path)
    volume_beside, signal_beside = stated_volume_unit(volume_unit), stated_signal_unit(signal_unit)
    rows, delimiter = _rows(path, _text(path))
    for row in rows:
        _check_width(path, row, delimiter)
    headed = not all(_looks_numeric(field) for field in rows[0].fields)
    if headed and any(_looks_numeric(field) for field in rows[0].fields):
        raise _problem(path, rows[0].line, f"a header or two numbers expected, {rows[0].fields!r} came")
    columns = (_with_header if headed else _without_header)(path, rows[0], volume_beside, signal_beside)
    body = rows[1:] if headed else rows
    if not body:
        raise _problem(path, rows[0].line + 1, "rows of two numbers expected below the header, none came")
    comma = _decimal_comma(path, body)
    _check_grouping(path, body, delimiter, comma)
    volume = [_number(path, row, row.fields[columns.volume], comma, "volume") for row in body]
    signal = [_number(path, row, row.fields[columns.signal], comma, "signal") for row in body]
    return Curve(
        volume_mL=np.array(volume) * columns.volume_factor,
        signal=np.array(signal) * columns.signal_factor,
        signal_unit=columns.signal_unit,
    )
