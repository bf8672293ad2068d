"""How much a signal scatters, from the readings themselves where nobody stated it."""

from __future__ import annotations

import numpy as np

from titrator.evaluate.curve import Curve, FloatArray, SignalUnit

LEAST_SD: dict[SignalUnit, float] = {"mV": 0.02, "pH": 0.0004, "pX": 0.0004}
"""No reading is taken to be better than this: a part in fifty of a millivolt (common practice, no source)."""


def decimal_step(values: FloatArray) -> float:
    """Return the place of the last digit that the values use: 0.01 for 24.30, 1 for whole numbers, 0 if not decimal."""
    for places in range(7):
        if np.all(np.abs(np.round(values, places) - values) <= 1e-9 * np.maximum(1.0, np.abs(values))):
            return float(10.0**-places)
    return 0.0


def _scatter(deviation: FloatArray) -> float:
    """Return the standard deviation behind deviations with outliers among them (median absolute deviation)."""
    return 1.4826 * float(np.median(np.abs(deviation)))


def estimated_sd(volume_mL: FloatArray, signal: FloatArray) -> float:
    """Return the standard deviation of the signal's scatter, estimated from readings at rising, distinct volumes.

    Each reading is compared with the straight line through its neighbours and with the cubic through four of them; the
    curvature of the curve enters one more than the other, so the smaller of the two estimates is taken. A curve with
    few readings has its scatter overestimated, never far underestimated.
    """
    count = len(volume_mL)
    if count < 4:
        return 0.0
    estimates = []
    for reach in (1, 2):
        if count < 2 * reach + 2:
            continue
        centre = np.arange(reach, count - reach)
        around = [centre + k for k in range(-reach, reach + 1) if k != 0]
        line, square = np.zeros(len(centre)), np.ones(len(centre))
        for here in around:
            weight = np.ones(len(centre))  # Lagrange's interpolating polynomial, at the centre
            for other in around:
                if other is not here:
                    weight *= (volume_mL[centre] - volume_mL[other]) / (volume_mL[here] - volume_mL[other])
            line += weight * signal[here]
            square += weight**2
        estimates.append(_scatter((signal[centre] - line) / np.sqrt(square)))
    return min(estimates) if estimates else 0.0


def signal_sd(curve: Curve, floor: float | None = None) -> tuple[FloatArray, bool]:
    """Return the standard deviation of each reading of an ordered curve, shape (n,), and whether it was stated.

    A stated one is joined by half the bound of the remainder (a reading not settled: by the whole bound).
    """
    least = LEAST_SD[curve.signal_unit] if floor is None else max(floor, LEAST_SD[curve.signal_unit])
    if curve.sd_signal is None:
        digit = decimal_step(curve.signal) / np.sqrt(12.0)
        return np.full(len(curve), max(least, digit, estimated_sd(curve.volume_mL, curve.signal))), False
    remainder = np.zeros(len(curve)) if curve.remainder_bound is None else curve.remainder_bound
    share = np.where(curve.not_settled, 1.0, 0.5)
    return np.sqrt(np.maximum(curve.sd_signal, least) ** 2 + (share * remainder) ** 2), True
