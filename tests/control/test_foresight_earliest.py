"""The earliest amount that readings in passing allow: against a root of the profile found by scipy, computed by us."""

import math
import random

import pytest
from scipy.optimize import brentq

from titrator.control.foresight.estimate import Beforehand, Datum, Estimate
from titrator.control.foresight.law import Branch, Kind, Law

SLOPE_mV, SPEED_mL_per_s, WORSE = 25.7, 1.0 / 6.0, 5.0
LAW = Law((Branch(Kind.BOUND, 470.0, 17.0, SLOPE_mV), Branch(Kind.COUPLE, 1230.0, 17.0, SLOPE_mV)), 50.0)
BEFORE = Beforehand((10.0,), (0.8,), 1.0, 0.01, 4.5, 0.4, 0.001)


def in_passing(seed, amount_mL):
    """What is read while titrant runs in far from the jump: the curve of 4.5 s before, and noise."""
    rng = random.Random(f"in passing {seed}")
    data = []
    for volume_mL in (1.5, 2.0, 3.0, 4.0):
        behind_mL = volume_mL - 4.5 * SPEED_mL_per_s
        y_mV = 470.0 + SLOPE_mV * math.log(behind_mL / (amount_mL - behind_mL)) + rng.gauss(0.0, 0.2)
        data.append(Datum(volume_mL, y_mV, 0.2, SPEED_mL_per_s))
    return data


def profile(data, amount_mL):
    """Least sum of squares with the amount held."""
    estimate = Estimate(LAW, BEFORE)
    mean, sd = estimate.prior[0], estimate.prior_sd[0]
    estimate.prior[0], estimate.prior_sd[0], estimate.x[0] = math.log(amount_mL), 1e-5, math.log(amount_mL)
    estimate.fit(data)
    return estimate.cost(data, 0) + ((estimate.x[0] - mean) / sd) ** 2


@pytest.mark.parametrize("seed", range(4))
def test_it_is_where_the_profile_passes_the_limit(seed):
    """Within 2 %: between two amounts that are tried the profile's root is taken as straight."""
    data = in_passing(seed, 9.0)
    estimate = Estimate(LAW, BEFORE)
    earliest_mL = estimate.earliest_mL(0, data, 4.2, 80.0, WORSE)
    best = estimate.cost(data)
    expected_mL = brentq(lambda each: profile(data, each) - best - WORSE, 4.2, estimate.amounts_mL()[0])
    assert earliest_mL == pytest.approx(expected_mL, rel=0.02)


def test_where_every_amount_tried_is_passed_already_the_fit_answers():
    """Far more than expected was flown through: nothing between the limits is left to be tried."""
    data = in_passing(0, 9.0)
    estimate, fitted = Estimate(LAW, BEFORE), Estimate(LAW, BEFORE)
    fitted.fit(data)
    assert estimate.earliest_mL(0, data, 8.2, 8.0, WORSE) == pytest.approx(fitted.amounts_mL()[0], rel=1e-6)
    assert (estimate.prior[0], estimate.prior_sd[0]) == (math.log(10.0), 0.8)


def test_it_does_not_hang_on_where_the_search_begins():
    data = in_passing(0, 9.0)
    found = [Estimate(LAW, BEFORE).earliest_mL(0, data, 4.2 * 1.25 ** (k / 7.0), 80.0, WORSE) for k in range(8)]
    assert max(found) < 1.02 * min(found)
