"""Readings that are forecast instead of waited for: are they as good as they say, and when are they logged?"""

import math

import numpy as np
import pytest

from titrator.control.passing import PassingReadings
from titrator.control.settling import Enough, SettlingDetector, SettlingSettings

NOISE_mV, MIXING_s = 0.25, 1.5
SETTINGS = SettlingSettings(noise_mV=NOISE_mV, resolution_mV=0.1, response_s=5.0, mixing_s=MIXING_s, longest_s=120.0)


def settlement(rng, response_s, step_mV, enough):
    """(what was logged, its end value): mixing and electrode of first order, ten readings a second, rounded to 0.1."""
    detector = SettlingDetector(SETTINGS)
    detector.begin(0.0, enough)
    for k in range(1, 2000):
        t = 0.1 * k
        behind = (response_s * math.exp(-t / response_s) - MIXING_s * math.exp(-t / MIXING_s)) / (response_s - MIXING_s)
        settled = detector.add(t, round((500.0 - step_mV * behind + rng.normal(0.0, NOISE_mV)) * 10.0) / 10.0)
        if settled is not None:
            return settled, 500.0
    raise AssertionError("nothing was logged in 200 s")


@pytest.mark.parametrize(("response_s", "step_mV"), [(2.6, 20.0), (5.0, 30.0), (9.0, 40.0), (12.0, 25.0)])
def test_errors_are_as_large_as_stated(response_s, step_mV):
    """Two hundred settlements each; twice as large would be no forecast any more."""
    rng = np.random.default_rng(11)
    times, waits = [], []
    for _ in range(200):
        logged, end_mV = settlement(rng, response_s, step_mV, Enough(1.0, 4.0))
        sd = math.hypot(logged.sd_mV, logged.lacking_sd_mV, 0.03 * logged.lacking_mV)
        assert sd < 1.05
        times.append((end_mV - logged.potential_mV - logged.lacking_mV) / sd)
        waits.append(logged.waited_s)
    assert math.sqrt(np.mean(np.square(times))) < 1.5
    whole = [settlement(rng, response_s, step_mV, None)[0].waited_s for _ in range(30)]
    assert np.median(waits) < 0.75 * np.median(whole)


def test_without_enough_nothing_is_forecast():
    rng = np.random.default_rng(12)
    logged, _ = settlement(rng, 5.0, 30.0, None)
    assert logged.settled
    assert logged.remainder_bound_mV < 2.0 * NOISE_mV


def test_readings_before_mixing_is_over_are_left_out():
    """The more time constants of mixing are left out, the later the reading."""
    early = settlement(np.random.default_rng(13), 2.6, 30.0, Enough(5.0, 0.0))[0]
    late = settlement(np.random.default_rng(13), 2.6, 30.0, Enough(5.0, 8.0))[0]
    assert early.waited_s < 8.0 * MIXING_s < late.waited_s


def test_passing_readings_stand_where_they_were_read():
    """A straight line in time: the mean, its volume, and no scatter about the line."""
    passing = PassingReadings()
    for k in range(1, 51):
        passing.add(0.1 * k, 400.0 + 2.0 * 0.1 * k)
    told = passing.read(5.0, 3.0, 0.2)
    assert told is not None
    assert told.readings == 10
    assert told.volume_mL == pytest.approx(3.0 - 0.2 * 0.45)
    assert told.potential_mV == pytest.approx(400.0 + 2.0 * 4.55)
    assert told.sd_mV == pytest.approx(0.0, abs=1e-9)
    assert told.reached_mL == 3.0


def test_too_few_passing_readings_tell_nothing():
    passing = PassingReadings()
    passing.add(1.0, 400.0)
    passing.add(1.1, 400.0)
    assert passing.read(1.2, 3.0, 0.2) is None
    passing.add(1.15, 400.0)
    passing.begin()
    assert passing.read(1.2, 3.0, 0.2) is None
