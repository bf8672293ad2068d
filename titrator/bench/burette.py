"""The arithmetic of the burette: volumes to absolute steps and back, over many fillings. Pure."""

import math
from dataclasses import dataclass
from typing import Final

_SLACK: Final = 1e-9
"""A part of a step: a volume that is a whole number of steps must neither lose nor gain one to binary fractions."""
_US_PER_MIN = 60_000_000


@dataclass(frozen=True, slots=True)
class Burette:
    """A burette as the rig file states it: one step and the stroke in mL, top speed in mL/min."""

    step_mL: float
    stroke_mL: float
    top_speed_mL_per_min: float

    @property
    def stroke_steps(self) -> int:
        """Whole steps in a stroke."""
        return self.steps_within(self.stroke_mL)

    @property
    def least_step_us(self) -> int:
        """Time of one step at top speed, in µs, rounded up: never faster."""
        return self.step_us(self.top_speed_mL_per_min)

    def steps(self, volume_mL: float) -> int:
        """The step nearest to a volume. Absolute volumes in, so that rounding never adds up."""
        return round(volume_mL / self.step_mL)

    def covering_steps(self, volume_mL: float) -> int:
        """The fewest steps that are no less than a volume: what has to be taken up is taken up wholly."""
        return math.ceil(volume_mL / self.step_mL - _SLACK)

    def steps_within(self, volume_mL: float) -> int:
        """The most steps that are no more than a volume: a limit is never exceeded."""
        return math.floor(volume_mL / self.step_mL + _SLACK)

    def volume_mL(self, steps: int) -> float:
        """Volume that a count of steps indicates."""
        return steps * self.step_mL

    def step_us(self, speed_mL_per_min: float) -> int:
        """Time of one step in µs at a speed, rounded up (but for the last bit of a quotient that should be whole)."""
        return max(1, math.ceil(self.step_mL / speed_mL_per_min * _US_PER_MIN - 1e-6))


@dataclass(frozen=True, slots=True)
class Filling:
    """One filling of the burette: the board's count `position` at which `total` steps had been delivered in this run.

    Within a filling total and position run side by side. A refill, priming or taking up backlash moves the plunger but
    delivers nothing: the total stays and gets another position.
    """

    total: int
    position: int

    def position_of(self, total: int) -> int:
        """The count at which so many steps have been delivered."""
        return self.position + total - self.total

    def total_at(self, position: int) -> int:
        """Steps delivered since the run began when the plunger is at `position`, reached by delivering."""
        return self.total + position - self.position

    def moved_aside(self, before: int, after: int) -> "Filling":
        """The plunger went from `before` to `after` and nothing of it reached the vessel."""
        return Filling(self.total_at(before), after)
