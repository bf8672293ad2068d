"""The simulated board without its wire: cell, burette and converter in virtual time, for long studies.

What happens and when is what `sim.board` does for a host that asks the same; nothing is encoded and nothing refused:
whoever needs limits, refills or the valve goes over the wire.
"""

from collections import deque
from collections.abc import Callable
from typing import Any, NamedTuple, TypeAlias

from sim.board_state import NEVER
from sim.cell import SimulatedCell
from sim.contents import Chemistry
from sim.world import World

Sample: TypeAlias = Callable[[float, float], float]


class UnframedBlock(NamedTuple):
    """Readings in order: board milliseconds and microvolts."""

    times_ms: tuple[int, ...]
    potentials_uV: tuple[int, ...]


class UnframedEnd(NamedTuple):
    """A motion is over: where the plunger rests, when, and whether it went all the way."""

    position: int
    at_ms: int
    arrived: bool


class Answered(NamedTuple):
    """What was asked is done."""


News: TypeAlias = UnframedBlock | UnframedEnd | Answered


class UnframedBoard:
    """The parts of a world, asked by calls. Time moves only in `news`; news come `latency_us` after they happened."""

    def __init__(self, world: World) -> None:
        """Take the world over before anything was asked of it: from now on nobody else may use it."""
        self._world = world
        board = world.board
        self.latency_us = board.latency_us
        self.now_us = board.now_us
        self._burette, self._convert = board.burette, board.adc.convert
        self._sample: Sample = board.cell.sample
        self._outbox: deque[tuple[int, News]] = deque()
        self._stamps_ms: list[int] = []
        self._potentials_uV: list[int] = []
        self._period_us, self._per_block = 0, 1
        self._next_us = self._motion_end_us = NEVER

    def put_in(self, chemistry: Chemistry) -> None:
        """Another chemistry in the place of the cell's own, before the run: a curve that no cell file describes.

        Contents, electrode, stirring and noise stay. Not in a world with faults: TypeError.
        """
        cell = self._world.board.cell
        if not isinstance(cell, SimulatedCell):
            raise TypeError(f"a cell without faults expected, {type(cell).__name__} came")
        anew = SimulatedCell(
            cell.contents, chemistry, cell.electrode, cell.stirring, cell.surroundings, noise=cell.noise
        )  # fmt: skip
        self._sample = anew.sample

    def read_through(self, through: Callable[[Sample], Sample]) -> None:
        """Let what the cell shows at (time in s, delivered mL), in mV, pass through a function made by `through`."""
        self._sample = through(self._sample)

    def stream(self, period_us: int, per_block: int) -> None:
        """Let readings stream; the first comes one period from now."""
        self._period_us, self._per_block = period_us, per_block
        self._next_us = self.now_us + period_us

    def move(self, steps: int, step_us: int) -> None:
        """Begin to push by `steps` (0 or more), each taking `step_us`. At rest only."""
        self._motion_end_us = self._burette.start(self.now_us, steps, step_us)
        if self._motion_end_us == self.now_us:
            self._end_motion(arrived=True)

    def halt(self) -> None:
        """End a motion under way."""
        if self._burette.moving:
            self._end_motion(arrived=False)

    @property
    def position(self) -> int:
        """Steps counted by now."""
        return self._burette.steps_at(self.now_us)

    def answer(self) -> None:
        """Tell, in its turn, that what was asked is done."""
        self._tell(Answered())

    def news(self, until_us: int) -> News | None:
        """Move time on to the moment when the next thing is told, at most to `until_us`; None: nothing was by then."""
        while True:
            event_us = min(self._motion_end_us, self._next_us)
            if self._outbox and self._outbox[0][0] <= min(event_us, until_us):
                due_us, told = self._outbox.popleft()
                self.now_us = max(self.now_us, due_us)
                return told
            if event_us > until_us:
                self.now_us = max(self.now_us, until_us)
                return None
            self.now_us = event_us
            if event_us == self._motion_end_us:
                self._end_motion(arrived=True)
            else:
                self._take_sample(event_us)

    def truth(self) -> dict[str, Any]:
        """As of a world on the wire."""
        self._world.board.now_us = self.now_us
        return self._world.truth()

    def _take_sample(self, now_us: int) -> None:
        potential_mV = self._sample(now_us * 1e-6, self._burette.delivered_mL(now_us))
        self._stamps_ms.append(now_us // 1000)
        self._potentials_uV.append(self._convert(potential_mV))
        self._next_us = now_us + self._period_us
        if len(self._stamps_ms) >= self._per_block:
            self._tell_block()

    def _end_motion(self, *, arrived: bool) -> None:
        position = self._burette.stop(self.now_us)
        self._motion_end_us = NEVER
        self._tell_block()  # all is told in order of time
        self._tell(UnframedEnd(position, self.now_us // 1000, arrived))

    def _tell_block(self) -> None:
        if self._stamps_ms:
            self._tell(UnframedBlock(tuple(self._stamps_ms), tuple(self._potentials_uV)))
            self._stamps_ms.clear()
            self._potentials_uV.clear()

    def _tell(self, news: News) -> None:
        self._outbox.append((self.now_us + self.latency_us, news))
