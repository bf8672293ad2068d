"""When may it be over? A forecast for the person who waits; nothing is decided by it.

Before a jump the curve of one couple (or of a buffer) obeys E = E0 ± s·ln(V/(Ve - V)), so dV/dE = V(Ve - V)/(s·Ve) and
(dV/dE)/V is a straight line in V that meets zero at the equivalence volume Ve, whatever s is (derived here; the
linearisation is Gran's, Analyst 77 (1952) 661, from memory). The line through the last few additions foresees Ve.
Behind a jump the next couple begins, and volumes are counted from there. A rule that itself foresees where it goes
(`IncrementRule.ahead`) is believed instead.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from typing import NamedTuple

from titrator.control.increments import AdaptiveSettings, ForeseeingSettings, IncrementRule
from titrator.control.plan import Plan
from titrator.control.point import Point
from titrator.control.rules import jump_watch

_KEPT = 6
_FEWEST = 4
_TOO_WIDE = 0.1
"""A jump foreseen no better than within a tenth of its volume (one standard error of the line) is not foreseen."""
_STEEPENS = 1.1
"""The slope must have risen by this factor from its least, which lies half way to the jump: at two thirds of the way
(derived from the law above). A straight curve, or a branch that only flattens, foresees nothing."""
_MOST_POINTS = 500
_SLOW_POINTS = 4
_SLOW_RESPONSES = 12.0
"""Around a jump nothing holds the electrode's potential: some four points took some twelve response times each (seen on
the simulated cell)."""
_FORECAST_MIXINGS, _FORECAST_RESPONSES = 2.0, 3.0
"""A reading whose end is forecast took about so many times mixing and response: 17 to 30 s (seen on the simulated
cells)."""
_TYPICAL_COUNTS = 2
"""It counts as so many readings beside those of the run."""


class Foreseen(NamedTuple):
    """Where the next jump lies (None: the last one sought is behind), how many points and seconds are left."""

    jump_mL: float | None
    points: int
    left_s: float


class Forecast:
    """Feed points in order; read `foreseen`. `rule`: the one in force, which has learned each point before."""

    def __init__(self, plan: Plan, rule: IncrementRule | None = None) -> None:
        self._plan = plan
        self._rule = rule
        additions = plan.additions
        self._additions = additions.fallback if isinstance(additions, ForeseeingSettings) else additions
        self._waits, self._waited_s = 0, 0.0  # readings since the rule foresees the end, and how long they took
        self._watch = jump_watch(plan)
        self._points: deque[Point] = deque(maxlen=_KEPT)
        self._calm_s = 0.0  # seconds a point before the jump
        self._line: tuple[float, float] | None = None  # zero of the line and its slope, while a jump is foreseen
        self._from_mL = 0.0  # where the last jump was: volumes of the line are counted from there
        self.foreseen: Foreseen | None = None

    def add_point(self, point: Point) -> None:
        """Learn a logged point."""
        if self._points and point.volume_mL <= self._points[-1].volume_mL:
            return
        passed = self._watch.passed
        self._watch.add_point(point)
        self._points.append(point)
        if self._watch.passed != passed:
            self._line = None
            self._from_mL = self._watch.last_mL if self._watch.passed else 0.0
        self.foreseen = self._look(point)

    def _look(self, point: Point) -> Foreseen | None:
        ends, first = self._plan.ends, self._points[0]
        if len(self._points) < 2 or not ends.jumps_sought:
            return None
        if self._rule is not None and self._rule.seeks_more:
            return self._by_rule(self._rule)
        left = ends.jumps_sought - self._watch.passed
        if left <= 0:
            points = max(1, ends.points_past_jump - self._watch.points_past_last)
            newest_s = point.t_s - self._points[-2].t_s
            return Foreseen(None, points, points * (self._calm_s + newest_s) / 2.0)
        if self._line is None or point.volume_mL < self._line[0]:  # within the climb the line no longer holds
            self._line = self._fit()
            self._calm_s = (point.t_s - first.t_s) / (len(self._points) - 1)
        if self._line is None or left > 1 or self._line[0] > ends.volume_above_mL:
            return None
        before = self._points_to(point.volume_mL)
        points = before + ends.points_past_jump + 1
        settling = self._plan.settling
        slow_s = max(0.0, min(settling.longest_s, _SLOW_RESPONSES * settling.response_s) - self._calm_s)
        slow = _SLOW_POINTS if before else _SLOW_POINTS / 2
        return Foreseen(self._line[0], points, points * self._calm_s + slow * slow_s)

    def _by_rule(self, rule: IncrementRule) -> Foreseen | None:
        """What a rule means to do that says itself when it is enough."""
        ahead = rule.ahead
        if ahead is None:
            return None
        if self.foreseen is not None:  # the first one lies behind a flight, on the branch: it says little of the others
            self._waits, self._waited_s = self._waits + 1, self._waited_s + self._points[-1].waited_s
        settling = self._plan.settling
        typical_s = _FORECAST_MIXINGS * settling.mixing_s + _FORECAST_RESPONSES * settling.response_s
        foreseen_s = (_TYPICAL_COUNTS * typical_s + self._waited_s) / (_TYPICAL_COUNTS + self._waits)
        return Foreseen(ahead.jump_mL, ahead.readings, ahead.readings * foreseen_s)

    def _fit(self) -> tuple[float, float] | None:
        """Zero and slope of the line of (dV/dE)/V through the last additions; None when it foresees nothing."""
        points = [point for point in self._points if point.volume_mL > self._from_mL or not self._watch.passed]
        at, height, steepness = [], [], []
        for one, other in itertools.pairwise(points):
            change_mV = abs(other.potential_mV - one.potential_mV)
            middle_mL = (one.volume_mL + other.volume_mL) / 2.0 - self._from_mL
            if change_mV <= 0.0:
                return None
            steepness.append(change_mV / (other.volume_mL - one.volume_mL))
            at.append(middle_mL)
            height.append((other.volume_mL - one.volume_mL) / change_mV / middle_mL)
        count = len(at)
        if count < _FEWEST - 1 or steepness[-1] < _STEEPENS * min(steepness):
            return None
        mean_mL, mean = sum(at) / count, sum(height) / count
        squares = sum((x - mean_mL) ** 2 for x in at)
        slope = sum((x - mean_mL) * y for x, y in zip(at, height, strict=True)) / squares
        if slope >= 0.0:
            return None
        zero_mL = mean_mL - mean / slope
        misfit = sum((y - mean - slope * (x - mean_mL)) ** 2 for x, y in zip(at, height, strict=True))
        variance = misfit / max(1, count - 2) * (1.0 / count + (zero_mL - mean_mL) ** 2 / squares)
        foreseen = zero_mL > at[-1] and math.sqrt(variance) < -slope * zero_mL * _TOO_WIDE
        return (self._from_mL + zero_mL, slope) if foreseen else None

    def _points_to(self, volume_mL: float) -> int:
        """How many additions lie before the jump, by the rule in force."""
        assert self._line is not None
        zero_mL, slope = self._line
        additions, points = self._additions, 0
        if not isinstance(additions, AdaptiveSettings):
            return max(0, math.ceil((zero_mL - volume_mL) / additions.step_mL))
        while volume_mL < zero_mL and points < _MOST_POINTS:
            aimed_mL = additions.aim_mV * (volume_mL - self._from_mL) * slope * (volume_mL - zero_mL)
            volume_mL += min(max(aimed_mL, additions.least_mL), additions.most_mL)
            points += 1
        return points
