"""The desk of a running process: a Unix socket in its run folder, where `hold`, `continue`, `stop` and answers arrive.

It is answered between the events of the driver's loop and has no thread of its own: the loop comes round at least every
fifth of a second, so an answer needs no lock and never tells of a state that was only passed through. One request a
connection, one line of JSON each way:

    {"word": "hold" | "continue" | "stop" | "state"}  or  {"word": "answer", "yes": true | false}
    {"done": true, "text": "…", "state": "held", "why": "…", …}

`done` says whether what was asked for is so now. Who may speak is who may open the socket: its mode is 0600.
"""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import socket
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from titrator.control.events import Word
from titrator.run.desk_answers import answer, settled
from titrator.run.person import login_name
from titrator.run.standing import Reply, Said, Standing

NAME: Final = "desk.sock"
ANSWER_WITHIN_S: Final = 0.75
"""What could not be brought about by then is told as it stands: a second, less a turn of the loop (0.2 s)."""
_ASK_WITHIN_S = 2.0
_LONGEST_REQUEST = 1024
_MOST_CALLERS = 16


@dataclass(slots=True)
class _Caller:
    """One connection. `word` is its request, once that has come whole; `asked_in` is how the run stood when it was
    taken up."""

    connection: socket.socket
    since_s: float
    received: bytes = b""
    word: dict[str, Any] | None = None
    asked_in: Standing | None = None
    by: str = ""


class Desk:
    """Opens with `open`, is told where the run stands with `stand`, hands over words with `word`, ends with `close`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._selector = selectors.DefaultSelector()
        self._listener: socket.socket | None = None
        self._callers: deque[_Caller] = deque()
        self._standing: Standing | None = None

    def open(self) -> None:
        """Listen. OSError when the folder's file system holds no sockets or another process listens there.

        What a process that died has left there is cleared away.
        """
        _clear(self._folder)
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            with within(self._folder), _only_for_owner():
                listener.bind(NAME)
            listener.listen(_MOST_CALLERS)
        except OSError:
            listener.close()
            raise
        listener.setblocking(False)
        self._selector.register(listener, selectors.EVENT_READ)
        self._listener = listener

    def stand(self, standing: Standing) -> None:
        """Learn where the run stands; answer whoever waits for that."""
        self._standing = standing
        now_s = time.monotonic()
        for caller in list(self._callers):
            if caller.word is None or caller.asked_in is None:
                continue
            if settled(caller.word, caller.asked_in, standing) or now_s - caller.since_s > ANSWER_WITHIN_S:
                self._reply(caller, answer(caller.word, caller.asked_in, standing))

    def word(self) -> Said | Reply | None:
        """The next word to the run, if any; never waits. What needs nothing done is answered at once."""
        self._gather(0.0)
        standing = self._standing
        if standing is None:
            return None
        for caller in list(self._callers):
            if caller.word is None or caller.asked_in is not None:
                continue
            caller.asked_in = standing
            if not settled(caller.word, standing, standing):
                return _to_the_run(caller.word, caller.by, standing)
            self._reply(caller, answer(caller.word, standing, standing))
        return None

    def nap(self, seconds: float) -> None:
        """Wait, but not longer than until somebody calls."""
        if seconds > 0.0:
            self._gather(seconds)

    def close(self) -> None:
        """Answer who still waits, then close; the socket's name goes with it."""
        for caller in list(self._callers):
            if caller.word is not None and self._standing is not None:
                asked_in = caller.asked_in or self._standing
                self._reply(caller, answer(caller.word, asked_in, self._standing))
            else:
                self._drop(caller)
        if self._listener is not None:
            self._listener.close()
            self._listener = None
            with contextlib.suppress(OSError):
                (self._folder / NAME).unlink()
        self._selector.close()

    # --------------------------------------------------------------------------------------------- the socket
    def _gather(self, timeout_s: float) -> None:
        if self._listener is None:
            time.sleep(timeout_s)
            return
        for key, _ in self._selector.select(timeout_s):
            if key.fileobj is self._listener:
                self._admit()
            else:
                self._receive(key.data)
        now_s = time.monotonic()
        for caller in [caller for caller in self._callers if caller.word is None]:
            if now_s - caller.since_s > _ASK_WITHIN_S:
                self._drop(caller)

    def _admit(self) -> None:
        assert self._listener is not None
        try:
            connection, _ = self._listener.accept()
        except OSError:
            return
        if len(self._callers) >= _MOST_CALLERS:
            connection.close()
            return
        connection.setblocking(False)
        caller = _Caller(connection, time.monotonic(), by=_name_of(connection))
        self._callers.append(caller)
        self._selector.register(connection, selectors.EVENT_READ, caller)
        self._receive(caller)

    def _receive(self, caller: _Caller) -> None:
        try:
            data = caller.connection.recv(_LONGEST_REQUEST)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        caller.received += data
        if not data or len(caller.received) > _LONGEST_REQUEST:
            self._drop(caller)
        elif b"\n" in caller.received:
            self._selector.unregister(caller.connection)
            caller.word = _request(caller.received)
            caller.since_s = time.monotonic()
            if caller.word is None:
                self._reply(
                    caller, {"done": False, "text": f"expected a request of this version, got {caller.received!r}"}
                )

    def _reply(self, caller: _Caller, document: dict[str, Any]) -> None:
        with contextlib.suppress(OSError):  # who asked may be gone; an answer is far smaller than the socket's buffer
            caller.connection.sendall(json.dumps(document, ensure_ascii=False).encode() + b"\n")
        self._drop(caller)

    def _drop(self, caller: _Caller) -> None:
        with contextlib.suppress(KeyError, ValueError):
            self._selector.unregister(caller.connection)
        caller.connection.close()
        if caller in self._callers:
            self._callers.remove(caller)


def _clear(folder: Path) -> None:
    """Remove a socket that nobody listens at."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe, within(folder):
        try:
            probe.connect(NAME)
        except ConnectionRefusedError:
            Path(NAME).unlink()
        except OSError:
            return  # nothing there, or not ours: `bind` will say


def _to_the_run(request: dict[str, Any], by: str, standing: Standing) -> Said | Reply:
    if request["word"] == "answer":
        assert standing.question is not None
        return Reply(standing.question.number, request["yes"], by, "socket")
    return Said(Word(request["word"]), by, "socket")


def _request(line: bytes) -> dict[str, Any] | None:
    """The request in a line, or None for anything else."""
    try:
        request = json.loads(line.split(b"\n")[0])
    except (ValueError, RecursionError):
        return None
    if not isinstance(request, dict):
        return None
    if request.get("word") == "answer":
        return request if isinstance(request.get("yes"), bool) else None
    return request if request.get("word") in ("state", *(word.value for word in Word)) else None


def _name_of(connection: socket.socket) -> str:
    """Who is at the other end: the kernel says so on Linux; elsewhere only the owner of the folder can be there."""
    if not hasattr(socket, "SO_PEERCRED"):
        return login_name(os.getuid())
    credentials = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12)
    return login_name(int.from_bytes(credentials[4:8], "little"))


@contextlib.contextmanager
def within(folder: Path) -> Iterator[None]:
    """Be in `folder` for a moment, so that a socket there can be named in the 108 bytes that its address has.

    The process has one thread while this is used; it comes back by the open folder, whatever became of its name.
    """
    before = os.open(".", os.O_RDONLY)
    try:
        os.chdir(folder)
        yield
    finally:
        os.fchdir(before)
        os.close(before)


@contextlib.contextmanager
def _only_for_owner() -> Iterator[None]:
    """What is made meanwhile is for its owner only, from its first moment on."""
    before = os.umask(0o177)
    try:
        yield
    finally:
        os.umask(before)
