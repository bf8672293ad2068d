"""Writing the journal: one JSON object a line, appended, numbered, each chained to the line before by its SHA-256.

A line is `{"n": 12, "kind": "point", "t_ms": 48120, …, "prev": "<sha256 of the line before, without its newline>"}`;
`t_ms` is the board's time. The first line's `prev` is 64 zeros. What differs from host to host or day to day never
stands here (it has a file of its own), so that the same seed gives the same bytes.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

FIRST_PREV = "0" * 64


class JournalError(Exception):
    """A line could not be written: nothing more may be dosed, since it could not be recorded."""


class Behind(NamedTuple):
    """How far a journal is written: whole lines, their bytes, and the SHA-256 of the last one."""

    lines: int
    size: int
    prev: str


class Journal:
    """One writer. `sync` makes `durable` lines wait for the disk (fsync of file, and once of its folder).

    Every line goes to the operating system as soon as it is written, so that a process that is killed leaves all of
    them. A line that could not be written whole is taken back; when that fails too, and after an fsync that failed
    (what of the file is on the disk then, nobody knows), nothing more counts as durable.
    """

    def __init__(self, path: Path, *, sync: bool, behind: Behind | None = None) -> None:
        """A new journal, or one that goes on `behind` lines that are there; what follows them is cut off.

        Whoever says `behind` has kept what is cut. JournalError when a new journal is there already, or the file cannot
        be made, opened or cut.
        """
        self._path = path
        self._sync = sync
        self._broken = self._sync_failed = ""
        self._n, self.size, self._prev = behind or Behind(0, 0, FIRST_PREV)
        try:
            self._file = path.open("xb" if behind is None else "r+b", buffering=0)
            if behind is not None:
                self._file.truncate(self.size)
                self._file.seek(self.size)
            if sync:
                _sync_folder(path.parent)
        except OSError as error:
            raise self._failed(error) from error
        self.durable_size = self.size
        """Bytes that a power cut cannot take, as far as fsync can be believed."""

    def write(self, kind: str, t_s: float, fields: Mapping[str, Any], *, durable: bool = False) -> None:
        """Append one line. A `durable` line is on the disk (with `sync`) when this returns."""
        body = json.dumps(fields, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        self._append(kind, t_s, body[1:-1])
        if durable and self._sync:
            self._wait_for_disk()

    def write_readings(self, first_index: int, t_ms: Sequence[int], microvolts: Sequence[int], missed: int) -> None:
        """Append a block of readings: board milliseconds and microvolts, one each, and how many went missing before."""
        body = f'"first":{first_index},"times_ms":{_integers(t_ms)},"uV":{_integers(microvolts)},"missed":{missed}'
        self._append("readings", t_ms[-1] / 1000.0, body)

    def close(self) -> None:
        """Sync and close; closing twice is harmless."""
        if self._file.closed:
            return
        try:
            if self._sync and not self._broken:
                self._wait_for_disk()
        finally:
            self._file.close()

    def _append(self, kind: str, t_s: float, body: str) -> None:
        comma = "," if body else ""
        t_ms = round(t_s * 1000.0)
        text = f'{{"n":{self._n},"kind":"{kind}","t_ms":{t_ms},{body}{comma}"prev":"{self._prev}"}}'
        line = text.encode()
        try:
            self._write_all(line + b"\n")
        except (OSError, ValueError) as error:
            self._take_back()
            raise self._failed(error) from error
        self.size += len(line) + 1
        self._prev = hashlib.sha256(line).hexdigest()
        self._n += 1

    def _write_all(self, data: bytes) -> None:
        if self._broken:
            raise OSError(self._broken)
        while data:
            data = data[self._file.write(data) or 0 :]

    def _take_back(self) -> None:
        """A part of a line in the midst of the journal would make everything behind it unbelievable."""
        if self._file.closed or self._broken:
            return
        try:
            self._file.truncate(self.size)
            self._file.seek(self.size)
        except OSError as error:
            self._broken = f"a line that was half written could not be taken back ({error})"

    def _wait_for_disk(self) -> None:
        if self._sync_failed:
            raise self._failed(OSError(self._sync_failed))
        try:
            os.fsync(self._file.fileno())
        except OSError as error:
            self._sync_failed = f"the disk did not take an earlier line ({error})"
            raise self._failed(error) from error
        self.durable_size = self.size

    def _failed(self, error: Exception) -> JournalError:
        return JournalError(
            f"{self._path}: expected to append to the journal, got: {error}. Nothing is dosed that cannot be recorded; "
            "make room or mend the disk, then `titrator resume` goes on with the run"
        )


def _integers(values: Sequence[int]) -> str:
    return "[" + ",".join(map(str, values)) + "]"


def _sync_folder(folder: Path) -> None:
    """Make a new file's name durable; where folders cannot be opened (not POSIX) there is nothing to do."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
