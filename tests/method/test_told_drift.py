"""The smallest drift that can be told from noise, against the settling detector and against a sum over readings."""

import math
import random
import statistics

import pytest

from titrator.control.settling import SettlingDetector, SettlingSettings
from titrator.control.settling.settings import Settled
from titrator.control.settling.tail import SD_LN_RESPONSE
from titrator.control.settling.verdict import FASTEST_RESPONSE_S, QUANTILE, WINDOW_OVER_RESPONSE
from titrator.method import told_drift
from titrator.method.told_drift import least_told_drift_mV_per_s

NOISE_mV = 0.25
CASES = [(5.0, 30.0, 10), (5.0, 20.0, 100), (12.0, 30.0, 10), (30.0, 40.0, 10), (2.0, 10.0, 100), (100.0, 110.0, 10)]


def at_rest(response_s: float, longest_s: float, rate: int, limit: float, seed: int) -> Settled:
    """What the detector says of a potential at rest, with white noise from the seed."""
    noise = random.Random(f"{seed}/noise")
    detector = SettlingDetector(
        SettlingSettings(
            noise_mV=NOISE_mV, response_s=response_s, longest_s=longest_s, drift_limit_mV_per_s=limit, least_s=3.0
        )
    )
    detector.begin(0.0)
    for index in range(1, 10**6):
        t_s = index / rate
        settled = detector.add(t_s, 400.0 + noise.gauss(0.0, NOISE_mV)) or detector.expire(t_s)
        if settled is not None:
            return settled
    raise AssertionError("the detector never ended")


def least(response_s: float, longest_s: float, rate: float) -> float:
    return least_told_drift_mV_per_s(
        noise_mV=NOISE_mV,
        response_s=response_s,
        mixing_s=0.0,
        longest_wait_s=longest_s,
        readings_per_second=rate,
    )


def test_the_figures_are_the_detectors() -> None:
    assert (told_drift.SD_LN_RESPONSE, told_drift.QUANTILE) == (SD_LN_RESPONSE, QUANTILE)
    assert told_drift.WINDOW_OVER_RESPONSE == WINDOW_OVER_RESPONSE
    assert told_drift.FASTEST_RESPONSE_S == FASTEST_RESPONSE_S


@pytest.mark.parametrize(("response_s", "longest_s", "rate"), CASES)
def test_the_detectors_own_standard_error_is_near_and_no_smaller(
    response_s: float, longest_s: float, rate: int
) -> None:
    """It averages to blocks and measures the noise, so it knows a little less than the formula allows: 1.7 times."""
    errors = [at_rest(response_s, longest_s, rate, 1e-12, seed).drift_sd_mV_per_s for seed in range(15)]
    assert 1.0 <= QUANTILE * statistics.median(errors) / least(response_s, longest_s, rate) <= 1.7


@pytest.mark.parametrize(("response_s", "longest_s", "rate"), CASES)
def test_such_a_limit_is_never_met_and_one_three_times_as_large_mostly_is(
    response_s: float, longest_s: float, rate: int
) -> None:
    limit = least(response_s, longest_s, rate)
    assert not any(at_rest(response_s, longest_s, rate, limit, seed).settled for seed in range(15))
    assert sum(at_rest(response_s, longest_s, rate, 3.0 * limit, seed).settled for seed in range(15)) >= 8


def test_the_integrals_are_the_sums_over_readings() -> None:
    """Least squares for a straight line in exp(age/τ), summed over the readings (a textbook's variance of a slope)."""
    rate, window_s = 200, 24.0
    squares = []
    for sign in (1, -1):
        tau_s = 5.0 * math.exp(sign * 0.5)
        shape = [math.exp((index + 0.5) / rate / tau_s) for index in range(round(window_s * rate))]
        mean = math.fsum(shape) / len(shape)
        squares.append(1 / math.fsum((value - mean) ** 2 for value in shape) / tau_s**2)
    by_sums = 3.2 * NOISE_mV * math.sqrt(sum(squares) / 2)
    by_formula = least_told_drift_mV_per_s(
        noise_mV=NOISE_mV, response_s=5.0, mixing_s=3.0, longest_wait_s=30.0, readings_per_second=rate
    )  # 30 s less twice the mixing: 24 s
    assert by_formula == pytest.approx(by_sums, rel=1e-3)
