"""A weighted straight line with its intercept on the axis of volume, and whether the readings bend away from it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.student import student_quantile


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
        t = self.scale * student_quantile(0.5 + probability / 2.0, self.dof)
        a = self.slope**2 - (t * self.u_slope) ** 2
        if not a > 0.0:
            return None
        half_b, c = self.height * self.slope, self.height**2 - (t * self.u_height) ** 2
        root = math.sqrt(max(0.0, half_b**2 - a * c))
        return self.middle_mL + (-half_b - root) / a, self.middle_mL + (-half_b + root) / a


@dataclass(frozen=True, eq=False)
class StraightLines:
    """Several lines at once, arrays (lines,); `residual` (lines, n). `slope` is not a number where there is no line."""

    middle_mL: FloatArray
    height: FloatArray
    slope: FloatArray
    u_height: FloatArray
    u_slope: FloatArray
    misfit: FloatArray
    dof: np.ndarray
    bend: FloatArray
    residual: FloatArray

    def line(self, k: int) -> StraightLine | None:
        """Return one of them, or None where there is none."""
        if not math.isfinite(self.slope[k]):
            return None
        return StraightLine(
            middle_mL=float(self.middle_mL[k]),
            height=float(self.height[k]),
            slope=float(self.slope[k]),
            u_height=float(self.u_height[k]),
            u_slope=float(self.u_slope[k]),
            misfit=float(self.misfit[k]),
            dof=int(self.dof[k]),
            bend=float(self.bend[k]),
        )


def straight_lines(volume_mL: FloatArray, value: FloatArray, weight: FloatArray, count: np.ndarray) -> StraightLines:
    """Return weighted regressions of rows of values on volumes (n,), one a row: `value`, `weight` (lines, n).

    A weight of 0 leaves a reading out; `count` (lines,) are those that are in.
    """
    with np.errstate(all="ignore"):
        total = np.sum(weight, axis=1)
        middle = weight @ volume_mL / total
        x = volume_mL - middle[:, None]
        of_square = weight * x**2
        spread = np.sum(of_square, axis=1)
        height = np.sum(weight * value, axis=1) / total
        slope = np.where(spread > 0.0, np.sum(weight * x * value, axis=1) / spread, 0.0)
        inside = weight > 0.0
        level = 1e-12 * np.max(np.where(inside, np.abs(value), 0.0), axis=1)
        reach = np.max(np.where(inside, x, -np.inf), axis=1) - np.min(np.where(inside, x, np.inf), axis=1)
        slope = np.where((count >= 3) & (np.abs(slope) * reach > level) & np.isfinite(height), slope, np.nan)
        residual = value - height[:, None] - slope[:, None] * x
        misfit = np.sqrt(np.sum(weight * residual**2, axis=1) / (count - 2))
        # the part of x² that a straight line does not hold, and what the residuals have of it
        third = np.sum(of_square * x, axis=1)
        square = x**2 - (spread / total)[:, None] - (third / spread)[:, None] * x
        power = np.sum(weight * square**2, axis=1)
        bend = np.sum(weight * square * residual, axis=1) / np.sqrt(power)
        bend = np.where((count > 3) & (power > 0.0), bend, 0.0)
        return StraightLines(middle, height, slope, total**-0.5, spread**-0.5, misfit, count - 2, bend, residual)


def straight_line(volume_mL: FloatArray, value: FloatArray, sd: FloatArray) -> StraightLine | None:
    """Return the weighted regression of values with standard deviations `sd` (n,) on volumes; None below 3 of them."""
    if len(volume_mL) < 3 or not np.all(np.isfinite(value)) or not np.all(sd > 0.0):
        return None
    return straight_lines(volume_mL, value[None, :], sd[None, :] ** -2.0, np.array([len(volume_mL)])).line(0)


def is_straight(line: StraightLine) -> bool:
    """Return whether the square term does not differ from zero (two-sided 5 % by Student's t, one degree fewer).

    Its standard uncertainty is that of the weights, or of the scatter that the square term leaves where that is more.
    """
    if line.dof < 2:
        return True
    left = max(1.0, math.sqrt(max(0.0, line.misfit**2 * line.dof - line.bend**2) / (line.dof - 1)))
    return abs(line.bend) / left <= student_quantile(0.975, line.dof - 1)
