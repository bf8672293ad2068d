"""The smallest drift that readings can tell from noise: a limit below it would never be met.

The potential is taken to run to its end first order, E(t) = end + r·exp((t_end − t)/τ), so its slope at the end is −r/τ.
For readings of standard deviation σ, f a second over a window of length w, least squares give (a textbook's variance of
a slope, the sums written as integrals)

    u²(r) = σ²/(f·S),   S = ∫ e² dt − (∫ e dt)²/w = τ/2·(exp(2w/τ) − 1) − (τ·(exp(w/τ) − 1))²/w

τ is known within a factor only, ln τ ± 0.5, and where the potential hardly moves, nothing is learnt of it; averaged over
that spread, u²(drift) is the mean of u²(r)/τ² at τ·exp(−0.5) and at τ·exp(+0.5). A drift counts as below a limit where 3.2
standard deviations fit between. These are the figures of the settling detector, which this package must not import: a
test holds them equal, and holds the detector's own standard error to be no smaller.
"""

from __future__ import annotations

import math
from typing import Final

SD_LN_RESPONSE: Final = 0.5
QUANTILE: Final = 3.2
WINDOW_OVER_RESPONSE: Final = 12.0
"""Readings older than this many response times are forgotten."""
MIXING_TIMES: Final = 2.0
"""Readings within this many mixing times of an addition are left out."""


def least_told_drift_mV_per_s(
    *, noise_mV: float, response_s: float, mixing_s: float, longest_wait_s: float, readings_per_second: float
) -> float:
    """Return the smallest limit of a drift in mV/s that can be met within the longest wait.

    Needs longest_wait_s > 2 mixing_s.
    """
    window_s = min(longest_wait_s - MIXING_TIMES * mixing_s, WINDOW_OVER_RESPONSE * response_s)
    slow, fast = (response_s * math.exp(sign * SD_LN_RESPONSE) for sign in (1, -1))
    squares = [_unit_variance(tau_s, window_s) / (readings_per_second * tau_s**2) for tau_s in (slow, fast)]
    return QUANTILE * noise_mV * math.sqrt(sum(squares) / 2)


def _unit_variance(tau_s: float, window_s: float) -> float:
    """u²(r)·f/σ², in seconds to the power −1."""
    grown = math.expm1(window_s / tau_s)
    spread_s = tau_s / 2 * math.expm1(2 * window_s / tau_s) - (tau_s * grown) ** 2 / window_s
    return 1 / spread_s
