"""The smallest drift that readings can tell from noise: a limit below it would never be met.

The potential is taken to run to its end first order, E(t) = end + r·exp((t_end − t)/τ), so its slope at the end is
−r/τ. For readings of standard deviation σ, f a second over a window of length w, least squares give (a textbook's
variance of a slope, the sums written as integrals)

    u²(r) = σ²/(f·S),   S = ∫ e² dt − (∫ e dt)²/w = τ/2·(exp(2w/τ) − 1) − (τ·(exp(w/τ) − 1))²/w

τ is known within a factor only, ln τ ± 0.5, and where the potential hardly moves, nothing is learnt of it; averaged
over that spread, u²(drift) is the mean of u²(r)/τ² at τ·exp(−0.5) and at τ·exp(+0.5). A drift counts as below a limit
where 3.2 standard deviations fit between. These are the figures of the settling detector, which this package must not
import: a test holds them equal, and holds the detector's own standard error to be no smaller.
"""

from __future__ import annotations

import math
from typing import Final

SD_LN_RESPONSE: Final = 0.5
QUANTILE: Final = 3.2
WINDOW_OVER_RESPONSE: Final = 12.0
"""Readings older than this many response times are forgotten."""
FASTEST_RESPONSE_S: Final = 0.5
"""A faster electrode is treated like this one."""
MIXING_TIMES: Final = 2.0
"""Readings within this many mixing times of an addition are left out."""


def least_told_drift_mV_per_s(
    *, noise_mV: float, response_s: float, mixing_s: float, longest_wait_s: float, readings_per_second: float
) -> float:
    """Return the smallest limit of a drift in mV/s that can be met within the longest wait.

    A wait of less than twice the mixing and once the response counts as that long: nothing settles sooner.
    """
    response_s = max(response_s, FASTEST_RESPONSE_S)
    window = min(max(longest_wait_s - MIXING_TIMES * mixing_s, response_s) / response_s, WINDOW_OVER_RESPONSE)
    mean_square = 0.0
    for factor in (math.exp(SD_LN_RESPONSE), math.exp(-SD_LN_RESPONSE)):
        readings_per_response = readings_per_second * response_s * factor
        mean_square += 0.5 / (readings_per_response * _spread(window / factor) * factor * factor)
    return QUANTILE * noise_mV / response_s * math.sqrt(mean_square)


def _spread(x: float) -> float:
    """S/τ for a window of x = w/τ."""
    grown = math.expm1(x)
    return math.expm1(2 * x) / 2 - grown * grown / x
