"""Which processes hold a file, and what they are called, as far as Linux's /proc tells; elsewhere nobody is named.

A process of another user shows its command but not its files, unless we are root; its locks show always.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Final

_PROC: Final = Path("/proc")
_LONGEST_COMMAND: Final = 120


def lockers(path: str) -> list[int]:
    """Return the processes that hold a lock on `path`; proc_locks(5): `1: FLOCK ADVISORY WRITE 4711 00:1a:3 0 EOF`."""
    try:
        info = Path(path).stat()
        lines = (_PROC / "locks").read_text(encoding="ascii", errors="replace").splitlines()
    except OSError:
        return []
    place = f"{os.major(info.st_dev):02x}:{os.minor(info.st_dev):02x}:{info.st_ino}"
    held = [fields for line in lines if place in (fields := line.split())]
    return [int(fields[4]) for fields in held if fields[4].isdecimal() and fields[4] != "0"]  # 0: outside our container


def openers(target: str) -> list[int]:
    """Return the processes that have `target` open: a real path, or a name such as `socket:[4711]`."""
    return [pid for pid in _processes() if target in _open_files(pid)]


def process_name(pid: int) -> str:
    """Return a process as messages name it: "process 4711 (titrator run method.yaml)"."""
    if pid == os.getpid():
        return f"this very program (process {pid})"
    command = ""
    with suppress(OSError):
        words = (_PROC / str(pid) / "cmdline").read_bytes().split(b"\0")
        command = " ".join(word.decode(errors="replace") for word in words if word)
    shown = command if len(command) <= _LONGEST_COMMAND else command[:_LONGEST_COMMAND] + " …"
    return f"process {pid} ({shown})" if shown else f"process {pid}"


def _processes() -> Iterator[int]:
    with suppress(OSError):
        for entry in _PROC.iterdir():
            if entry.name.isdecimal():
                yield int(entry.name)


def _open_files(pid: int) -> set[str]:
    opened: set[str] = set()
    with suppress(OSError):  # gone, or another user's
        for entry in (_PROC / str(pid) / "fd").iterdir():
            with suppress(OSError):
                opened.add(str(entry.readlink()))
    return opened
