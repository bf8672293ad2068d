"""The few things that the board remembers: the newest dose, the limits, the stream of readings."""

from dataclasses import dataclass, field
from typing import ClassVar, NamedTuple

from firmware_protocol.messages import MOST_READINGS, DoseState, ValvePosition

NEVER = 1 << 62
"""A moment in microseconds that does not come."""


class Limits(NamedTuple):
    """Limits in force: microsteps, µs for a step, ms."""

    highest_position: int
    most_travel: int
    least_step_us: int
    least_refill_step_us: int
    dead_man_ms: int


@dataclass(slots=True)
class Dose:
    """The newest dose and what became of it."""

    session: int = 0
    number: int = 0
    target: int = 0
    state: DoseState = DoseState.NONE
    position: int = 0
    ended_ms: int = 0
    valve: ValvePosition = ValvePosition.BETWEEN

    def end(self, state: DoseState, position: int, at_ms: int) -> None:
        """Keep how, where and when it ended."""
        self.state, self.position, self.ended_ms = state, position, at_ms


@dataclass(slots=True)
class Stream:
    """Readings gathered for the next block, and when the next one is due. `next_index` is the next block's first."""

    MOST_PER_BLOCK: ClassVar[int] = MOST_READINGS
    period_us: int = 0
    per_block: int = 0
    next_us: int = NEVER
    next_index: int = 0
    stamps_ms: list[int] = field(default_factory=list)
    potentials_uV: list[int] = field(default_factory=list)

    def set(self, now_us: int, period_us: int, per_block: int) -> None:
        """Stream with this period from now on (0: not at all); the first reading comes one period later."""
        self.period_us, self.per_block = period_us, per_block
        self.next_us = now_us + period_us if period_us else NEVER


class Adc:
    """Converts mV to whole ADC steps in µV, held at the ends of the range."""

    def __init__(self, low_uV: int, high_uV: int, step_uV: int) -> None:
        self._low_uV, self._high_uV, self._step_uV = low_uV, high_uV, step_uV
        self._steps_per_mV = 1000.0 / step_uV

    def convert(self, potential_mV: float) -> int:
        """Nearest step; beyond the range its end."""
        value_uV = round(potential_mV * self._steps_per_mV) * self._step_uV
        if self._low_uV <= value_uV <= self._high_uV:
            return value_uV
        return min(max(value_uV, self._low_uV), self._high_uV)
