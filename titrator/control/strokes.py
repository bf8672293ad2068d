"""Splitting the total volume into the strokes of the burette.

An addition that is larger than what is left in the stroke is delivered as the rest, a refill and the remainder, with no
point in between: every filling is used up, so the refills are as few as can be, and one rule serves an addition of any
size. docs/decisions/0005 says why.
"""

from __future__ import annotations

import math
from typing import NamedTuple


class Part(NamedTuple):
    """Deliver up to `target_mL` (total); `more` follows behind a refill."""

    target_mL: float
    more: bool


class Strokes:
    """Knows at which total the present stroke ends. Volumes in mL since the run began."""

    def __init__(self, step_mL: float) -> None:
        self._step_mL = step_mL
        self.ends_mL = math.inf

    def rests(self, volume_mL: float, left_mL: float) -> None:
        """The burette rests at `volume_mL`; `left_mL` may be delivered before a refill."""
        self.ends_mL = volume_mL + left_mL

    def next_part(self, volume_mL: float, goal_mL: float) -> Part | None:
        """The next motion from `volume_mL` towards `goal_mL`; None when a refill comes first.

        A goal that lies no more than a step of the motor beyond the stroke is as good as reached at its end.
        """
        beyond_mL, rest_mL = goal_mL - self.ends_mL, self.ends_mL - volume_mL
        if beyond_mL <= 0.0:
            return Part(goal_mL, more=False)
        if rest_mL < self._step_mL:
            return None
        return Part(self.ends_mL, more=beyond_mL > self._step_mL)
