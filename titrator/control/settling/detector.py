"""The settling detector: readings in, a logged reading out once its remainder is bounded well enough."""

import math

from titrator.control.settling.blocks import BLOCK_S, BlockWindow
from titrator.control.settling.noise import Noise, Observed, measure_noise
from titrator.control.settling.settings import REMAINDER_OVER_NOISE, Settled, SettlingSettings
from titrator.control.settling.tail import SD_LN_RESPONSE, Blocks, Search, Tail, find_tail, fit_tail, prepare, residual_products

QUANTILE = 3.0
"""Standard deviations for 99 % of a normal distribution, both sides."""

FEWEST_BLOCKS = 5
"""Blocks without which nothing but the longest wait logs a reading."""

HIGHEST_MV = 1.0e7
"""Potentials beyond ±10 kV are no readings."""


class SettlingDetector:
    """One detector serves one titration: `begin` at the end of each addition, `add` for each reading.

    Bounded memory, no clock, no randomness: the same readings give the same answer. docs/settling.md has the theory.
    """

    def __init__(self, settings: SettlingSettings) -> None:
        self.settings = settings
        self._stated_variance = settings.reading_noise_mV**2
        self._stated_ln_response = math.log(settings.response_s)
        self._floor_variance = max(settings.resolution_mV**2 / 12.0, 1.0e-4 * self._stated_variance)
        self._last_t = -math.inf
        self._began = False
        self.begin(0.0)
        self._began = False
        self._last_t = -math.inf

    # -------------------------------------------------------------------------------------- readings
    def begin(self, t_s: float) -> None:
        """Forget the readings of the addition before; the wait is counted from t_s, which no reading may precede."""
        if not -math.inf < t_s < math.inf or t_s < self._last_t:
            raise ValueError(f"settling: expected a begin at or after {self._last_t:g} s, got {t_s!r} s")
        self._began = True
        self._t0 = t_s
        self._last_t = math.nextafter(t_s, -math.inf)  # a reading at this very moment counts
        self._longest_t = t_s + self.settings.longest_s
        self._window = BlockWindow()
        self._readings = 0
        self.outliers = 0
        self._last_y = self._first_y = self._last_d = 0.0
        self._first = True
        self._held: tuple[float, float] | None = None
        self._jump2 = -1.0
        self._widest2 = (16.0 * self.settings.reading_noise_mV + self.settings.resolution_mV) ** 2
        self._clear_block()
        self._block_end = min(t_s + BLOCK_S, self._longest_t)
        self._check_t = t_s + self.settings.least_wait_s
        self._start = Search(self._stated_ln_response, 0.0, SD_LN_RESPONSE, ())
        self._slow_variance = 0.0
        self._over = False
        self.remaining_s: float | None = None

    def add(self, t_s: float, potential_mV: float) -> Settled | None:
        """One reading; the logged reading once there is one (then None until `begin`)."""
        if not t_s > self._last_t:
            self._refuse_time(t_s)
        d = potential_mV - self._last_y
        if not d * d <= self._jump2:  # also the first reading, any reading while one is held, and NaN
            if not self._plausible(t_s, potential_mV):
                return self.expire(t_s)
            d = potential_mV - self._last_y
        self._last_t = t_s
        self._last_y = potential_mV
        self._n += 1
        self._sum_t += t_s
        self._sum_y += potential_mV
        self._squares += d * d
        self._products += d * self._last_d
        self._last_d = d
        if t_s < self._block_end:
            return None
        return self._close_block(t_s)

    def expire(self, t_s: float) -> Settled | None:
        """The unsettled reading once the longest wait is over, though no reading came; None before, or without any."""
        if self._over or not self._began or t_s < self._longest_t:
            return None
        if self._held is not None:
            self._take_held()
        self._store_block()
        if not len(self._window):
            return None
        return self._evaluate(max(t_s, self._last_t), last=True)

    def _refuse_time(self, t_s: float) -> None:
        if not self._began:
            raise ValueError("settling: expected begin() before the first reading")
        raise ValueError(f"settling: expected a time after {self._last_t} s, got {t_s!r} s")

    # -------------------------------------------------------------------------------------- outliers
    def _plausible(self, t_s: float, y: float) -> bool:
        """Hold a reading far from the one before until the next tells a lone outlier from a moving potential."""
        if not -HIGHEST_MV < y < HIGHEST_MV:
            raise ValueError(f"settling: expected a potential within ±{HIGHEST_MV:g} mV at {t_s} s, got {y!r}")
        if t_s == math.inf:
            raise ValueError(f"settling: expected a finite time, got {t_s!r} s")
        if self._first:
            self._first = False
            self._jump2 = self._widest2
            self._last_y = self._first_y = y
            return True
        away = y - self._last_y
        if self._held is not None:
            held = self._held[1] - self._last_y
            if held * away > 0.0 and away * away > 0.25 * self._widest2:
                self._take_held()
                return True
            self._held = None
            self._jump2 = self._widest2
            self.outliers += 1
            if away * away <= self._widest2:
                return True
        self._held = (t_s, y)
        self._jump2 = -1.0
        self._last_t = t_s
        return False

    def _take_held(self) -> None:
        """The held reading was none the less one: count it."""
        assert self._held is not None
        t_s, y = self._held
        self._held = None
        self._jump2 = self._widest2
        d = y - self._last_y
        self._last_y = y
        self._n += 1
        self._sum_t += t_s
        self._sum_y += y
        self._squares += d * d
        self._products += d * self._last_d
        self._last_d = d

    # -------------------------------------------------------------------------------------- blocks
    def _clear_block(self) -> None:
        self._n = 0
        self._sum_t = self._sum_y = self._squares = self._products = 0.0
        self._first_y = self._last_y

    def _store_block(self) -> None:
        n = self._n
        if not n:
            return
        slope = (self._last_y - self._first_y) / n
        trend = n * slope * slope
        squares = self._squares - trend
        # Removing the block's own slope costs 1/n of a difference and adds 2/n of a product (white noise).
        freedom = n - 1.0 / n
        window = self._window
        mean_t = self._sum_t / n
        spread = 0.0
        if n > 1:
            window.note_differences(squares, (self._products - trend) * freedom / (n + 2.0 / n), freedom)
            noise = math.sqrt(max(squares, 0.0) / freedom + 2.0 * self._floor_variance)
            self._widest2 = (6.0 * noise + abs(slope) + self.settings.resolution_mV) ** 2
            if self._held is None:
                self._jump2 = self._widest2
            half_span = self._last_t - mean_t
            spread = half_span * half_span * (n + 1.0) / (6.0 * (n - 1.0))  # readings evenly spaced
        window.append(mean_t, self._sum_y / n, spread, float(n))
        self._readings += n
        self._clear_block()

    def _close_block(self, t_s: float) -> Settled | None:
        self._store_block()
        self._block_end += self._window.width_s
        if self._block_end <= t_s:
            self._block_end = t_s + self._window.width_s
        if t_s < self._longest_t < self._block_end:
            self._block_end = self._longest_t
        if t_s >= self._longest_t:
            return self.expire(t_s)
        if t_s < self._check_t or len(self._window) < FEWEST_BLOCKS or self._over:
            return None
        if self._still_runs(t_s):
            return None
        return self._evaluate(t_s, last=False)

    def _still_runs(self, now_s: float) -> bool:
        """Cheap look: even the fastest tail believed in would be far from its end after the newest blocks' change."""
        w = self._window
        step = w.t_s[-1] - w.t_s[-2]
        fastest = 0.5 * self.settings.response_s
        least = abs(w.y_mV[-1] - w.y_mV[-2]) / math.expm1(min((step + 0.5 * w.width_s) / fastest, 50.0))
        excess = 0.2 * least / (REMAINDER_OVER_NOISE * self.settings.reading_noise_mV)
        if excess <= 1.0:
            return False
        self._check_t = now_s + fastest * math.log(excess)
        return True

    # -------------------------------------------------------------------------------------- decision
    def _evaluate(self, now_s: float, *, last: bool) -> Settled | None:
        self._drop_mixing()
        w = self._window
        if len(w) < FEWEST_BLOCKS and not last:
            return None
        tail, noise = self._fit(now_s)
        if self._drop_misfit(now_s, tail, noise):
            tail, noise = self._fit(now_s)
        self._start = Search(math.log(tail.response_s), 0.0, tail.sd_ln_response, ())
        quantile = QUANTILE * (1.0 + (QUANTILE**2 + 1.0) / (4.0 * noise.freedom))
        potential, sd, lag = self._average(now_s, tail, noise)
        bound = lag * (abs(tail.remainder_mV) + quantile * tail.remainder_sd_mV)
        limit = self.settings.drift_limit_mV_per_s
        if limit is None:
            excess = bound / (REMAINDER_OVER_NOISE * math.hypot(noise.reading_sd_mV, sd))
        else:
            excess = (abs(tail.drift_mV_per_s) + quantile * tail.drift_sd_mV_per_s) / limit
        settled = excess <= 1.0 and tail.found
        if not settled and not last:
            self._plan(now_s, max(excess, 1.0), tail)
            return None
        self._over = True
        self.remaining_s = None
        return Settled(
            potential, sd, tail.drift_mV_per_s, tail.drift_sd_mV_per_s, bound, settled and not last,
            now_s - self._t0, self._readings,
        )

    def _fit(self, now_s: float) -> tuple[Tail, Noise]:
        w = self._window
        blocks = prepare(w.t_s, w.y_mV, w.spread_s2, w.weights, now_s)
        if self._slow_variance == 0.0:
            self._slow_variance = max(0.5 * w.squares / w.freedom, self._floor_variance) if w.freedom > 0.0 else self._stated_variance
        tail = find_tail(blocks, self._slow_variance, self._stated_ln_response, self._start)
        noise = self._noise(blocks, tail)
        if not 0.6 < noise.slow_variance_mV2 / self._slow_variance < 1.6:
            tail = find_tail(blocks, noise.slow_variance_mV2, self._stated_ln_response, tail.search)
        self._slow_variance = noise.slow_variance_mV2
        return tail, noise

    def _noise(self, blocks: Blocks, tail: Tail) -> Noise:
        w = self._window
        floor = self._floor_variance
        fresh = max(0.5 * w.squares / w.freedom, floor) if w.freedom > 0.0 else self._stated_variance
        opposed = -w.products / w.squares if w.squares > 0.0 else 0.5
        count = sum(w.weights)
        per_block = count / len(w)
        span = w.t_s[-1] - w.t_s[0]
        interval = span / (count - per_block) if span > 0.0 else 1.0
        return measure_noise(
            Observed(
                self._stated_variance,
                fresh,
                opposed,
                1.75 * w.freedom,  # (sum of weights)² / sum of squared weights for weights rising with the third power
                interval,
                per_block,
                tail.sum_of_squares,
                tail.degrees_of_freedom,
            ),
            lambda: residual_products(blocks, tail.response_s),
        )

    def _drop_mixing(self) -> None:
        """Forget readings during which mixing may still hide more than the noise of a block."""
        mixing = self.settings.mixing_s
        w = self._window
        if mixing == 0.0 or len(w) <= 1:
            return
        rest = 0.1 * abs(w.y_mV[0] - w.y_mV[-1]) / math.sqrt(self._stated_variance / w.weights[0])
        until = self._t0 + mixing * max(1.5, math.log(max(rest, 1.0)))
        count = 0
        while count < len(w) - 1 and w.t_s[count] < until:
            count += 1
        w.drop_oldest(count)

    def _drop_misfit(self, now_s: float, tail: Tail, noise: Noise) -> bool:
        """Forget the oldest third where the rest fits a tail much better; True where that was done."""
        w = self._window
        count = len(w) // 3
        if not noise.correlated or len(w) < 9:
            return False
        fit = fit_tail(
            prepare(w.t_s[count:], w.y_mV[count:], w.spread_s2[count:], w.weights[count:], now_s), tail.response_s, 0.0
        )
        rest = fit.sum_of_squares / (len(w) - count - 2.5)
        if rest > 0.4 * tail.sum_of_squares / max(tail.degrees_of_freedom, 1.0):
            return False
        w.drop_oldest(count)
        return True

    def _plan(self, now_s: float, excess: float, tail: Tail) -> None:
        """When to look again: at half the time in which the remainder or its error may be expected to be small enough."""
        decay = tail.response_s * math.log(excess)
        gather = (now_s - self._window.t_s[0]) * (excess ** (2.0 / 3.0) - 1.0)
        share = min(1.0, abs(tail.remainder_mV) / (3.0 * tail.remainder_sd_mV))
        wait = share * decay + (1.0 - share) * min(gather, decay + 10.0)
        self.remaining_s = min(wait, self._longest_t - now_s)
        sharpness = min(1.0, abs(tail.remainder_mV) / (10.0 * tail.remainder_sd_mV))
        self._check_t = now_s + (0.6 + 0.2 * sharpness) * wait - 0.5 * self._window.width_s

    def _average(self, now_s: float, tail: Tail, noise: Noise) -> tuple[float, float, float]:
        """Average of the newest blocks, its sd, and its remainder over the remainder now: as many blocks as keep the
        lag so added below a third of the average's own sd."""
        w = self._window
        n = y = e = 0.0
        best = (0.0, math.inf, 1.0)
        for k in range(len(w) - 1, -1, -1):
            n += w.weights[k]
            y += w.weights[k] * w.y_mV[k]
            e += w.weights[k] * math.exp((now_s - w.t_s[k]) / tail.response_s)
            sd = math.sqrt(min(noise.slow_variance_mV2 / n, noise.reading_sd_mV**2))
            lag = e / n
            if best[1] < math.inf and (lag - 1.0) * abs(tail.remainder_mV) > 0.33 * sd:
                break
            best = (y / n, sd, lag)
            if n > 40:
                break
        return best

