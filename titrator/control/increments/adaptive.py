"""Additions that meet an aimed change of potential, foreseeing the coming jump.

Near an equivalence point a titration curve is logarithmic in the distance to it: E = c − s·ln(D − V) before, and
E = c + s·ln(V − D) behind, so that the inverse slope dV/dE is a straight line in V that vanishes at V = D. (For a 1:1
redox titration dV/dE = V(D − V)/(s·D) exactly; the line is its tangent at the jump.) Three points (V0, E0),
(V1, E1), (V2, E2) give D and s without differences of differences:

    (E1 − E0)/(E2 − E1) = ln[(D − V0)/(D − V1)] / ln[(D − V1)/(D − V2)]

and the addition that changes the potential by the aim is ΔV = (D − V2)·(1 − exp(−aim/s)) before a jump and
(V2 − D)·(exp(aim/s) − 1) behind it. A curve that keeps its slope has D at infinity, and ΔV = aim/slope.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from titrator.control.increments.base import PointByPoint, Step
from titrator.control.point import Point

_STRAIGHT = 0.02
"""Slopes that differ by less than this share are taken as equal: D is then too far away to matter (≥ 50 spacings)."""
_HALVINGS = 60
"""Bisection steps for D; each halves the bracket, so the root is known to the last bit that matters."""


@dataclass(frozen=True, slots=True)
class AdaptiveSettings:
    """`aim_mV` change of potential per addition; `first_mL`, `least_mL`, `most_mL` additions; `growth` between two."""

    aim_mV: float
    first_mL: float
    least_mL: float
    most_mL: float
    growth: float

    def __post_init__(self) -> None:
        if not (self.aim_mV > 0.0 and 0.0 < self.least_mL <= self.first_mL <= self.most_mL and self.growth > 1.0):
            raise ValueError(f"expected aim > 0, 0 < least <= first <= most and growth > 1, got {self}")


class Adaptive(PointByPoint):
    """The `adaptive` rule: small where dE/dV rises, larger again behind the jump.

    `random_error_mL`: standard deviation of a position of the burette.
    """

    def __init__(self, settings: AdaptiveSettings, random_error_mL: float = 0.0) -> None:
        self._settings = settings
        self._run_sd_mL = math.sqrt(2.0) * random_error_mL  # of an addition: two positions
        self._recent: deque[Point] = deque(maxlen=3)

    def add_point(self, point: Point) -> None:
        self._recent.append(point)

    def next_step(self) -> Step:
        return Step(self._next_addition_mL())

    def _next_addition_mL(self) -> float:
        settings = self._settings
        if len(self._recent) < 2:
            return settings.first_mL
        last_mL = self._recent[-1].volume_mL - self._recent[-2].volume_mL
        most_mL = min(settings.most_mL, settings.growth * last_mL)
        return max(settings.least_mL, min(most_mL, self._wanted_mL()))

    def _wanted_mL(self) -> float:
        """The addition that meets the aim by the local curve; infinite where the curve does not rise or fall."""
        before, last = self._recent[-2], self._recent[-1]
        step_mV = abs(last.potential_mV - before.potential_mV)
        share = self._error_share(before, last)
        if share >= 1.0:
            return math.inf
        straight_mL = self._settings.aim_mV * (last.volume_mL - before.volume_mL) / step_mV
        if len(self._recent) < 3:
            return straight_mL
        bend_error = math.hypot(share, self._error_share(self._recent[0], before))
        return logarithmic_addition_mL(
            [(point.volume_mL, point.potential_mV) for point in self._recent],
            self._settings.aim_mV,
            straight_mL,
            max(_STRAIGHT, bend_error),
        )

    def _error_share(self, one: Point, other: Point) -> float:
        """Standard error of the slope between two points as a share of it; infinite where nothing changed."""
        step_mV = abs(other.potential_mV - one.potential_mV)
        noise = math.hypot(one.sd_mV, other.sd_mV) / step_mV if step_mV else math.inf
        return math.hypot(noise, self._run_sd_mL / (other.volume_mL - one.volume_mL))


def logarithmic_addition_mL(
    points: list[tuple[float, float]], aim_mV: float, straight_mL: float, least_bend: float = _STRAIGHT
) -> float:
    """The addition in mL behind the last of three `points` (mL, mV) that changes the potential by `aim_mV`.

    `straight_mL` is returned where the three points do not rise (fall) throughout, or where the ratio of their slopes
    is nearer to 1 than `least_bend`.
    """
    (v0, e0), (v1, e1), (v2, e2) = points
    first, second = e1 - e0, e2 - e1
    if first * second <= 0.0:
        return straight_mL
    ratio = first / second
    chords = ratio * (v2 - v1) / (v1 - v0)  # slope of the first chord over that of the second
    if abs(chords - 1.0) < least_bend:
        return straight_mL
    rising = chords < 1.0
    distance = _distance_ahead(v0, v1, v2, ratio) if rising else _distance_ahead(-v2, -v1, -v0, 1.0 / ratio)
    # Distances of the three points from D, by side; the local s follows from the last chord.
    near = distance if rising else distance + (v2 - v0)
    middle = distance + (v2 - v1) if rising else distance + (v1 - v0)
    s_mV = abs(second) / abs(math.log(middle / near))
    x = aim_mV / s_mV
    if rising:
        return -near * math.expm1(-x)
    return near * math.expm1(min(x, 50.0))


def _distance_ahead(v0: float, v1: float, v2: float, ratio: float) -> float:
    """D − v2 for a curve that steepens towards D beyond v2, by bisection on the logarithm of the distance.

    The ratio of the chords, ln[(D−v0)/(D−v1)]/ln[(D−v1)/(D−v2)], rises with the distance from 0 (D at v2) to the
    ratio of the spacings (D at infinity), so that one root exists.
    """
    span = v2 - v0
    low, high = math.log(span * 1e-9), math.log(span * 1e6)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        distance = math.exp(middle)
        value = math.log1p((v1 - v0) / (distance + (v2 - v1))) / math.log1p((v2 - v1) / distance)
        if value < ratio:
            low = middle
        else:
            high = middle
    return math.exp(0.5 * (low + high))
