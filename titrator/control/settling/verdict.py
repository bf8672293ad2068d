"""Judging a window of blocks: average, slope now, bound of the remainder, and whether that is good enough."""

import math
from typing import NamedTuple

from titrator.control.settling.blocks import BlockWindow
from titrator.control.settling.noise import Noise, Observed, measure_noise
from titrator.control.settling.settings import REMAINDER_OVER_NOISE, SettlingSettings
from titrator.control.settling.tail import (
    MOST_ATTEMPTS,
    Blocks,
    Search,
    Stated,
    Tail,
    find_tail,
    fit_tail,
    over_all_responses,
    prepare,
    residual_products,
)

QUANTILE = 3.2
"""Standard deviations between estimate and bound: 2.6 for 99 % of a normal distribution, both sides, and more because
the question is asked several times in a wait and the first favourable answer is taken."""

FEWEST_BLOCKS = 5
"""Blocks without which nothing is called settled."""

WINDOW_OVER_RESPONSE = 12.0
"""The window slides: blocks older than this many stated response times are forgotten."""

FASTEST_RESPONSE_S = 0.5
"""A faster electrode is treated like this one: within one block there is no tail to see."""

MIXING_SHARE = 0.1
"""Share of the change seen that mixing may still hide, per unit of exp(−t / mixing time)."""

SHARP_LN_RESPONSE = 0.15
"""A response known to this standard deviation of its logarithm is well described by a parabola."""

LAW_SHARE = 0.03
"""Share of a remainder by which the tail may err as a law: no electrode is quite of first order."""

MISFIT = 0.25
"""The oldest third is forgotten where the residuals' mean square without it is below this share of the whole's."""


class Verdict(NamedTuple):
    """What a look at the window says. excess: what must come down to 1; remaining_s: in about how long; sharp: 0 to 1,
    how well that time is known; the rest as in Settled."""

    potential_mV: float
    sd_mV: float
    drift_mV_per_s: float
    drift_sd_mV_per_s: float
    remainder_bound_mV: float
    lacking_mV: float
    lacking_sd_mV: float
    settled: bool
    excess: float
    remaining_s: float
    sharp: float
    response_s: float
    sd_ln_response: float


class Forecast(NamedTuple):
    """What serves instead of a settled reading: its end value known to `enough_mV` (None: nothing does).

    mixing_times: readings sooner than so many time constants of mixing are left out. response_s: what the electrode's
    response is taken to be, as the settlement before showed it.
    """

    enough_mV: float | None
    mixing_times: float
    response_s: float
    sd_ln_response: float


class Judge:
    """Looks at one settlement's window; keeps between looks what the next one starts from."""

    def __init__(self, settings: SettlingSettings, begin_s: float, forecast: Forecast) -> None:
        self._forecast = forecast
        self._settings = settings
        self._begin_s = begin_s
        self._response_s = max(forecast.response_s, FASTEST_RESPONSE_S)
        self._stated = Stated(math.log(self._response_s), forecast.sd_ln_response)
        self._stated_variance = settings.reading_noise_mV**2
        self._floor_variance = settings.least_variance_mV2
        self._start = Search(self._stated.ln_response, 0.0, forecast.sd_ln_response, ())
        self._slow_variance = 0.0
        self._excess_before = math.inf

    def still_runs_for_s(self, window: BlockWindow) -> float:
        """Cheap look at the newest two blocks: the time for which even the fastest tail believed in stays far from its
        end, s (0: worth a look)."""
        if self._forecast.enough_mV is not None:
            return 0.0
        step = window.t_s[-1] - window.t_s[-2] + 0.5 * window.width_s
        fastest = 0.5 * self._response_s
        least = abs(window.y_mV[-1] - window.y_mV[-2]) / math.expm1(min(step / fastest, 50.0))
        excess = 0.2 * least / (REMAINDER_OVER_NOISE * self._settings.reading_noise_mV)
        return fastest * math.log(excess) if excess > 1.0 else 0.0

    def look(self, window: BlockWindow, now_s: float, *, last: bool) -> Verdict | None:
        """Judge at now_s (at or after the newest reading); None with too few blocks unless it is the last look."""
        self._slide(window, now_s)
        if len(window) < FEWEST_BLOCKS and not last:
            return None
        attempts = 3 * MOST_ATTEMPTS if last else MOST_ATTEMPTS
        tail, noise = self._fit(window, now_s, attempts)
        for _ in range(3 if last else 1):
            if not (noise.correlated and self._drop_misfit(window, now_s, tail)):
                break
            tail, noise = self._fit(window, now_s, attempts)
        sd = tail.sd_ln_response if tail.found else max(tail.sd_ln_response, 0.5 * tail.search.half)
        self._start = Search(math.log(tail.response_s), 0.0, sd, ())
        quantile = QUANTILE * (1.0 + (QUANTILE**2 + 1.0) / (4.0 * noise.freedom))  # Student's t, first correction
        rounding = self._rounding_mV(noise)
        potential, sd, lag = average(window, now_s, tail, noise)
        bound = lag * (abs(tail.remainder_mV) + quantile * tail.remainder_sd_mV) + rounding
        limit = self._settings.drift_limit_mV_per_s
        if limit is None:
            noise_mV = max(noise.reading_sd_mV, 0.5 * self._settings.reading_noise_mV)
            excess = bound / (REMAINDER_OVER_NOISE * math.hypot(noise_mV, sd) + rounding)
        else:
            excess = (abs(tail.drift_mV_per_s) + quantile * tail.drift_sd_mV_per_s) / limit
        lacking_sd = lag * tail.remainder_sd_mV
        if self._forecast.enough_mV is not None:
            law = LAW_SHARE * lag * tail.remainder_mV
            # A moment at which noise makes the tail look short would be taken for its end: twice running, not once.
            now = (math.hypot(sd, lacking_sd, law) + rounding) / self._forecast.enough_mV
            excess = min(excess, max(now, self._excess_before))
            self._excess_before = now
        settled = excess <= 1.0 and tail.found and len(window) >= FEWEST_BLOCKS
        remaining, sharp = _remaining(max(excess, 1.0), now_s - window.t_s[0], tail)
        return Verdict(
            potential_mV=potential,
            sd_mV=sd,
            drift_mV_per_s=tail.drift_mV_per_s,
            drift_sd_mV_per_s=tail.drift_sd_mV_per_s,
            remainder_bound_mV=bound,
            lacking_mV=-lag * tail.remainder_mV,
            lacking_sd_mV=lacking_sd,
            settled=settled,
            excess=excess,
            remaining_s=remaining,
            sharp=sharp,
            response_s=tail.response_s,
            sd_ln_response=tail.sd_ln_response,
        )

    def _fit(self, window: BlockWindow, now_s: float, attempts: int) -> tuple[Tail, Noise]:
        blocks = prepare(window.t_s, window.y_mV, window.spread_s2, window.weights, now_s)
        if self._slow_variance == 0.0:
            self._slow_variance = self._fresh_variance(window)
        tail = find_tail(blocks, self._slow_variance, self._stated, self._start, attempts)
        noise = self._noise(window, blocks, tail)
        if not 0.6 < noise.slow_variance_mV2 / self._slow_variance < 1.6:
            tail = find_tail(blocks, noise.slow_variance_mV2, self._stated, tail.search, attempts)
        self._slow_variance = noise.slow_variance_mV2
        if self._forecast.enough_mV is not None and tail.sd_ln_response > SHARP_LN_RESPONSE:
            tail = over_all_responses(blocks, noise.slow_variance_mV2, self._stated, tail)
        return tail, noise

    def _fresh_variance(self, window: BlockWindow) -> float:
        if window.freedom == 0.0:
            return self._stated_variance
        return max(0.5 * window.squares / window.freedom, self._floor_variance)

    def _noise(self, window: BlockWindow, blocks: Blocks, tail: Tail) -> Noise:
        per_block = blocks.total_weight / len(window)
        span = window.t_s[-1] - window.t_s[0]
        seen = Observed(
            stated_variance_mV2=self._stated_variance,
            fresh_variance_mV2=self._fresh_variance(window),
            opposed=-window.products / window.squares if window.squares > 0.0 else 0.5,
            # (Sum of weights)² over sum of squared weights, for weights rising with the third power.
            differences=1.75 * window.freedom,
            interval_s=span / (blocks.total_weight - per_block) if span > 0.0 else 1.0,
            per_block=per_block,
            sum_of_squares_mV2=tail.sum_of_squares,
            freedom=tail.degrees_of_freedom,
        )
        return measure_noise(seen, lambda: residual_products(blocks, tail.response_s))

    def _rounding_mV(self, noise: Noise) -> float:
        """What rounding to the converter's step may hide of an average: half a step without noise, next to nothing
        where noise spreads readings over steps (first harmonic of the rounding error, exp(−2π² variance / step²))."""
        step = self._settings.resolution_mV
        if step == 0.0:
            return 0.0
        ratio = max(noise.reading_sd_mV**2 / step**2 - 1.0 / 12.0, 0.0)
        return 0.5 * step * math.exp(-2.0 * math.pi**2 * ratio)

    def _slide(self, window: BlockWindow, now_s: float) -> None:
        """Forget blocks too old to matter and readings during which mixing may hide more than the noise of a block."""
        times = window.t_s
        until = now_s - WINDOW_OVER_RESPONSE * self._response_s
        mixing = self._settings.mixing_s
        if mixing > 0.0:
            hidden = MIXING_SHARE * abs(window.y_mV[0] - window.y_mV[-1])
            over_noise = hidden / math.sqrt(self._stated_variance / window.weights[0])
            until = max(
                until, self._begin_s + mixing * max(2.0, math.log(max(over_noise, 1.0)), self._forecast.mixing_times)
            )
        count = 0
        while count < len(times) - 1 and times[count] < until:
            count += 1
        window.drop_oldest(count)

    def _drop_misfit(self, window: BlockWindow, now_s: float, tail: Tail) -> bool:
        """Forget the oldest third where the rest fits the tail much better (mixing, a late jump, a response that
        changed); True where that was done."""
        count = len(window) // 3
        if len(window) < 9:
            return False
        rest = prepare(window.t_s[count:], window.y_mV[count:], window.spread_s2[count:], window.weights[count:], now_s)
        kept = fit_tail(rest, tail.response_s, 0.0).sum_of_squares / (len(window) - count - 2.5)
        if kept > MISFIT * tail.sum_of_squares / max(tail.degrees_of_freedom, 1.0):
            return False
        window.drop_oldest(count)
        return True


def average(window: BlockWindow, now_s: float, tail: Tail, noise: Noise) -> tuple[float, float, float]:
    """Average of the newest blocks (mV), its sd (mV), and its remainder over the remainder now: as many blocks, up to
    some 40 readings, as keep the lag so added below a third of the average's own sd."""
    n = total = shape = 0.0
    best = (0.0, math.inf, 1.0)
    for k in range(len(window) - 1, -1, -1):
        weight = window.weights[k]
        n += weight
        total += weight * window.y_mV[k]
        shape += weight * math.exp((now_s - window.t_s[k]) / tail.response_s)
        sd = math.sqrt(min(noise.slow_variance_mV2 / n, noise.reading_sd_mV**2))
        lag = shape / n
        if best[1] < math.inf and (lag - 1.0) * abs(tail.remainder_mV) > 0.33 * sd:
            break
        best = (total / n, sd, lag)
        if n > 40.0:
            break
    return best


def _remaining(excess: float, age_s: float, tail: Tail) -> tuple[float, float]:
    """About how long until excess is 1, s, and how well that is known (0 to 1): a remainder well seen decays with the
    response; the error of one not seen falls with the window's length to the power 3/2, as that of a slope does."""
    decay = tail.response_s * math.log(excess)
    gather = age_s * (excess ** (2.0 / 3.0) - 1.0)
    seen = abs(tail.remainder_mV) / tail.remainder_sd_mV
    share = min(1.0, seen / 3.0)
    return share * decay + (1.0 - share) * min(gather, decay + 10.0), min(1.0, 0.1 * seen)
