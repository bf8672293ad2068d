"""The settling detector: readings in, a logged reading out once its remainder is bounded well enough."""

import math

from titrator.control.settling.blocks import BLOCK_S, BlockWindow
from titrator.control.settling.settings import Enough, Settled, SettlingSettings
from titrator.control.settling.tail import SD_LN_RESPONSE
from titrator.control.settling.verdict import FEWEST_BLOCKS, Forecast, Judge

SD_LN_ALIKE = 0.2
"""Standard deviation of ln τ from one reading close about a jump to the next (simulated electrodes: a tenth)."""
HIGHEST_MV = 1.0e7
"""Potentials beyond ±10 kV are no readings."""


class SettlingDetector:
    """One detector serves one titration: `begin` at the end of each addition, `add` for each reading.

    Bounded memory, no clock, no randomness: the same readings give the same answer. docs/settling.md has the theory.
    outliers: lone readings left out since begin. remaining_s: about how long it may still take, as of the last look at
    the window (None before the first look and after logging).
    """

    def __init__(self, settings: SettlingSettings) -> None:
        self.settings = settings
        self._began = False
        self._last_response_s = settings.response_s
        self._last_sd_ln = SD_LN_RESPONSE
        self._last_t = math.inf
        self._last_y = self._last_d = self._first_y = 0.0
        self._gate2 = self._widest2 = -1.0
        self._reset(0.0)

    # -------------------------------------------------------------------------------------- readings
    def begin(self, t_s: float, enough: Enough | None = None) -> None:
        """Start a settlement: readings before t_s are forgotten and none may precede it; the wait counts from it.

        enough: what is logged as soon as it is known, settled or not; None: settled readings only.
        Raises ValueError for a time that is not finite or lies before the last reading.
        """
        if not -math.inf < t_s < math.inf or (self._began and t_s < self._last_t):
            raise ValueError(f"settling: expected begin at a finite time not before {self._last_t} s, got {t_s!r} s")
        self._began = True
        self._last_t = math.nextafter(t_s, -math.inf)  # a reading at this very moment counts
        self._reset(t_s, enough)

    def add(self, t_s: float, potential_mV: float) -> Settled | None:
        """One reading; returns the logged reading once there is one (None before, and after it until `begin`).

        Raises ValueError for a reading before `begin`, a time not after the last one, a potential that is no number.
        """
        if not t_s > self._last_t:
            self._refuse_time(t_s)
        d = potential_mV - self._last_y
        if not d * d <= self._gate2:  # also the first reading, any reading while one is held, and NaN
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
        """The unsettled reading once the longest wait is over, though no reading came.

        None before that time, after a reading was logged, and where there is no reading at all to log.
        """
        if self._over or not self._began or t_s < self._longest_t:
            return None
        if self._held is not None:
            self._take_held()
        if self._n:
            self._store_block()
        if not len(self._window):
            return None
        return self._look(t_s, last=True)

    def _reset(self, t_s: float, enough: Enough | None = None) -> None:
        settings = self.settings
        self._begin_t = t_s
        self._longest_t = t_s + settings.longest_s
        self._check_t = t_s + settings.least_wait_s
        self._block_end = min(t_s + BLOCK_S, self._longest_t)
        self._window = BlockWindow()
        self._enough = enough
        self._judge = Judge(settings, t_s, self._forecast(enough))
        self._readings = self.outliers = 0
        self._last_y = self._last_d = 0.0
        self._first = True
        self._over = False
        self._held: tuple[float, float] | None = None
        self._gate2 = -1.0  # lets no reading pass unseen: the first has no reading before it
        self._widest2 = (16.0 * settings.reading_noise_mV + settings.resolution_mV) ** 2
        self._clear_block()
        self.remaining_s: float | None = None

    def _forecast(self, enough: Enough | None) -> Forecast:
        """What is told of the response, stated or seen in the settlement before."""
        response_s, sd = self.settings.response_s, SD_LN_RESPONSE
        if enough is None:
            return Forecast(None, 0.0, response_s, sd)
        if enough.alike:
            response_s, sd = self._last_response_s, min(math.hypot(SD_LN_ALIKE, self._last_sd_ln), sd)
        return Forecast(enough.error_mV, enough.mixing_times, response_s, sd)

    def _refuse_time(self, t_s: float) -> None:
        if not self._began:
            raise ValueError("settling: expected begin() before the first reading, got a reading; call begin() first")
        raise ValueError(
            f"settling: expected a time after {self._last_t} s, got {t_s!r} s; pass readings in order of time"
        )

    # -------------------------------------------------------------------------------------- outliers
    def _plausible(self, t_s: float, potential_mV: float) -> bool:
        """Hold a reading far from the one before until the next tells a lone outlier from a moving potential."""
        if not (-HIGHEST_MV < potential_mV < HIGHEST_MV and t_s < math.inf):
            raise ValueError(
                f"settling: expected a finite time and a potential within ±{HIGHEST_MV:g} mV,"
                f" got {potential_mV!r} mV at {t_s!r} s"
            )
        if self._first:
            self._first = False
            self._gate2 = self._widest2
            self._last_y = self._first_y = potential_mV
            return True
        away = potential_mV - self._last_y
        if self._held is not None:
            held = self._held[1] - self._last_y
            if held * away > 0.0 and away * away > 0.25 * self._widest2:
                self._take_held()
                return True
            self._held = None
            self._gate2 = self._widest2
            self.outliers += 1
            if away * away <= self._widest2:
                return True
        self._held = (t_s, potential_mV)
        self._gate2 = -1.0
        self._last_t = t_s
        return False

    def _take_held(self) -> None:
        """The held reading was none the less one: count it."""
        assert self._held is not None
        t_s, potential_mV = self._held
        self._held = None
        self._gate2 = self._widest2
        d = potential_mV - self._last_y
        self._last_y = potential_mV
        self._n += 1
        self._sum_t += t_s
        self._sum_y += potential_mV
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
        window = self._window
        mean_t = self._sum_t / n
        spread = 0.0
        if n > 1:
            slope = (self._last_y - self._first_y) / n
            trend = n * slope * slope
            squares = max(self._squares - trend, 0.0)
            # Removing the block's own slope costs 1/n of a difference and adds 2/n of a product (white noise).
            freedom = n - 1.0 / n
            window.note_differences(squares, (self._products - trend) * freedom / (n + 2.0 / n), freedom)
            noise = math.sqrt(window.squares / window.freedom + 2.0 * self.settings.least_variance_mV2)
            self._widest2 = (6.0 * noise + abs(slope) + self.settings.resolution_mV) ** 2
            if self._held is None:
                self._gate2 = self._widest2
            half_span = self._last_t - mean_t
            spread = half_span * half_span * (n + 1.0) / (6.0 * (n - 1.0))  # readings evenly spaced
        window.append(mean_t, self._sum_y / n, spread, float(n))
        self._readings += n
        self._clear_block()

    def _close_block(self, t_s: float) -> Settled | None:
        if self._over:
            self._clear_block()
        else:
            self._store_block()
        width = self._window.width_s
        self._block_end += width
        if self._block_end <= t_s:
            self._block_end = t_s + width
        if t_s < self._longest_t < self._block_end:
            self._block_end = self._longest_t
        if t_s >= self._longest_t:
            return self.expire(t_s)
        if t_s < self._check_t or len(self._window) < FEWEST_BLOCKS or self._over:
            return None
        runs_s = self._judge.still_runs_for_s(self._window)
        if runs_s > 0.0:
            self._check_t = t_s + runs_s
            return None
        return self._look(t_s, last=False)

    def _look(self, t_s: float, *, last: bool) -> Settled | None:
        # Judged at the newest reading: if none came since, the remainder can only have become smaller.
        verdict = self._judge.look(self._window, self._last_t, last=last)
        if verdict is None:
            return None
        if not verdict.settled and not last:
            self.remaining_s = min(verdict.remaining_s, self._longest_t - t_s)
            sooner = (0.6 + 0.2 * verdict.sharp) * verdict.remaining_s
            if self._enough is not None:
                sooner = min(sooner, BLOCK_S)
            self._check_t = t_s + sooner - 0.5 * self._window.width_s
            return None
        self._over = True
        self.remaining_s = None
        self._last_response_s = verdict.response_s
        self._last_sd_ln = verdict.sd_ln_response
        return Settled(
            potential_mV=verdict.potential_mV,
            sd_mV=verdict.sd_mV,
            drift_mV_per_s=verdict.drift_mV_per_s,
            drift_sd_mV_per_s=verdict.drift_sd_mV_per_s,
            remainder_bound_mV=verdict.remainder_bound_mV,
            lacking_mV=verdict.lacking_mV,
            lacking_sd_mV=verdict.lacking_sd_mV,
            settled=verdict.settled and not last,
            waited_s=t_s - self._begin_t,
            readings=self._readings,
        )
