"""Counting jumps while the run goes on, with bounded memory.

A jump is a stretch whose slope |ΔE/ΔV| rises to `stands_out` times the least slope seen before it and then falls back
to 1/`stands_out` of its peak. Each comparison is made against the standard error of the slopes, so that noise between
close points cannot make or hide a jump. The steep start of a redox curve (the first drop makes the couple) only falls
and is therefore never a jump. Nor is a rise that is undone again: a bubble or a touched cable shifts the potential for
a while. This serves the end of the run; the result is found afterwards, by `evaluate`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from titrator.control.direction import Direction
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

    `random_error_mL`: standard deviation of a position of the burette. `between_mV`: for each jump in order, the
    potentials that it leads from and to, where they are known. Such a jump counts only when it crosses the middle
    between them in their order: both ends are as far from there as they can be, so the electrode may be off by most of
    half their distance. `direction`: that of the whole curve; what goes the other way is then no jump, however steep.
    """

    def __init__(
        self,
        least_rise_mV: float,
        random_error_mL: float = 0.0,
        between_mV: Sequence[tuple[float, float] | None] = (),
        direction: Direction = "unknown",
    ) -> None:
        self._least_rise_mV = least_rise_mV
        self._run_sd_mL = math.sqrt(2.0) * random_error_mL  # of an addition: two positions
        self._between_mV = tuple(between_mV)
        self._sign = {"rising": 1.0, "falling": -1.0, "unknown": 0.0}[direction]
        self._undo: _Undo | None = None
        self._before: Point | None = None
        self._least: tuple[float, float] | None = None  # least slope before the climb and its standard error
        self._peak: tuple[float, float] | None = None  # steepest slope of the climb
        self._calm: tuple[float, float] | None = None  # least slope since then
        self._foot_mV = 0.0  # potential where the least slope was seen
        self._since_peak = 0
        self.passed = 0
        self.points_past_last = 0
        self.last_mL = 0.0
        """Where the steepest chord of the last jump began; 0 before the first."""
        self._peak_mL = 0.0

    def add_point(self, point: Point) -> None:
        """Learn a logged point."""
        before, self._before = self._before, point
        if before is None:
            return
        run_mL = point.volume_mL - before.volume_mL
        if run_mL <= 0.0:
            return
        self.points_past_last += 1
        change_mV = point.potential_mV - before.potential_mV
        slope = abs(change_mV) / run_mL
        error = math.hypot(_sd_mV(point), _sd_mV(before), slope * self._run_sd_mL) / run_mL
        undo = self._undo
        if undo is not None and undo.is_due(point.potential_mV):
            self.passed -= 1
            self._peak, self._least, self._foot_mV, self._undo = None, undo.least, undo.foot_mV, None
        elif self._sign * change_mV < 0.0 and abs(change_mV) > _CERTAIN * error * run_mL:
            self._since_peak += 1  # the wrong way: neither a climb nor how flat the curve is
        else:
            self._learn(slope, error, before, point)

    def _learn(self, slope: float, error: float, before: Point, point: Point) -> None:
        if self._peak is None:
            self._before_the_climb(slope, error, before, point)
        else:
            self._in_the_climb(slope, error, before, point)

    def _before_the_climb(self, slope: float, error: float, before: Point, point: Point) -> None:
        if self._least is None or slope + error < self._least[0] + self._least[1]:
            self._least = (slope, error)
            self._foot_mV = point.potential_mV
            return
        if self._exceeds((slope, error), self._least, STANDS_OUT):
            self._begin_climb(slope, error, before)

    def _begin_climb(self, slope: float, error: float, before: Point) -> None:
        self._peak = self._calm = (slope, error)
        self._since_peak = 1
        self._peak_mL = before.volume_mL

    def _in_the_climb(self, slope: float, error: float, before: Point, point: Point) -> None:
        assert self._peak is not None
        assert self._calm is not None
        assert self._least is not None
        # A small rise that came to nothing (a bubble, a touched cable) must not stand for the peak of what comes later.
        again = self._exceeds((slope, error), self._calm, STANDS_OUT)
        if slope > self._peak[0] or again:
            self._begin_climb(slope, error, before)
            return
        if slope + error < self._calm[0] + self._calm[1]:
            self._calm = (slope, error)
        self._since_peak += 1
        rise_mV = point.potential_mV - self._foot_mV
        risen = (self._sign * rise_mV if self._sign else abs(rise_mV)) >= self._least_rise_mV
        if not (risen and self._exceeds(self._peak, (slope, error), STANDS_OUT)):
            return
        self._peak = None
        between = self._window()
        if _crosses(between, self._foot_mV, point.potential_mV):  # if not, the climb is forgotten, its foot kept
            level_mV = (self._foot_mV + point.potential_mV) / 2.0 if between is None else sum(between) / 2.0
            self._undo = _Undo(level_mV, self._least, self._foot_mV)
            self.passed += 1
            self.points_past_last = self._since_peak
            self.last_mL = self._peak_mL
            self._least, self._foot_mV = (slope, error), point.potential_mV

    def _window(self) -> tuple[float, float] | None:
        """What the next jump leads from and to, None where that is not known."""
        return self._between_mV[self.passed] if self.passed < len(self._between_mV) else None

    @staticmethod
    def _exceeds(one: tuple[float, float], other: tuple[float, float], times: float) -> bool:
        return one[0] - times * other[0] > _CERTAIN * math.hypot(one[1], times * other[1])


def _crosses(between_mV: tuple[float, float] | None, from_mV: float, to_mV: float) -> bool:
    if between_mV is None:
        return True
    middle_mV = sum(between_mV) / 2.0
    return from_mV < middle_mV < to_mV if between_mV[0] < between_mV[1] else from_mV > middle_mV > to_mV


def _sd_mV(point: Point) -> float:
    return math.hypot(point.sd_mV, point.remainder_bound_mV / 2.0)
