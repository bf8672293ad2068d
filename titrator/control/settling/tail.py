"""Regression of block averages on a first-order tail whose time constant is known roughly.

Potential(t) = end + remainder · exp((now − t)/τ). For a given τ this is a straight line in exp((now − t)/τ), so its two
parameters follow from weighted sums; τ itself is found by a parabola through three such fits, with a normal prior on
ln τ about the stated response. The spread of τ that data and prior leave goes into the remainder's own variance.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

SD_LN_RESPONSE = 0.5
"""Prior standard deviation of ln τ: "within a factor of two" is a rectangle of ±0.69, its sd 0.40; and a margin."""

FASTEST_LN, SLOWEST_LN = -1.4, 4.0
"""τ is sought from a quarter of the stated response (faster: nothing is left to see) to some fifty times it (a lasting
drift)."""

AMPLITUDE_SD_MV = 500.0
"""Weak prior of the tail's height at the start of the window: keeps a fit of one or two blocks finite."""


MOST_ATTEMPTS = 3
"""Times the three fits are placed at most in one search; the next search goes on from there."""


NODES, NODE_SD = 11, 0.25
"""Values of ln τ tried to either side of what is stated, and their distance in its standard deviations."""


class Blocks(NamedTuple):
    """What a regression needs of block averages, oldest first. age_s: now minus mean time; spread_s2: half the variance
    of the times in each block; weights: counts of readings; weighted_mV: weights times potentials from any level;
    their sums total_weight, total_mV and total_mV2 (of weights times squared potentials)."""

    age_s: Sequence[float]
    spread_s2: Sequence[float]
    weights: Sequence[float]
    weighted_mV: Sequence[float]
    total_weight: float
    total_mV: float
    total_mV2: float


class TailFit(NamedTuple):
    """Fit at one τ. remainder: potential now minus end value, mV; unit_variance: its variance for unit variance of one
    reading; sum_of_squares: weighted, mV²."""

    remainder_mV: float
    unit_variance: float
    sum_of_squares: float


class Stated(NamedTuple):
    """What is known of ln τ beforehand: mean and standard deviation."""

    ln_response: float
    sd: float


class Search(NamedTuple):
    """Three fits at ln τ = centre − half, centre, centre + half; sd of ln τ as far as known. Starts the next search."""

    centre: float
    half: float
    sd: float
    fits: tuple[TailFit, ...]


class Tail(NamedTuple):
    """Remainder (mV) and slope now (mV/s) with standard deviations; τ (s), sd of ln τ; weighted residual sum of squares
    (mV²) and its degrees of freedom."""

    remainder_mV: float
    remainder_sd_mV: float
    drift_mV_per_s: float
    drift_sd_mV_per_s: float
    response_s: float
    sd_ln_response: float
    sum_of_squares: float
    degrees_of_freedom: float
    search: Search
    found: bool


def prepare(
    t_s: Sequence[float], y_mV: Sequence[float], spread_s2: Sequence[float], weights: Sequence[float], now_s: float
) -> Blocks:
    """Blocks for fits at now_s; potentials are measured from the newest block: small numbers keep the sums exact."""
    level = y_mV[-1]
    weighted = [w * (y - level) for w, y in zip(weights, y_mV, strict=True)]
    squares = sum([wy * (y - level) for wy, y in zip(weighted, y_mV, strict=True)])
    return Blocks([now_s - t for t in t_s], spread_s2, weights, weighted, sum(weights), sum(weighted), squares)


def fit_tail(blocks: Blocks, response_s: float, ridge: float) -> TailFit:
    """Weighted straight line of the potential in exp(age / response), averaged over each block to second order;
    ridge = (sd of one reading / prior sd of the amplitude)²."""
    exp = math.exp
    rate = 1.0 / response_s
    rate2 = rate * rate
    se = see = sey = 0.0
    for age, h, w, wy in zip(blocks.age_s, blocks.spread_s2, blocks.weights, blocks.weighted_mV, strict=True):
        e = exp(age * rate) * (1.0 + h * rate2)
        we = w * e
        se += we
        see += we * e
        sey += e * wy
    first = exp(blocks.age_s[0] * rate)
    sy_over_sw = blocks.total_mV / blocks.total_weight
    see_c = see + ridge * first * first - se * se / blocks.total_weight
    sey_c = sey - se * sy_over_sw
    remainder = sey_c / see_c
    rest = blocks.total_mV2 - blocks.total_mV * sy_over_sw - remainder * sey_c
    return TailFit(remainder, 1.0 / see_c, max(0.0, rest))


def residual_products(blocks: Blocks, response_s: float) -> tuple[float, float, float]:
    """Sums over weighted residuals u of the fit at response_s, weights scaled to a mean of one: of u², of u times the
    u before, and of u² without both ends (mV²)."""
    rate = 1.0 / response_s
    shape = [
        math.exp(age * rate) * (1.0 + h * rate * rate) for age, h in zip(blocks.age_s, blocks.spread_s2, strict=True)
    ]
    remainder = fit_tail(blocks, response_s, 0.0).remainder_mV
    weights = blocks.weights
    end = (
        blocks.total_mV - remainder * sum([w * e for w, e in zip(weights, shape, strict=True)])
    ) / blocks.total_weight
    scale = len(weights) / blocks.total_weight
    residuals = [
        (wy / w - end - remainder * e) * math.sqrt(w * scale)
        for w, wy, e in zip(weights, blocks.weighted_mV, shape, strict=True)
    ]
    squares = sum([u * u for u in residuals])
    products = sum([u * v for u, v in pairwise(residuals)])
    return squares, products, squares - residuals[0] ** 2 - residuals[-1] ** 2


def find_tail(
    blocks: Blocks, variance_mV2: float, stated: Stated, start: Search, most_attempts: int = MOST_ATTEMPTS
) -> Tail:
    """Tail with τ found from data and prior. variance_mV2: effective variance of one reading (weights count readings).

    start: centre and sd to begin with; its fits, if it has any, are taken for fits of these very blocks.
    """
    ridge = variance_mV2 / AMPLITUDE_SD_MV**2
    inverse = 1.0 / variance_mV2
    stated_ln_response, prior_sd = stated
    prior = 1.0 / prior_sd**2
    theta, half, sd, fits = start
    span = max(sd, 0.003)
    for _ in range(most_attempts):
        if not fits:
            half = min(span, 0.6)
            fits = tuple([fit_tail(blocks, math.exp(x), ridge) for x in (theta - half, theta, theta + half)])
        away = theta - stated_ln_response
        low = fits[0].sum_of_squares * inverse + (away - half) ** 2 * prior
        mid = fits[1].sum_of_squares * inverse + away**2 * prior
        high = fits[2].sum_of_squares * inverse + (away + half) ** 2 * prior
        curvature = max((low - 2.0 * mid + high) / (half * half), prior)
        step = min(max(0.5 * (low - high) / (half * curvature), -2.0 * half), 2.0 * half)
        step = min(max(step, FASTEST_LN - away), SLOWEST_LN - away)
        sd = math.sqrt(2.0 / curvature)
        placed = Search(theta, half, sd, fits)
        inside = abs(step) <= 0.8 * half
        found = inside and 0.35 * half <= sd <= 2.5 * half
        if found:
            break
        # A parabola over a span much wider than the valley puts its bottom wrong by a tenth or so of the span: narrow
        # the span by five at most, and only once the bottom lies within it; widen it while the bottom lies far off.
        span = max(sd, 0.003, 0.2 * half if inside else abs(step))
        theta += step
        fits = ()
    return _combine(placed, step, variance_mV2, (len(blocks.age_s), prior_sd), found)


def over_all_responses(blocks: Blocks, variance_mV2: float, stated: Stated, tail: Tail) -> Tail:
    """The tail with remainder and drift averaged over every ln τ within `stated`, each by how well it fits.

    For a short window, whose fits say little of τ: the parabola of `find_tail` holds about its bottom only, and a
    forecast from it would be surer than the readings are.
    """
    ridge = variance_mV2 / AMPLITUDE_SD_MV**2
    fits, squares = [], []
    for k in range(-NODES, NODES + 1):
        away = NODE_SD * k
        theta = min(max(stated.ln_response + away * stated.sd, stated.ln_response + FASTEST_LN), SLOWEST_LN)
        fitted = fit_tail(blocks, math.exp(theta), ridge)
        fits.append((theta, fitted))
        squares.append(fitted.sum_of_squares / variance_mV2 + away * away)
    least = min(squares)
    total = mean = square = inner = drift = drift_square = ln_mean = ln_square = 0.0
    for (theta, fitted), each in zip(fits, squares, strict=True):
        weight = math.exp(0.5 * (least - each))
        rate = math.exp(-theta)
        total += weight
        mean += weight * fitted.remainder_mV
        square += weight * fitted.remainder_mV**2
        inner += weight * fitted.unit_variance
        drift -= weight * rate * fitted.remainder_mV
        drift_square += weight * rate * rate * (fitted.remainder_mV**2 + variance_mV2 * fitted.unit_variance)
        ln_mean += weight * theta
        ln_square += weight * theta * theta
    mean, drift, ln_mean = mean / total, drift / total, ln_mean / total
    return tail._replace(
        remainder_mV=mean,
        remainder_sd_mV=math.sqrt(max(square / total - mean * mean, 0.0) + variance_mV2 * inner / total),
        drift_mV_per_s=drift,
        drift_sd_mV_per_s=math.sqrt(max(drift_square / total - drift * drift, 0.0)),
        response_s=math.exp(ln_mean),
        sd_ln_response=math.sqrt(max(ln_square / total - ln_mean * ln_mean, 0.0)),
        found=True,
    )


def _combine(search: Search, step: float, variance_mV2: float, told: tuple[int, float], found: bool) -> Tail:
    """Mean and variance over ln τ ~ N(centre + step, sd²) of the three fits' parabola in ln τ."""
    blocks, prior_sd = told
    theta, half, sd, ((r0, v0, q0), (r1, v1, q1), (r2, v2, q2)) = search
    ratio = math.exp(half)
    k1 = math.exp(-theta)
    k0, k2 = k1 * ratio, k1 / ratio
    place = (half, step, sd)
    remainder, r_var = _moments(r0, r1, r2, place)
    drift, d_var = _moments(-r0 * k0, -r1 * k1, -r2 * k2, place)
    # A parabola through variances may dip below the least of them: then that one is taken.
    unit_variance = max(_moments(v0, v1, v2, place)[0], min(v0, v1, v2))
    w0, w1, w2 = v0 * k0 * k0, v1 * k1 * k1, v2 * k2 * k2
    drift_unit_variance = max(_moments(w0, w1, w2, place)[0], min(w0, w1, w2))
    least = q1 + step * ((q2 - q0) / (2.0 * half) + 0.5 * step * (q2 - 2.0 * q1 + q0) / (half * half))
    return Tail(
        remainder,
        math.sqrt(unit_variance * variance_mV2 + r_var),
        drift,
        math.sqrt(drift_unit_variance * variance_mV2 + d_var),
        math.exp(theta + step),
        min(sd, prior_sd),
        max(0.0, min(least, q0, q1, q2)),
        # End, remainder, and as much of τ as the data rather than the prior decide.
        max(0.0, blocks - 3.0 + min(1.0, (sd / prior_sd) ** 2)),
        search,
        found,
    )


def _moments(low: float, mid: float, high: float, place: tuple[float, float, float]) -> tuple[float, float]:
    """Mean and variance of the parabola through three values at −half, 0, half for x ~ N(step, sd²); place: half, step
    and sd."""
    half, step, sd = place
    curve = (high - 2.0 * mid + low) / (half * half)
    slope = (high - low) / (2.0 * half)
    variance = sd * sd
    mean = mid + slope * step + 0.5 * curve * (step * step + variance)
    slope += curve * step
    return mean, variance * (slope * slope + 0.5 * curve * curve * variance)
