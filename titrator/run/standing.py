"""Where a run stands, for whoever looks at it, and what an operator may say to it."""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

from titrator.control.events import Word
from titrator.control.forecast import Foreseen
from titrator.control.holds import Hold, Question
from titrator.control.states import State

_TRACE_S = 10.0
_FEWEST = 5


class Standing(NamedTuple):
    """A run at one moment of the board's time, `t_s`. None stands for what is not known.

    `since_s`: when the state was entered. `target_mL`: the total that the newest addition aims at. `remaining_s`: about
    how long what is waited for may still take. `drift_mV_per_s`: slope of the last ten seconds at rest.
    """

    t_s: float
    state: State
    why: str
    since_s: float
    hold: Hold | None
    question: Question | None
    volume_mL: float
    target_mL: float
    potential_mV: float | None
    drift_mV_per_s: float | None
    remaining_s: float | None
    points: int
    foreseen: Foreseen | None

    @classmethod
    def at_start(cls, t_s: float, state: State, why: str, question: Question | None) -> Standing:
        """A run in which nothing has moved yet."""
        return cls(t_s, state, why, t_s, None, question, 0.0, 0.0, None, None, None, 0, None)


class Said(NamedTuple):
    """A word to the run: whose, and by which way it came (`socket`, `terminal`, `signal`)."""

    word: Word
    by: str
    where: str


class Reply(NamedTuple):
    """An answer to the question of this `number`."""

    number: int
    yes: bool
    by: str
    where: str


class Trace:
    """The last readings, for the eye: newest potential and slope. Nothing is decided by it."""

    def __init__(self) -> None:
        self._readings: deque[tuple[float, float]] = deque()

    def add(self, t_s: tuple[float, ...], potential_mV: tuple[float, ...]) -> None:
        """Learn a block of readings."""
        self._readings.extend(zip(t_s, potential_mV, strict=True))
        while self._readings and self._readings[-1][0] - self._readings[0][0] > _TRACE_S:
            self._readings.popleft()

    @property
    def potential_mV(self) -> float | None:
        """The newest reading."""
        return self._readings[-1][1] if self._readings else None

    def drift_mV_per_s(self, after_s: float) -> float | None:
        """Least-squares slope of the readings after `after_s`; None while they are fewer than five."""
        readings = [reading for reading in self._readings if reading[0] > after_s]
        if len(readings) < _FEWEST:
            return None
        mean_s = sum(t_s for t_s, _ in readings) / len(readings)
        squares = sum((t_s - mean_s) ** 2 for t_s, _ in readings)
        return sum((t_s - mean_s) * potential_mV for t_s, potential_mV in readings) / squares if squares else None


class Countdown:
    """Turns an estimate that is renewed now and then ("20 s more", said once) into one that runs down meanwhile."""

    def __init__(self) -> None:
        self._told: float | None = None
        self._told_at_s = 0.0

    def left_s(self, t_s: float, remaining_s: float | None) -> float | None:
        """What is left at `t_s` of the newest estimate."""
        if remaining_s != self._told:
            self._told, self._told_at_s = remaining_s, t_s
        return None if remaining_s is None else max(0.0, remaining_s - (t_s - self._told_at_s))
