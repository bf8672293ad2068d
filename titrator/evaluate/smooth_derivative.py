"""The first derivative of noisy readings at unequal spacing, and where it is largest: local polynomials.

At each reading a parabola through it and its two neighbours, then cubics through 5, 7, 11, ... readings (least squares,
weighted by the noise) give a slope with its standard deviation. The width is chosen by the noise: the widest one whose
slope agrees with those of all narrower ones within their intervals (the intersection of confidence intervals,
A. Goldenshluger and A. Nemirovski 1997, from memory). Without noise that is the parabola, so that nothing is smoothed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.derivative import first_derivative

AGREE = 3.5
"""Half width of the intervals that must have a volume or a slope in common, in standard deviations."""
WIDEST = 3
"""No polynomial reaches over more than a third of the curve."""
BIASED = 2.0
"""The choice of a width allows a bias beside the scatter: uncertainties are twice as large (common practice)."""
UNRESOLVED = 0.3
"""Share of a parabola's width that stays as a rectangle: a jump sharper than its additions is no parabola."""
WORST_MISFIT = 2.0
"""A cubic whose residuals are more than twice the noise does not describe its readings."""


@dataclass(frozen=True, eq=False)
class SmoothDerivative:
    """Slopes at the n readings in the signal's unit per mL, their standard deviations, and over how many readings.

    Each array of shape (n,); `readings` is the width that the noise chose.
    """

    volume_mL: FloatArray
    slope: FloatArray
    sd_slope: FloatArray
    readings: FloatArray


@dataclass(frozen=True, eq=False)
class _Locals:
    """Polynomials about each reading: coefficients (n, p) of (V - Vi)^k and their covariances (n, p, p)."""

    coefficients: FloatArray
    covariance: FloatArray


def _halves(count: int) -> list[int]:
    """Return how many readings on either side are taken: 1, 2, 3, 5, 8, ... while they fit."""
    found, half = [1], 2
    while 2 * half + 1 <= count:
        found.append(half)
        half = max(half + 1, round(1.6 * half))
    return found


def _locals(volume_mL: FloatArray, signal: FloatArray, sd: FloatArray, half: int, at: np.ndarray) -> _Locals:
    """Return the polynomials about the readings `at` over `half` on either side (at the ends: the nearest as many)."""
    count, wide, size = len(volume_mL), 2 * half + 1, 3 if half == 1 else 4
    first = np.clip(at - half, 0, count - wide)
    rows = first[:, None] + np.arange(wide)
    x = volume_mL[rows] - volume_mL[at][:, None]
    reach = np.max(np.abs(x), axis=1)
    powers = (x / reach[:, None])[:, :, None] ** np.arange(size)
    design = powers / sd[rows][:, :, None]
    normal = np.linalg.inv(np.swapaxes(design, 1, 2) @ design)
    right = np.swapaxes(design, 1, 2) @ (signal[rows] / sd[rows])[:, :, None]
    scale = reach[:, None] ** -np.arange(size)
    coefficients = (normal @ right)[:, :, 0] * scale
    return _Locals(coefficients, normal * scale[:, :, None] * scale[:, None, :])


def smooth_derivative(volume_mL: FloatArray, signal: FloatArray, sd_signal: FloatArray) -> SmoothDerivative:
    """Return the slopes at the readings. Raises ValueError where volumes do not rise or fewer than 3 readings come."""
    first_derivative(volume_mL, signal)
    if len(volume_mL) < 3:
        raise ValueError(f"at least 3 readings expected for a derivative, {len(volume_mL)} came")
    floor = 1e-9 * max(1e-9, float(np.ptp(signal)))
    sd = np.maximum(sd_signal, floor)
    low, high = np.full(len(volume_mL), -np.inf), np.full(len(volume_mL), np.inf)
    slope, sd_slope, readings = np.zeros(len(volume_mL)), np.zeros(len(volume_mL)), np.zeros(len(volume_mL))
    count = len(volume_mL)
    at = np.arange(count)
    for half in _halves(min(count, max(5, count // WIDEST))):
        found = _locals(volume_mL, signal, sd, half, at)
        value, spread = found.coefficients[:, 1], np.sqrt(found.covariance[:, 1, 1])
        low[at] = np.maximum(low[at], value - AGREE * spread)
        high[at] = np.minimum(high[at], value + AGREE * spread)
        agree = low[at] <= high[at]
        at = at[agree]
        if not len(at):
            break
        slope[at], sd_slope[at], readings[at] = value[agree], spread[agree], 2 * half + 1
    return SmoothDerivative(volume_mL, slope, sd_slope, readings)


def steepest_reading(derivative: SmoothDerivative, first: int, last: int) -> int:
    """Return the reading among `first` to `last` that is surely the steepest: by the lower end of its interval."""
    rows = slice(max(first, 0), last + 1)
    lower = derivative.slope[rows] - AGREE * derivative.sd_slope[rows]
    return max(first, 0) + int(np.argmax(lower))


def largest_smooth(derivative: SmoothDerivative, first: int, last: int) -> tuple[float, float]:
    """Return volume in mL and standard uncertainty of the largest slope among readings `first` to `last`.

    The top of the parabola through the largest slope and its neighbours, as far as half of its own polynomial reaches.
    Uncertain by all readings whose slope may be as large (rectangular), by what the parabola leaves open, and never by
    less than UNRESOLVED of its width.
    """
    best, count = steepest_reading(derivative, first, last), len(derivative.slope)
    half = min(max(1, int(derivative.readings[best]) // 4), (count - 1) // 2)
    at = min(max(best, half), count - 1 - half)
    rows = slice(at - half, at + half + 1)
    x, y = derivative.volume_mL[rows] - derivative.volume_mL[at], derivative.slope[rows]
    width = float(x[-1] - x[0])
    sd = derivative.sd_slope
    may_be = np.flatnonzero(derivative.slope + sd >= derivative.slope[best] - sd[best])
    may_be = may_be[(may_be >= first) & (may_be <= last)]
    rivals = float(np.ptp(derivative.volume_mL[may_be])) / math.sqrt(12.0)
    bend, rise, _ = np.polyfit(x, y, 2)
    if not bend < 0.0:
        return float(derivative.volume_mL[best]), math.hypot(width / math.sqrt(12.0), rivals)
    top = float(np.clip(-rise / (2.0 * bend), x[0], x[-1]))
    open_mL = min(math.sqrt(float(sd[at]) / -float(bend) / 3.0), width)
    return float(derivative.volume_mL[at]) + top, math.hypot(rivals, max(open_mL, UNRESOLVED * width / math.sqrt(12.0)))


def inflection(
    volume_mL: FloatArray, signal: FloatArray, sd_signal: FloatArray, steepest: int, most: int
) -> tuple[float, float] | None:
    """Return the zero of the second derivative in mL with its standard uncertainty, or None where there is none.

    A cubic about reading `steepest` turns at its inflection V = Vi - c2/(3 c3). It is drawn through more and more
    readings, `most` of them at most, as long as the zeros agree and the cubic describes the readings within twice their
    noise; the widest is taken. None where not even five readings lie on a cubic: the jump is too sharp for its
    additions. The uncertainty is that of the coefficients, times the misfit and BIASED, and not below a tenth of the
    spacing (rectangular).
    """
    best: tuple[float, float] | None = None
    low, high = -math.inf, math.inf
    for half in _halves(min(len(volume_mL), most))[1:]:
        first = min(max(steepest - half, 0), len(volume_mL) - 2 * half - 1)
        rows = slice(first, first + 2 * half + 1)
        x = volume_mL[rows] - volume_mL[steepest]
        reach = float(np.max(np.abs(x)))
        design = (x / reach)[:, None] ** np.arange(4) / sd_signal[rows][:, None]
        covariance = np.linalg.inv(design.T @ design)
        c = covariance @ (design.T @ (signal[rows] / sd_signal[rows]))
        residual = signal[rows] / sd_signal[rows] - design @ c
        misfit = max(1.0, math.sqrt(float(residual @ residual) / (2 * half - 3)))
        if misfit > WORST_MISFIT:
            break
        zero = -c[2] / (3.0 * c[3])
        if not c[3] < 0.0 or not x[0] < reach * zero < x[-1]:
            continue
        gradient = np.array([0.0, 0.0, -1.0 / (3.0 * c[3]), c[2] / (3.0 * c[3] ** 2)])
        u = misfit * reach * math.sqrt(float(gradient @ covariance @ gradient))
        place = float(volume_mL[steepest]) + reach * float(zero)
        low, high = max(low, place - AGREE * u), min(high, place + AGREE * u)
        if low > high:
            break
        spacing = float(x[-1] - x[0]) / (2 * half)
        best = place, math.hypot(BIASED * u, 0.1 * spacing / math.sqrt(12.0))
    return best
