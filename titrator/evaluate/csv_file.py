"""A text file of volume and signal in columns, from anywhere. What is ambiguous is refused, never guessed."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import numpy as np

from titrator.evaluate.csv_columns import (
    Beside,
    Row,
    joined_header,
    line_problem,
    looks_numeric,
    stated_column,
    with_header,
    without_header,
)
from titrator.evaluate.csv_header import stated_signal_unit, stated_volume_unit
from titrator.evaluate.curve import Curve

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
_SEPARATOR_TOLD = re.compile(r'^"?sep=([;,\t])"?$', re.IGNORECASE)
"""A first line in which a spreadsheet is told what separates the fields."""
COMMENTS = ("#", "%", "//")
"""What a line begins with that is no part of the table."""


def _text(path: Path) -> str:
    """Return the file's text; raises FileProblem where it is not there, empty, binary or not UTF-8."""
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise line_problem(path, 1, f"a table of at most {MOST_BYTES // 1_000_000} MB expected, {size} bytes came")
        raw = path.read_bytes()
    except OSError as error:
        raise line_problem(path, 1, f"a readable file expected, came: {error.strerror}") from error
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise line_problem(path, 1, "UTF-8 text expected, UTF-16 came: save the table as CSV in UTF-8")
    if b"\x00" in raw:
        line = raw[: raw.index(b"\x00")].count(b"\n") + 1
        raise line_problem(path, line, "text expected, a NUL byte came")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        byte = raw[error.start]
        raise line_problem(path, line, f"UTF-8 text expected, the byte 0x{byte:02x} came: save it as UTF-8") from error
    if not text.strip():
        raise line_problem(path, 1, "a header and rows of two numbers expected, the file is empty")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _delimiter(path: Path, lines: list[tuple[int, str]]) -> str:
    """Return what separates the fields: the first of semicolon, tab, comma that the first line has outside quotes."""
    line, first = lines[0]
    bare = re.sub(r'"[^"]*"', "", first)
    for delimiter in (";", "\t", ","):
        if delimiter in bare:
            return delimiter
    raise line_problem(path, line, f"two columns separated by comma, semicolon or tab expected, {first.strip()!r} came")


def _rows(path: Path, text: str) -> tuple[list[Row], str]:
    """Return the rows that hold something, and the delimiter: that of a first line `sep=;`, or that of the header."""
    lines = [
        (number, line)
        for number, line in enumerate(text.split("\n"), start=1)
        if line.strip() and not line.lstrip().startswith(COMMENTS)
    ]
    if not lines:
        raise line_problem(path, 1, "a header and rows of two numbers expected, only blank lines and comments came")
    told = _SEPARATOR_TOLD.match(lines[0][1].strip(" "))
    if told is not None:
        lines = lines[1:]
    if not lines:
        raise line_problem(path, 1, "a header and rows of two numbers expected below the first line, none came")
    delimiter = told.group(1) if told is not None else _delimiter(path, lines)
    rows = []
    for number, line in lines:
        try:
            fields = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=True))
        except (csv.Error, StopIteration) as error:
            raise line_problem(path, number, f"two fields expected, a line came that is no CSV ({error})") from error
        stripped = tuple(field.strip() for field in fields)
        if not any(stripped):
            continue
        rows.append(Row(number, stripped))
    if not rows:
        raise line_problem(path, lines[0][0], "rows of two numbers expected, only empty fields came")
    return rows, delimiter


def _without_empty_ends(rows: list[Row]) -> list[Row]:
    """Return the rows without the columns at their end that are empty in all of them (a separator ends every line)."""
    widths = {len(row.fields) for row in rows}
    if len(widths) > 1:
        return rows
    width = widths.pop()
    while width > 2 and not any(row.fields[width - 1] for row in rows):
        width -= 1
    return [Row(row.line, row.fields[:width]) for row in rows]


def _check_width(path: Path, row: Row, width: int, delimiter: str) -> None:
    """Refuse a row of another number of fields than the first row has, and a table of one column."""
    if len(row.fields) == width and width >= 2:
        return
    name = _DELIMITER_NAMES[delimiter]
    hint = ""
    if delimiter == "," and len(row.fields) in (3, 4) and all(looks_numeric(field) for field in row.fields):
        hint = " (decimal commas beside separating commas are ambiguous: separate by semicolons)"
    elif not all(looks_numeric(field) for field in row.fields if field):
        hint = " (a line that is no part of the table: put # before it)"
    raise line_problem(
        path,
        row.line,
        f"{max(width, 2)} fields separated by a {name} expected, {len(row.fields)} came: {row.fields!r}{hint}",
    )


def _check_commas(path: Path, row: Row, delimiter: str) -> None:
    """Refuse numbers in more than two columns separated by commas where pairs of them may be decimals: 1,0,0,3."""
    whole = [bool(_WHOLE.match(field)) for field in row.fields]
    if delimiter == "," and len(row.fields) in (3, 4) and all(whole):
        raise line_problem(
            path,
            row.line,
            f"2 fields separated by a comma expected, {len(row.fields)} came: {row.fields!r} (decimal commas beside "
            "separating commas are ambiguous: separate by semicolons)",
        )


def _decimal_comma(path: Path, rows: list[Row]) -> bool:
    """Return whether numbers have decimal commas; raises FileProblem where one file has both.

    `rows` hold the two columns that are read, no other.
    """
    with_comma = [row for row in rows if any("," in field for field in row.fields)]
    with_point = [row for row in rows if any("." in field for field in row.fields)]
    if with_comma and with_point:
        later = max(with_comma[0], with_point[0], key=lambda row: row.line)
        raise line_problem(
            path, later.line, f"one decimal sign in the whole file expected, comma and point came: {later.fields!r}"
        )
    return bool(with_comma)


def _check_grouping(path: Path, rows: list[Row], delimiter: str, comma: bool) -> None:
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
            raise line_problem(
                path,
                row.line,
                f"numbers without separators of thousands expected, {row.fields[at]!r} came, which may be "
                f"{row.fields[at].replace(mark, '')} or {row.fields[at].replace(mark, '.')}: write plain numbers"
                + (", with a decimal point or separated by semicolons" if delimiter == "," else ""),
            )


def _number(path: Path, row: Row, field: str, comma: bool, what: str) -> float:
    if _NOT_FINITE.match(field):
        raise line_problem(path, row.line, f"a finite number expected as {what}, {field!r} came")
    if not (_DECIMAL_COMMA if comma else _NUMBER).match(field):
        came = repr(field) if field else "an empty field"
        raise line_problem(path, row.line, f"a number expected as {what}, {came} came")
    value = float(field.replace(",", "."))
    if not math.isfinite(value):
        raise line_problem(path, row.line, f"a number within the range of doubles expected as {what}, {field!r} came")
    return value


def read_csv(
    path: Path | str,
    volume_unit: str | None = None,
    signal_unit: str | None = None,
    *,
    volume_column: str | None = None,
    signal_column: str | None = None,
) -> Curve:
    """Read volume and signal, in the file's own order; the curve is in mL and in mV, pH or pX.

    The header carries the units, in its one line or in a second below it; a file without one needs both units as
    arguments. Of more than two columns those are taken that alone carry a unit of volume and of a signal; `..._column`
    names them otherwise, by header or by number from 1. Lines that begin with #, % or // are no part of the table.
    Raises FileProblem with file, line, what was expected and what came; ValueError for an argument that names no unit.
    """
    path = Path(path)
    volume_beside, signal_beside = stated_volume_unit(volume_unit), stated_signal_unit(signal_unit)
    rows, delimiter = _rows(path, _text(path))
    rows = _without_empty_ends(rows)
    headed = not all(looks_numeric(field) for field in rows[0].fields)
    for row in rows:
        _check_width(path, row, len(rows[0].fields), delimiter)
    if headed and any(looks_numeric(field) for field in rows[0].fields):
        raise line_problem(path, rows[0].line, f"a header or two numbers expected, {rows[0].fields!r} came")
    header, body = joined_header(rows) if headed else (rows[0], rows)
    beside = Beside(
        volume_beside,
        signal_beside,
        stated_column(path, rows[0], volume_column, "--volume-column", headed=headed),
        stated_column(path, rows[0], signal_column, "--signal-column", headed=headed),
    )
    if not headed and beside.volume_column is None:
        _check_commas(path, rows[0], delimiter)
    columns = (with_header if headed else without_header)(path, header, beside)
    if not body:
        raise line_problem(path, header.line + 1, "rows of two numbers expected below the header, none came")
    pairs = [Row(row.line, (row.fields[columns.volume], row.fields[columns.signal])) for row in body]
    comma = _decimal_comma(path, pairs)
    _check_grouping(path, pairs, delimiter, comma)
    volume = [_number(path, row, row.fields[0], comma, "volume") for row in pairs]
    signal = [_number(path, row, row.fields[1], comma, "signal") for row in pairs]
    return Curve(
        volume_mL=np.array(volume) * columns.volume_factor,
        signal=np.array(signal) * columns.signal_factor,
        signal_unit=columns.signal_unit,
    )
