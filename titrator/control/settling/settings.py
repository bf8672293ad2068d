"""What the settling detector is told beforehand, and what it states about a logged reading."""

import math
from dataclasses import dataclass
from typing import NamedTuple

LEAST_S = 3.0
"""Nothing is logged sooner, s: six blocks, the fewest from which slope, curvature and noise can be told apart."""

REMAINDER_OVER_NOISE = 1.4
"""A reading is settled once its remainder is bounded by this many times the noise of one reading (docs/settling.md)."""


@dataclass(frozen=True)
class SettlingSettings:
    """What is known before the first reading; noise and response may be wrong by a factor of two.

    noise_mV: standard deviation of one reading. resolution_mV: step of the converter. response_s: first-order time
    constant of the electrode. mixing_s: first-order time constant of mixing (0: none). least_s, longest_s: limits of
    the wait, s; least_s None means max(3 s, 2 mixing_s). drift_limit_mV_per_s: None means derived (docs/settling.md).
    """

    noise_mV: float
    resolution_mV: float = 0.0
    response_s: float = 5.0
    mixing_s: float = 0.0
    least_s: float | None = None
    longest_s: float = 120.0
    drift_limit_mV_per_s: float | None = None

    def __post_init__(self) -> None:
        for name, lowest in (("noise_mV", 0.0), ("resolution_mV", 0.0), ("mixing_s", 0.0)):
            value = getattr(self, name)
            if not lowest <= value < math.inf:
                raise ValueError(f"{name}: expected a number of at least {lowest:g}, got {value!r}")
        for name in ("response_s", "longest_s", "drift_limit_mV_per_s"):
            value = getattr(self, name)
            if value is not None and not 0.0 < value < math.inf:
                raise ValueError(f"{name}: expected a number above 0, got {value!r}")
        if self.noise_mV == 0.0 and self.resolution_mV == 0.0:
            raise ValueError("noise_mV and resolution_mV: expected at least one above 0, got 0 for both")
        if not 0.0 <= self.least_wait_s <= self.longest_s:
            raise ValueError(
                f"least_s: expected 0 to longest_s = {self.longest_s:g} s, got {self.least_wait_s:g} s"
                " (without a value it is max(3 s, 2 mixing_s)); lower it or lengthen longest_s"
            )

    @property
    def least_wait_s(self) -> float:
        """The least time between begin and logging, s."""
        return max(LEAST_S, 2.0 * self.mixing_s) if self.least_s is None else self.least_s

    @property
    def reading_noise_mV(self) -> float:
        """Stated noise of one reading with the rounding of the converter (step / √12, rectangular), mV."""
        return math.sqrt(self.noise_mV**2 + self.resolution_mV**2 / 12.0)

    @property
    def least_variance_mV2(self) -> float:
        """Variance that is always allowed to a reading, mV²: that of rounding, or of a tenth of the noise stated."""
        return max(self.resolution_mV**2 / 12.0, 0.01 * self.noise_mV**2)

    @property
    def nominal_drift_limit_mV_per_s(self) -> float:
        """The drift limit, mV/s; the derived one is for the stated noise and response: 1.4 noise / response."""
        if self.drift_limit_mV_per_s is not None:
            return self.drift_limit_mV_per_s
        return REMAINDER_OVER_NOISE * self.reading_noise_mV / self.response_s


class Enough(NamedTuple):
    """What serves instead of a settled reading: one whose end value is known to `error_mV` (standard deviation).

    mixing_times: readings sooner than so many time constants of mixing are left out of such a forecast. alike: the
    electrode answers about as fast as in the settlement before.
    """

    error_mV: float
    mixing_times: float = 0.0
    alike: bool = False


class Settled(NamedTuple):
    """A logged reading. The potential is an average of real readings, not an extrapolation.

    potential_mV, sd_mV: average of the last readings and its standard deviation from noise (never 0).
    drift_mV_per_s, drift_sd_mV_per_s: slope at the moment of logging and its standard deviation.
    remainder_bound_mV: the potential's distance from its end value is below this (99 %), noise of the average apart.
    lacking_mV, lacking_sd_mV: end value minus the potential by the tail fitted, and its standard deviation; what an
    evaluation may add to a reading that was not worth a longer wait.
    settled: False where the longest wait ended it. waited_s: since begin. readings: how many were used since begin.
    """

    potential_mV: float
    sd_mV: float
    drift_mV_per_s: float
    drift_sd_mV_per_s: float
    remainder_bound_mV: float
    lacking_mV: float
    lacking_sd_mV: float
    settled: bool
    waited_s: float
    readings: int
