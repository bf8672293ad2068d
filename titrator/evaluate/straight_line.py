"""A weighted straight line with its intercept on the axis of volume, and whether the readings bend away from it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from titrator.evaluate.curve import FloatArray


@dataclass(frozen=True, slots=True)
class StraightLine:
    """F = height + slope (V - middle) of n readings; standard uncertainties by the weights, unscaled.

    `misfit` is the root of chi-square over `dof` = n - 2. Height and slope do not correlate, `middle_mL` being the
    weighted mean of the volumes. `bend` is the coefficient of a square term over its standard uncertainty.
    """

    middle_mL: float
    height: float
    slope: float
    u_height: float
    u_slope: float
    misfit: float
    dof: int
    bend: float

    @property
    def scale(self) -> float:
        """What the standard uncertainties are multiplied by: the misfit, never below 1."""
        return max(1.0, self.misfit)

    @property
    def zero_mL(self) -> float:
        """Where the line crosses zero, in mL."""
        return self.middle_mL - self.height / self.slope

    @property
    def u_zero_mL(self) -> float:
        """Standard uncertainty of the zero in mL by propagation (JCGM 100:2008, 5.1.2), times the scale."""
        reach = self.zero_mL - self.middle_mL
        return self.scale * math.hypot(self.u_height, reach * self.u_slope) / abs(self.slope)

    def interval_mL(self, probability: float = 0.95) -> tuple[float, float] | None:
        """Return Fieller's interval of the zero (E. C. Fieller 1954, from memory); None where it has no end.

        All volumes at which the line does not differ from zero at Student's t: it has no end where the slope itself
        does not differ from zero.
        """
        t = self.scale * float(student_t.ppf(0.5 + probability / 2.0, self.dof))
        a = self.slope**2 - (t * self.u_slope) ** 2
        if not a > 0.0:
            return None
        half_b, c = self.height * self.slope, self.height**2 - (t * self.u_height) ** 2
        root = math.sqrt(max(0.0, half_b**2 - a * c))
        return self.middle_mL + (-half_b - root) / a, self.middle_mL + (-half_b + root) / a


def straight_line(volume_mL: FloatArray, value: FloatArray, sd: FloatArray) -> StraightLine | None:
    """Return the weighted regression of values with standard deviations `sd` (n,) on volumes; None below 3 of them."""
    count = len(volume_mL)
    if count < 3 or not np.all(np.isfinite(value)) or not np.all(sd > 0.0):
        return None
    weight = sd**-2.0
    total = float(np.sum(weight))
    middle = float(np.sum(weight * volume_mL)) / total
    x = volume_mL - middle
    spread = float(np.sum(weight * x**2))
    height = float(np.sum(weight * value)) / total
    slope = float(np.sum(weight * x * value)) / spread if spread > 0.0 else 0.0
    level = 1e-12 * float(np.max(np.abs(value)))
    if not math.isfinite(slope) or abs(slope) * float(np.ptp(volume_mL)) <= level:
        return None
    residual = value - height - slope * x
    misfit = math.sqrt(float(np.sum(weight * residual**2)) / (count - 2))
    # the part of x² that a straight line does not hold, and what the residuals have of it
    third = float(np.sum(weight * x**3))
    square = x**2 - spread / total - third / spread * x
    power = float(np.sum(weight * square**2))
    bend = float(np.sum(weight * square * residual)) / math.sqrt(power) if count > 3 and power > 0.0 else 0.0
    return StraightLine(middle, height, slope, total**-0.5, spread**-0.5, misfit, count - 2, bend)


def is_straight(line: StraightLine) -> bool:
    """Return whether the square term does not differ from zero (two-sided 5 % by Student's t, one degree fewer).

    Its standard uncertainty is that of the weights, or of the scatter that the square term leaves where that is more.
    """
    if line.dof < 2:
        return True
    left = max(1.0, math.sqrt(max(0.0, line.misfit**2 * line.dof - line.bend**2) / (line.dof - 1)))
    return abs(line.bend) / left <= float(student_t.ppf(0.975, line.dof - 1))
