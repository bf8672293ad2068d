"""One process at a time writes a run: a lock on a file of its folder, which the operating system frees with us."""

from __future__ import annotations

import os
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from titrator.files import InputProblem

NAME = "run.lock"


class RunLockedError(InputProblem):
    """Another process conducts this run."""


class RunLock:
    """Use as a context. The file stays behind, empty of meaning: only the lock counts.

    RunLockedError when another process has it; OSError when the file cannot be made.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._file: IO[str] | None = None

    def __enter__(self) -> Self:
        path = self._folder / NAME
        file = path.open("a+", encoding="utf-8")
        try:
            _lock(file.fileno())
        except OSError as error:
            file.seek(0)
            owner = file.read(200).strip() or "another process"
            file.close()
            raise RunLockedError(
                f"{self._folder}: expected a run that nobody conducts, got one that {owner} conducts. Next: use "
                f"`titrator hold`, `continue` and `stop` to speak to it, or end that process first"
            ) from error
        self._file = file
        file.truncate(0)
        file.write(f"process {os.getpid()}\n")
        file.flush()
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None


def _lock(handle: int) -> None:
    """Lock without waiting. OSError when somebody else has it."""
    try:
        import fcntl
    except ImportError:
        _lock_on_windows(handle)
    else:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _lock_on_windows(handle: int) -> None:
    import msvcrt  # not on POSIX

    far = 1 << 30  # beyond the text, which others may then still read
    os.lseek(handle, far, os.SEEK_SET)
    msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
