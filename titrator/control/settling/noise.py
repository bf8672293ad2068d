"""Noise of readings measured from the readings themselves, correlated or not.

Neighbouring readings' differences say how much of the noise is fresh from reading to reading; residuals of block
averages about the fitted tail say how much of it averages out. For white noise the two agree. Where they do not, the
noise is taken as first-order autoregressive with a correlation time up to about 2 s, the time weighed by what
differences, blocks and the stated noise say together. Slower noise cannot be told from a drift of the potential.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

PRIOR_FREEDOM = 3.0
"""The stated noise counts for this many degrees of freedom beside what is measured."""

CORRELATION_TIMES_S = (0.04, 0.08, 0.15, 0.3, 0.5, 0.8, 1.2, 1.7, 2.3)
"""Correlation times weighed, s."""


class Observed(NamedTuple):
    """What readings and residuals show.

    stated_variance_mV2: of one reading, rounding included. fresh_variance_mV2: half the mean squared difference of
    neighbours. opposed: minus the correlation of neighbouring differences (0.5 for white noise). differences: how many.
    interval_s: between readings. per_block: readings a block.  sum_of_squares_mV2: weighted residuals
    of block averages about the tail (per reading). freedom: their degrees of freedom.
    """

    stated_variance_mV2: float
    fresh_variance_mV2: float
    opposed: float
    differences: float
    interval_s: float
    per_block: float
    sum_of_squares_mV2: float
    freedom: float


class Noise(NamedTuple):
    """reading_sd_mV: of one reading. slow_variance_mV2: what one reading contributes to averages over many (equal to
    its variance where noise is white). freedom: degrees of freedom of the latter. correlated: noise is not white."""

    reading_sd_mV: float
    slow_variance_mV2: float
    freedom: float
    correlated: bool


def measure_noise(seen: Observed, residuals: Callable[[], tuple[float, float, float]]) -> Noise:
    """Noise of one reading and of averages; residuals() (tail.residual_products) is called for noise unlike white."""
    counted = 0.67 * seen.differences
    white = (PRIOR_FREEDOM * seen.stated_variance_mV2 + counted * seen.fresh_variance_mV2 + seen.sum_of_squares_mV2) / (
        PRIOR_FREEDOM + counted + seen.freedom
    )
    total = PRIOR_FREEDOM + counted + seen.freedom
    # Differences alone, the stated noise counted lightly: a block residual must not make its own yardstick.
    fresh = (0.5 * seen.stated_variance_mV2 + counted * seen.fresh_variance_mV2) / (0.5 + counted)
    ratio = seen.sum_of_squares_mV2 / (max(seen.freedom, 1.0) * fresh)
    spread = math.sqrt(2.0 / max(seen.freedom, 1.0) + 2.0 / (1.0 + counted))
    unlike_white = (0.5 - seen.opposed) * math.sqrt(2.0 * max(seen.differences, 1.0))
    if seen.freedom < 1.0 or (ratio <= 1.0 + 1.3 * spread and unlike_white <= 1.6):
        return Noise(math.sqrt(white), white, total, correlated=False)
    return _correlated(seen, fresh, residuals())


def _correlated(seen: Observed, fresh: float, residuals: tuple[float, float, float]) -> Noise:
    """Weigh correlation times by the likelihood of differences, block residuals and stated noise."""
    n = max(seen.per_block, 1.0)
    freedom = max(seen.freedom, 1.0)
    squares, products, inner = residuals
    found: list[tuple[float, float, float, float]] = []
    for time_s in CORRELATION_TIMES_S:
        rho = math.exp(-seen.interval_s / time_s)
        gap = 1.0 - rho
        power = rho**n
        slow = (1.0 + rho) / (gap * gap)  # long-run variance of one reading over the fresh variance
        block = slow / n - 2.0 * rho * (1.0 - power) / (n * n * gap**3)  # variance of a block average, likewise
        phi = min(rho * (1.0 - power) ** 2 / (n * n * gap**3 * block), 0.99)  # correlation of neighbouring averages
        spread = fresh * block * (1.0 - phi * phi)
        # The fit takes up as many slow modes as it has parameters; whitened, each counts like any other.
        misfit = (squares - 2.0 * phi * products + phi * phi * inner) / spread
        log_weight = (
            -0.5 * (freedom * math.log(spread / seen.stated_variance_mV2) + misfit)
            - (seen.opposed - 0.5 * gap) ** 2 * seen.differences / 1.5
            - 0.5 * (0.5 * math.log(fresh / gap / seen.stated_variance_mV2) / 0.4) ** 2
        )
        independent = max(freedom * (1.0 - phi) / (1.0 + phi), 1.0)
        found.append((log_weight, fresh / gap, fresh * slow, independent))
    best = max(f[0] for f in found)
    weights = [math.exp(f[0] - best) for f in found]
    total = sum(weights)
    variance = sum(w * f[1] for w, f in zip(weights, found, strict=True)) / total
    slow_variance = sum(w * f[2] for w, f in zip(weights, found, strict=True)) / total
    independent = sum(w * f[3] for w, f in zip(weights, found, strict=True)) / total
    variance = min(max(variance, 0.25 * seen.stated_variance_mV2), 4.0 * seen.stated_variance_mV2)
    return Noise(math.sqrt(variance), slow_variance, PRIOR_FREEDOM + independent + 50.0, correlated=True)
