"""Going on without the terminal: a second process in a session of its own, which says once how its start went."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

LOG: Final = "output.log"


@dataclass(frozen=True, slots=True)
class Start:
    """How the detached process's start went: its run folder, or why there is none, and the exit status for that."""

    run: str | None
    text: str
    status: int


class Starter:
    """The detached process's side: it owes whoever started it one word."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor: int | None = descriptor

    def log_to(self, folder: Path) -> None:
        """From now on what is printed goes into the run folder."""
        sys.stdout.flush()
        sys.stderr.flush()
        log = os.open(folder / LOG, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        os.dup2(log, 1)
        os.dup2(log, 2)
        os.close(log)

    def tell(self, start: Start) -> None:
        """Say how the start went. Only the first time counts."""
        if self._descriptor is None:
            return
        document = {"run": start.run, "text": start.text, "status": start.status}
        os.write(self._descriptor, json.dumps(document).encode())
        os.close(self._descriptor)
        self._descriptor = None


def detach(work: Callable[[Starter], int]) -> Start:
    """Do `work` in a process that neither the terminal nor its shell can reach; return how its start went.

    Two forks: the process is in a session of its own and not its leader, so no terminal ever becomes its own. POSIX
    only. Nothing with threads may have been started before.
    """
    reading, writing = os.pipe()
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _alone(work, writing)
    os.close(writing)
    os.waitpid(child, 0)
    with os.fdopen(reading, "rb") as told:
        word = told.read()
    if not word:
        return Start(None, "the detached process died before the run began", 1)
    document = json.loads(word)
    return Start(document["run"], document["text"], document["status"])


def _alone(work: Callable[[Starter], int], writing: int) -> None:
    """The child: never returns."""
    status = 1
    try:
        os.setsid()
        if os.fork() == 0:
            nothing = os.open(os.devnull, os.O_RDONLY)
            os.dup2(nothing, 0)
            os.close(nothing)
            status = work(Starter(writing))
        else:
            status = 0
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
