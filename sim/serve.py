"""Serves a simulated board in real time: to a host it is a board on a line, which outlives whoever talks to it."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from sim.tcp_line import TcpLine
from sim.world import World

_US = 1_000_000
_SLICE_S = 0.02
_MOST_LAG_S = 0.25
_LONGEST_WAIT_S = 0.1


class Line(Protocol):
    """The served board's end of a line, with one host at a time at the other end."""

    address: str
    """What a host opens: the path of a device, or `socket://HOST:PORT`."""
    departures: int
    """How many hosts have come and gone."""

    def wait(self, timeout_s: float) -> bytes:
        """Bytes from the host, as soon as any came; empty after `timeout_s`."""
        ...

    def send(self, data: bytes) -> None:
        """Bytes to the host, lost where nobody takes them."""
        ...

    def close(self) -> None:
        """Give the line free."""
        ...


class Server:
    """Couples a board's clock to this computer's, `speed` times as fast, and its bytes to a line.

    When this process did not get to run for a moment, the board catches up in slices of `_SLICE_S` and looks at the
    line between them, so that bytes are not found only after the board's own time-outs have run. When it stood still
    for longer than `_MOST_LAG_S`, so did the board: none exists that runs on while nobody could hear it.
    """

    def __init__(
        self, world: World, line: Line, *, speed: int = 1, clock: Callable[[], float] = time.monotonic
    ) -> None:
        """`clock` tells seconds; only a test gives another than this computer's."""
        self.board = world.board
        self.address = line.address
        self.identity = world.board.identity
        self.truth = world.truth
        self._line = line
        self.speed = speed
        self._clock = clock
        self._begun_s, self._begun_us = clock(), world.board.now_us
        self._ended = False

    def run(self, *, once: bool = False) -> None:
        """Serve until `stop`, or, with `once`, until a host that had opened a session has gone. Closes the line."""
        board, line = self.board, self._line
        self._begun_s, self._begun_us = self._clock(), board.now_us
        try:
            while not self._ended and not (once and line.departures and board.session):
                now_us = self._now_us()
                if now_us - board.now_us > _MOST_LAG_S * self.speed * _US:
                    self._begun_us -= now_us - board.now_us
                    now_us = board.now_us
                self._run_until(min(now_us, board.now_us + int(_SLICE_S * self.speed * _US)))
                idle_us = self._idle_us(now_us)
                received = line.wait(idle_us / self.speed / _US)
                # Nothing happened of itself meanwhile, and what was received came now: not when the waiting began.
                self._run_until(min(self._now_us(), board.now_us + idle_us))
                if received:
                    board.receive(received)
        finally:
            line.close()

    def stop(self) -> None:
        """End `run` within `_LONGEST_WAIT_S`. May be called from another thread and from a signal handler."""
        self._ended = True

    def _now_us(self) -> int:
        return self._begun_us + int((self._clock() - self._begun_s) * self.speed * _US)

    def _run_until(self, target_us: int) -> None:
        while data := self.board.run_until(target_us):
            self._line.send(data)

    def _idle_us(self, now_us: int) -> int:
        """How long nothing but bytes from the host can happen, in the board's time; 0 while it lags behind."""
        if self.board.now_us < now_us:
            return 0
        return min(max(0, self.board.due_us - now_us), int(_LONGEST_WAIT_S * self.speed * _US))


def open_place(world: World, *, tcp_port: int | None, link: Path | None = None, speed: int = 1) -> Server:
    """A server of the board in `world` on a TCP port of this computer (0: any free one), or on a pty when it is None.

    `link` is the path of a symbolic link to the pty. OSError when the place is taken. Close it by `run` and `stop`.
    """
    if tcp_port is not None:
        return Server(world, TcpLine(tcp_port), speed=speed)
    from sim.pty_line import PtyLine  # here, because not every operating system has such a thing

    return Server(world, PtyLine(link), speed=speed)
