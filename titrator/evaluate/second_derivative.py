"""The zero of the second derivative, by linear interpolation between second differences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.derivative import Derivative

MOST_RESOLVED = 0.5
"""However many readings resolve the jump, half of the interval's rectangle stays: differences are not derivatives."""


@dataclass(frozen=True, eq=False)
class SecondDifferences:
    """Differences of neighbouring secants over the distance of their middles; arrays of shape (n - 2,).

    `volume_mL` is half way between the two middles (the reading itself where the spacing is equal).
    """

    volume_mL: FloatArray
    value: FloatArray


@dataclass(frozen=True, slots=True)
class Zero:
    """Where the second differences change sign in the jump, in mL, with its standard uncertainty.

    `u_mL` holds the scatter of signal and volume, and what the width of the interval leaves open.
    """

    volume_mL: float
    u_mL: float


def second_differences(derivative: Derivative) -> SecondDifferences:
    """Return the second differences of a curve from its secants."""
    middles = derivative.volume_mL
    return SecondDifferences(
        volume_mL=(middles[1:] + middles[:-1]) / 2.0,
        value=np.diff(derivative.slope) / np.diff(middles),
    )


def zero_beside(differences: SecondDifferences, steepest: int) -> float | None:
    """Return the zero in mL at the steepest interval, or None where the differences do not change sign around it.

    Interval k lies between readings k and k + 1; the second differences at those are numbers k - 1 and k.
    """
    before, behind = steepest - 1, steepest
    if before < 0 or behind >= len(differences.value):
        return None
    rising, falling = differences.value[before], differences.value[behind]
    if not rising > 0.0 > falling:
        return None
    left, right = differences.volume_mL[before], differences.volume_mL[behind]
    return float(left + (right - left) * rising / (rising - falling))


def zero_of_second_derivative(
    derivative: Derivative, steepest: int, sd_signal: FloatArray, sd_volume_mL: float
) -> Zero | str:
    """Return the zero at the steepest interval of a rising curve, or the reason why there is none.

    The scatter is carried by the secants' own partial derivatives; the discretisation by the widest of the three
    intervals that the zero rests on, as a rectangle, the less of it the more readings resolve the jump (neighbouring
    secants nearly as steep as the steepest).
    """
    zero = zero_beside(second_differences(derivative), steepest)
    if zero is None:
        return "the second differences do not change sign at the steepest interval"
    width = float(np.max(derivative.width_mL[steepest - 1 : steepest + 2]))
    scatter = _carried(derivative, steepest, sd_signal, sd_volume_mL)
    near = derivative.slope[[steepest - 1, steepest + 1]]
    resolved = float(np.clip(np.mean(near) / derivative.slope[steepest], 0.0, MOST_RESOLVED))
    return Zero(zero, float(np.hypot(scatter, (1.0 - resolved) * width / np.sqrt(12.0))))


def _carried(derivative: Derivative, steepest: int, sd_signal: FloatArray, sd_volume_mL: float) -> float:
    """Return the standard uncertainty of the zero by the scatter of the four readings it rests on, in mL."""
    first = steepest - 1
    width = derivative.width_mL[first : first + 3]
    volume = np.concatenate([[0.0], np.cumsum(width)])
    signal = np.concatenate([[0.0], np.cumsum(derivative.slope[first : first + 3] * width)])

    def zero(v: FloatArray, e: FloatArray) -> float:
        slope = np.diff(e) / np.diff(v)
        middle = (v[1:] + v[:-1]) / 2.0
        second = np.diff(slope) / np.diff(middle)
        place = (middle[1:] + middle[:-1]) / 2.0
        return float(place[0] + (place[1] - place[0]) * second[0] / (second[0] - second[1]))

    total = 0.0
    for k in range(4):
        for column, sd in ((1, float(sd_signal[first + k])), (0, sd_volume_mL)):
            step = min(sd, 0.05 * float(np.min(width))) if column == 0 else sd
            if step <= 0.0:
                continue
            shift = np.zeros(4)
            shift[k] = step
            up = zero(volume + shift, signal) if column == 0 else zero(volume, signal + shift)
            down = zero(volume - shift, signal) if column == 0 else zero(volume, signal - shift)
            total += ((up - down) / 2.0 * sd / step) ** 2
    return float(min(np.sqrt(total), np.sum(width)))
