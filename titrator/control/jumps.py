"""Counting jumps while the run goes on, with bounded memory.

A jump is a stretch whose slope |ΔE/ΔV| rises to `stands_out` times the least slope seen before it and then falls back
to 1/`stands_out` of its peak. Each comparison is made against the standard error of the slopes, so that noise between
close points cannot make or hide a jump. The steep start of a redox curve (the first drop makes the couple) only falls
and is therefore never a jump. Nor is a rise that is undone again: a bubble or a touched cable shifts the potential for
a while. This serves the end of the run; the result is found afterwards, by `evaluate`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from titrator.control.point import Point

STANDS_OUT = 4.0
"""Least ratio of slopes. The weakest jump that hand practice still evaluates (a polyprotic acid's shallow step, a
dilute redox pair) stands out some 5 to 10 times (common practice); 4 leaves room, and a smooth limb without a jump
gives < 3 between the additions of an adaptive rule."""
_CERTAIN = 3.0
"""Standard errors by which one slope must exceed another."""


class _Undo(NamedTuple):
    """What to return to when the potential falls back over `level_mV` to the side of `foot_mV`."""

    level_mV: float
    least: tuple[float, float]
    foot_mV: float

    def is_due(self, potential_mV: float) -> bool:
        return potential_mV <= self.level_mV if self.foot_mV < self.level_mV else potential_mV >= self.level_mV


class JumpWatch:
    """Feed points in order; read `passed` (jumps behind us) and `points_past_last`.

    `random_error_mL`: standard deviation of a position of the burette. `between_mV`: potentials of analyte and titrant
    where they are known. A jump then counts only when it crosses the middle between them in their order: both ends are
    as far from there as they can be, so the electrode may be off by most of half their distance.
    """

    def __init__(
        self,
        least_rise_mV: float,
        random_error_mL: float = 0.0,
        between_mV: tuple[float, float] | None = None,
    ) -> None:
        self._least_rise_mV = least_rise_mV
        self._run_sd_mL = math.sqrt(2.0) * random_error_mL  # of an addition: two positions
        self._middle_mV = None if between_mV is None else (between_mV[0] + between_mV[1]) / 2.0
        self._rising = between_mV is None or between_mV[0] < between_mV[1]
        self._undo: _Undo | None = None
        self._before: Point | None = None
        self._least: tuple[float, float] | None = None  # least slope before the climb and its standard error
        self._peak: tuple[float, float] | None = None  # steepest slope of the climb
        self._foot_mV = 0.0  # potential where the least slope was seen
        self._since_peak = 0
        self.passed = 0
        self.points_past_last = 0

    def add_point(self, point: Point) -> None:
        """Learn a logged point."""
        before, self._before = self._before, point
        if before is None:
            return
        run_mL = point.volume_mL - before.volume_mL
        if run_mL <= 0.0:
            return
        self.points_past_last += 1
        slope = abs(point.potential_mV - before.potential_mV) / run_mL
        error = math.hypot(_sd_mV(point), _sd_mV(before), slope * self._run_sd_mL) / run_mL
        self._learn(slope, error, point)

    def _learn(self, slope: float, error: float, point: Point) -> None:
        undo = self._undo
        if undo is not None and undo.is_due(point.potential_mV):
            self.passed -= 1
            self._peak, self._least, self._foot_mV, self._undo = None, undo.least, undo.foot_mV, None
        elif self._peak is None:
            self._before_the_climb(slope, error, point)
        else:
            self._in_the_climb(slope, error, point)

    def _before_the_climb(self, slope: float, error: float, point: Point) -> None:
        if self._least is None or slope + error < self._least[0] + self._least[1]:
            self._least = (slope, error)
            self._foot_mV = point.potential_mV
            return
        if self._exceeds((slope, error), self._least, STANDS_OUT):
            self._peak = (slope, error)
            self._since_peak = 1

    def _in_the_climb(self, slope: float, error: float, point: Point) -> None:
        assert self._peak is not None
        assert self._least is not None
        if slope > self._peak[0]:
            self._peak, self._since_peak = (slope, error), 1
            return
        self._since_peak += 1
        risen = abs(point.potential_mV - self._foot_mV) >= self._least_rise_mV
        if not (risen and self._exceeds(self._peak, (slope, error), STANDS_OUT)):
            return
        self._peak = None
        if self._crosses(self._foot_mV, point.potential_mV):  # if not, the climb is forgotten, its foot kept
            level_mV = (self._foot_mV + point.potential_mV) / 2.0 if self._middle_mV is None else self._middle_mV
            self._undo = _Undo(level_mV, self._least, self._foot_mV)
            self.passed += 1
            self.points_past_last = self._since_peak
            self._least, self._foot_mV = (slope, error), point.potential_mV

    def _crosses(self, from_mV: float, to_mV: float) -> bool:
        middle_mV = self._middle_mV
        if middle_mV is None:
            return True
        return from_mV < middle_mV < to_mV if self._rising else from_mV > middle_mV > to_mV

    @staticmethod
    def _exceeds(one: tuple[float, float], other: tuple[float, float], times: float) -> bool:
        return one[0] - times * other[0] > _CERTAIN * math.hypot(one[1], times * other[1])


def _sd_mV(point: Point) -> float:
    return math.hypot(point.sd_mV, point.remainder_bound_mV / 2.0)
