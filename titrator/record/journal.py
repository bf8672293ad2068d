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
from typing import Any

FIRST_PREV = "0" * 64


class JournalError(Exception):
    """A line could not be written: nothing more may be dosed, since it could not be recorded."""


class Journal:
    """One writer. `sync` makes `durable` lines wait for the disk (fsync of file, and once of its folder)."""

    def __init__(self, path: Path, *, sync: bool) -> None:
        self._path = path
        self._sync = sync
        self._prev = FIRST_PREV
        self._n = 0
        try:
            self._file = path.open("xb")
            if sync:
                _sync_folder(path.parent)
        except OSError as error:
            raise self._failed(error) from error

    def write(self, kind: str, t_s: float, fields: Mapping[str, Any], *, durable: bool = False) -> None:
        """Append one line. A `durable` line is on the disk (with `sync`) when this returns."""
        body = json.dumps(fields, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        self._append(kind, t_s, body[1:-1], flush=True)
        if durable and self._sync:
            try:
                os.fsync(self._file.fileno())
            except OSError as error:
                raise self._failed(error) from error

    def write_readings(self, first_index: int, t_ms: Sequence[int], microvolts: Sequence[int], missed: int) -> None:
        """Append a block of readings: board milliseconds and microvolts, one each, and how many went missing before."""
        body = f'"first":{first_index},"times_ms":{_integers(t_ms)},"uV":{_integers(microvolts)},"missed":{missed}'
        self._append("readings", t_ms[-1] / 1000.0, body, flush=False)

    def close(self) -> None:
        """Flush, sync and close; closing twice is harmless."""
        if self._file.closed:
            return
        try:
            self._file.flush()
            if self._sync:
                os.fsync(self._file.fileno())
            self._file.close()
        except OSError as error:
            raise self._failed(error) from error

    def _append(self, kind: str, t_s: float, body: str, *, flush: bool) -> None:
        comma = "," if body else ""
        t_ms = round(t_s * 1000.0)
        text = f'{{"n":{self._n},"kind":"{kind}","t_ms":{t_ms},{body}{comma}"prev":"{self._prev}"}}'
        line = text.encode()
        try:
            self._file.write(line + b"\n")
            if flush or self._sync:
                self._file.flush()
        except (OSError, ValueError) as error:
            raise self._failed(error) from error
        self._prev = hashlib.sha256(line).hexdigest()
        self._n += 1

    def _failed(self, error: Exception) -> JournalError:
        return JournalError(
            f"{self._path}: expected to append to the journal, got: {error}. Nothing is dosed that cannot be recorded; "
            "make room or mend the permissions, then begin a new run"
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
