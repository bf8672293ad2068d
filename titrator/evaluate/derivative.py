"""The first derivative of a curve on unequal spacing: secants, each in the middle of its interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray


@dataclass(frozen=True, eq=False)
class Derivative:
    """Secant slopes of a curve of n readings at rising, distinct volumes; each array of shape (n - 1,).

    `volume_mL` are the middles of the intervals, `width_mL` their widths, `slope` in the signal's unit per mL and
    `sd_slope` its standard deviation by the scatter of the signal.
    """

    volume_mL: FloatArray
    width_mL: FloatArray
    slope: FloatArray
    sd_slope: FloatArray


def first_derivative(volume_mL: FloatArray, signal: FloatArray, sd_signal: FloatArray | None = None) -> Derivative:
    """Return the secants between neighbouring readings. Raises ValueError where volumes do not rise."""
    width = np.diff(volume_mL)
    if np.any(width <= 0.0):
        raise ValueError("rising, distinct volumes expected: order the curve first (Curve.in_order)")
    sd = np.zeros(len(volume_mL)) if sd_signal is None else sd_signal
    return Derivative(
        volume_mL=(volume_mL[1:] + volume_mL[:-1]) / 2.0,
        width_mL=width,
        slope=np.diff(signal) / width,
        sd_slope=np.hypot(sd[1:], sd[:-1]) / width,
    )


def grouped(values: FloatArray, size: int) -> FloatArray:
    """Return the means of every `size` neighbours: secants over them are steeper than the scatter. Shape (n/size,)."""
    if size <= 1:
        return values
    starts = np.arange(0, len(values), size)
    counts = np.diff(np.append(starts, len(values)))
    return np.asarray(np.add.reduceat(values, starts) / counts, dtype=np.float64)


def largest_slope(derivative: Derivative, first: int, last: int, sd_volume_mL: float = 0.0) -> tuple[float, float]:
    """Return volume in mL and standard uncertainty of the steepest secant among intervals `first` to `last`.

    The curve is to rise there. The place is uncertain by the interval (rectangular), by where its two readings truly
    stand (`sd_volume_mL` each) and, where scatter of signal or volume leaves it open, by every interval whose secant
    may be the steepest.
    """
    slopes = derivative.slope[first : last + 1]
    of_width = math.sqrt(2.0) * sd_volume_mL / derivative.width_mL[first : last + 1]
    sds = np.hypot(derivative.sd_slope[first : last + 1], slopes * of_width)
    best = int(np.argmax(slopes))
    rivals = np.flatnonzero(slopes + 2.0 * sds >= slopes[best] - 2.0 * sds[best])
    near = rivals[np.abs(rivals - best) <= 3] + first
    low = float(np.min(derivative.volume_mL[near] - derivative.width_mL[near] / 2.0))
    high = float(np.max(derivative.volume_mL[near] + derivative.width_mL[near] / 2.0))
    return float(derivative.volume_mL[first + best]), math.hypot((high - low) / math.sqrt(12.0), sd_volume_mL)
