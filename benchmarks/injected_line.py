"""A line between host and simulated board on which things go wrong, in virtual time; it outlives the hosts that use it."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

from sim.board import SimulatedBoard
from sim.world import World

_US = 1_000_000


class KilledError(BaseException):
    """The host process is gone: nothing of it runs any more, no handler either."""


class HangError(BaseException):
    """The host goes on and on."""


@dataclass(frozen=True)
class Trouble:
    """What one run meets. Chances are for each frame, either way; strikes are counted in motions of the motor.

    A strike is (kind, motion, part): it comes when so much of the motion of that number (from 0) is done; a part above 1
    is so many seconds after it began, in motion or not.
    """

    flip: float = 0.0
    drop: float = 0.0
    double: float = 0.0
    delay: float = 0.0
    strikes: tuple[tuple[str, int, float], ...] = ()


@dataclass
class Told:
    """What really happened, for the checks."""

    struck: list[tuple[str, bool]] = field(default_factory=list)
    """Kind, and whether the motor ran."""
    set_off: list[tuple[int, int]] = field(default_factory=list)
    """Identifier and target of every motion that began."""
    unattended: list[float] = field(default_factory=list)
    """Seconds that the motor ran on after the last bytes had reached the board."""
    frames: int = 0
    """Frames that were damaged, lost, doubled or late, and how many of these while the motor ran."""
    frames_moving: int = 0


class Line:
    """The way between, with what is still under way on it. `open` gives a host its end; one host at a time."""

    def __init__(
        self, board: SimulatedBoard, trouble: Trouble, random: Random, *, most_s: float, most_calls: int
    ) -> None:
        self.board = board
        self.world = World(board)
        self.told = Told()
        self._trouble = trouble
        self._random = random
        self._strikes = sorted(trouble.strikes, key=lambda strike: strike[1])
        self._due: list[tuple[int, str]] = []
        self._held: list[tuple[int, str, bytes]] = []
        self._arrived = b""
        self._newest = b""
        self._motions = 0
        self._fed_us = 0
        self._broken_until_us = 0
        self._life = 0
        self._most_us, self._calls = round(most_s * _US), most_calls
        self._listen_to_motor()

    def _listen_to_motor(self) -> None:
        motor, told = self.board.motor, self.told
        set_off, end = motor._set_off, motor.end

        def noted_set_off(now_us, motion, *rest):
            told.set_off.append((motion.dose, motion.target))
            report = set_off(now_us, motion, *rest)
            self._plan_strikes(now_us, motor.end_us)
            return report

        def noted_end(now_us, *state):
            told.unattended.append((now_us - self._fed_us) / _US)
            end(now_us, *state)

        motor._set_off, motor.end = noted_set_off, noted_end

    def _plan_strikes(self, now_us: int, end_us: int) -> None:
        number = self._motions
        self._motions += 1
        while self._strikes and self._strikes[0][1] <= number:
            kind, _, part = self._strikes.pop(0)
            after_us = round((end_us - now_us) * part) if part <= 1.0 and end_us < 1 << 61 else round(part * _US)
            self._due.append((now_us + after_us, kind))
        self._due.sort()

    # ------------------------------------------------------------------------------------------------ the hosts
    def open(self) -> "HostEnd":
        """A new host's end. ConnectionError while the cable is out."""
        if self.board.now_us < self._broken_until_us:
            raise ConnectionError("nobody is there")
        self._life += 1
        self._arrived = b""
        return HostEnd(self, self._life)

    def pass_by(self, seconds: float) -> None:
        """Let so much time pass without a host."""
        until_us = self.board.now_us + round(seconds * _US)
        while self.board.now_us < until_us:
            self._release()
            next_us = min([until_us, *[due for due, _, _ in self._held]])
            self.world.read(max(0, next_us - self.board.now_us) / _US)
            self._strike(host=False)

    def calm(self) -> None:
        """No more strikes: the run is over."""
        self._due.clear()
        self._strikes.clear()

    def is_current(self, life: int) -> bool:
        return life == self._life

    def kill(self) -> None:
        """The host is gone. What it said last may be stuck in a buffer, and come out when another host is there."""
        self._life += 1
        if self._newest and self._random.random() < 0.5:
            late_us = self.board.now_us + round(self._random.uniform(0.0, 20.0) * _US)
            self._held.append((late_us, "out", self._newest))

    # ------------------------------------------------------------------------------------------------ the bytes
    def write(self, data: bytes) -> None:
        self._check()
        if len(data) > 20 and data[2:3] in (b"\x04", b"\x08"):  # a motion, or what may pass for one
            self._newest = data
        for copy, after_us in self._fates(data):
            if after_us or any(way == "out" for _, way, _ in self._held):
                self._held.append((self.board.now_us + after_us, "out", copy))
            else:
                self._deliver(copy)
        self._strike(host=True)

    def read(self, timeout_s: float) -> bytes:
        self._check()
        deadline_us = self.board.now_us + max(0, math.ceil(timeout_s * _US))
        while True:
            self._release()
            self._strike(host=True)
            if self._arrived:
                given, self._arrived = self._arrived, b""
                return given
            next_us = min([deadline_us, *[due for due, _, _ in self._held], *[due for due, _ in self._due]])
            data = self.world.read(max(0, next_us - self.board.now_us) / _US)
            for copy, after_us in self._fates(data) if data else []:
                if after_us or any(way == "in" for _, way, _ in self._held):
                    self._held.append((self.board.now_us + after_us, "in", copy))
                else:
                    self._arrived += copy
            if not self._arrived and self.board.now_us >= deadline_us:
                self._strike(host=True)
                return b""

    def _fates(self, data: bytes) -> list[tuple[bytes, int]]:
        trouble, random = self._trouble, self._random
        if trouble.drop and random.random() < trouble.drop:
            self._note_frame()
            return []
        after_us = 0
        if trouble.delay and random.random() < trouble.delay:
            self._note_frame()
            after_us = round(random.choice((0.1, 0.5, 3.0)) * random.random() * _US)
        if trouble.flip and random.random() < trouble.flip:
            self._note_frame()
            damaged = bytearray(data)
            for _ in range(random.choice((1, 1, 1, 2, 3, 8))):
                damaged[random.randrange(len(damaged))] ^= 1 << random.randrange(8)
            data = bytes(damaged)
        fates = [(data, after_us)]
        if trouble.double and random.random() < trouble.double:
            self._note_frame()
            fates.append((data, after_us + round(random.choice((0.0, 1.0, 6.0)) * random.random() * _US)))
        return fates

    def _note_frame(self) -> None:
        self.told.frames += 1
        self.told.frames_moving += self.board.burette.moving

    def _release(self) -> None:
        now_us = self.board.now_us
        due = [item for item in self._held if item[0] <= now_us]
        if not due:
            return
        self._held = [item for item in self._held if item[0] > now_us]
        for _, way, data in due:
            if way == "out":
                self._deliver(data)
            else:
                self._arrived += data

    def _deliver(self, data: bytes) -> None:
        self._fed_us = self.board.now_us
        self.world.write(data)

    # ----------------------------------------------------------------------------------------------- the strikes
    def _strike(self, *, host: bool) -> None:
        board, random = self.board, self._random
        while self._due and self._due[0][0] <= board.now_us:
            _, kind = self._due.pop(0)
            self.told.struck.append((kind, board.burette.moving))
            boot = random.getrandbits(32) or 1
            if kind == "reset":
                board.reset(boot, miscounted=random.choice((-1, 0, 1)))
            elif kind == "power":
                board.lose_power(boot, snap_steps=random.randint(-8, 8))
            elif kind == "cable":
                self._broken_until_us = board.now_us + round(random.choice((1.0, 5.0, 20.0)) * random.random() * _US)
                self._arrived = b""
            elif kind == "kill" and host:
                self.kill()
                raise KilledError
        if host:
            self._check_cable()

    def _check(self) -> None:
        self._calls -= 1
        if self.board.now_us > self._most_us or self._calls < 0:
            raise HangError
        self._check_cable()

    def _check_cable(self) -> None:
        if self.board.now_us < self._broken_until_us:
            self._life += 1  # the host's end is dead for good; it has to open the way anew
            raise ConnectionError("the cable was pulled")


class HostEnd:
    """The transport of one host, until its process is killed or the cable is pulled."""

    def __init__(self, line: Line, life: int) -> None:
        self._line = line
        self._life = life

    def write(self, data: bytes) -> None:
        self._mine()
        self._line.write(data)

    def read(self, timeout_s: float) -> bytes:
        self._mine()
        return self._line.read(timeout_s)

    def now_s(self) -> float:
        return self._line.world.now_s()

    def close(self) -> None:
        """Nothing to give back."""

    def _mine(self) -> None:
        if not self._line.is_current(self._life):
            raise ConnectionError("this end of the line is dead")


class LineWay:
    """The way back for the driver: the board's port, or nothing while the cable is out."""

    def __init__(self, line: Line, missing: Callable[[str], Exception]) -> None:
        self._line = line
        self._missing = missing

    def open(self) -> HostEnd:
        try:
            return self._line.open()
        except ConnectionError as error:
            raise self._missing(str(error)) from error

    def pause(self, duration_s: float) -> None:
        self._line.pass_by(duration_s)
