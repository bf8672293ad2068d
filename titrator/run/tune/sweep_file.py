"""The results of a sweep as they come: a file of JSON lines that only grows, so that an interrupted sweep goes on.

The first line says what the sweep is; each further one holds a chunk of runs. A line is on the disk before anything
rests on it. A torn last line (a power cut in the midst of a write) is cut off and made again.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Self

from titrator.files import InputProblem
from titrator.run.tune.judge import Judged


class SweepFileError(InputProblem):
    """The file is not one that this program wrote, or not of this sweep."""


class SweepFile:
    """Made, it has begun or read the file; used as a context, it adds to it.

    `begun` is the first line, `known` holds runs by setting and number.
    """

    def __init__(self, path: Path, begun: dict[str, Any] | None = None) -> None:
        """Begin a file with its first line, or, without one, read what is there and cut off a torn tail.

        SweepFileError for a damaged file; OSError where it cannot be read or written.
        """
        self.path = path
        self.known: dict[tuple[int, int], Judged] = {}
        self._file: IO[str]
        if begun is not None:
            self.begun = begun
            with path.open("x", encoding="utf-8") as self._file:
                self._write(begun)
            return
        size, lines = _whole_lines(path)
        if not lines:
            raise SweepFileError(f"{path}:1: expected the first line of a sweep, got none. Begin the sweep anew")
        self.begun = lines[0]
        for number, line in enumerate(lines[1:], start=2):
            self._take(number, line)
        os.truncate(path, size)

    def __enter__(self) -> Self:
        self._file = self.path.open("a", encoding="utf-8")
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self._file.close()

    def add(self, runs: tuple[Judged, ...]) -> None:
        """Keep what came of a chunk; it is on the disk when this returns. OSError where it cannot be."""
        self._write({"runs": [each.to_json() for each in runs]})
        self.known |= {(each.setting, each.run): each for each in runs}

    def _write(self, line: dict[str, Any]) -> None:
        self._file.write(json.dumps(line, ensure_ascii=False, allow_nan=False) + "\n")
        self._file.flush()
        os.fsync(self._file.fileno())

    def _take(self, number: int, line: dict[str, Any]) -> None:
        try:
            runs = [Judged.of_json(told) for told in line["runs"]]
        except (KeyError, TypeError, ValueError):
            raise SweepFileError(
                f"{self.path}:{number}: expected the runs of a chunk, got another line: the file was changed after it "
                "was written. Use a copy that was not changed, or begin the sweep anew"
            ) from None
        self.known |= {(each.setting, each.run): each for each in runs}


def _whole_lines(path: Path) -> tuple[int, list[dict[str, Any]]]:
    """Return how many bytes hold whole lines, and these lines."""
    raw = path.read_bytes().split(b"\n")
    torn = raw.pop()
    lines: list[dict[str, Any]] = []
    size = 0
    for number, each in enumerate(raw, start=1):
        try:
            line = json.loads(each)
        except ValueError:
            line = None
        if not isinstance(line, dict):
            if number == len(raw) and not torn:
                break  # torn, with an end of line that came through
            raise SweepFileError(
                f"{path}:{number}: expected a line of JSON, got {each[:40]!r}: the file was changed after it was "
                "written. Use a copy that was not changed, or begin the sweep anew"
            )
        lines.append(line)
        size += len(each) + 1
    return size, lines
