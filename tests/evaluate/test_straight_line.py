"""The weighted line and its zero, against scipy and against Monte Carlo."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from titrator.evaluate.straight_line import is_straight, straight_line

VOLUME = np.array([1.0, 2.0, 2.5, 4.0, 5.5, 6.0, 7.25])


def test_line_and_uncertainty_are_those_of_scipy():
    """scipy.optimize.curve_fit with absolute_sigma: the line with its zero as a parameter."""
    rng = np.random.default_rng(4)
    sd = 0.02 * (1.0 + VOLUME)
    value = 3.0 * (9.2 - VOLUME) + rng.normal(0.0, sd)
    line = straight_line(VOLUME, value, sd)
    assert line is not None
    best, covariance = curve_fit(lambda v, zero, b: b * (v - zero), VOLUME, value, [9.0, -3.0], sd, absolute_sigma=True)
    assert line.zero_mL == pytest.approx(best[0], rel=1e-7)
    assert line.slope == pytest.approx(best[1], rel=1e-7)
    assert line.u_zero_mL / line.scale == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-5)
    residual = (value - best[1] * (VOLUME - best[0])) / sd
    assert line.misfit == pytest.approx(np.sqrt(residual @ residual / 5.0))


def test_interval_is_fiellers():
    """At its ends the line's height is Student's t times its standard uncertainty (definition); it is not symmetric."""
    line = straight_line(VOLUME, 3.0 * (9.2 - VOLUME), np.full(7, 1.0))
    assert line is not None
    low, high = line.interval_mL()
    for end in (low, high):
        height = line.height + line.slope * (end - line.middle_mL)
        u = np.hypot(line.u_height, (end - line.middle_mL) * line.u_slope)
        assert abs(height) / u == pytest.approx(2.5706, abs=1e-4), "t at 97.5 %, 5 degrees of freedom: printed 2.571"
    assert high - line.zero_mL > line.zero_mL - low


def test_fiellers_interval_covers():
    rng = np.random.default_rng(8)
    inside = 0
    for _ in range(2000):
        line = straight_line(VOLUME, 0.5 * (9.2 - VOLUME) + rng.normal(0.0, 0.3, 7), np.full(7, 0.3))
        assert line is not None
        interval = line.interval_mL()
        inside += interval is None or interval[0] <= 9.2 <= interval[1]
    assert inside / 2000 >= 0.95, "t of few degrees and a scale never below 1: not less than it says"


def test_a_slope_that_may_be_nothing_leaves_the_interval_open():
    line = straight_line(VOLUME, 0.1 * (9.2 - VOLUME), np.full(7, 1.0))
    assert line is not None
    assert line.interval_mL() is None


def test_a_bend_is_seen_and_a_line_mostly_passes():
    rng = np.random.default_rng(2)
    volume, sd = np.linspace(0.0, 8.0, 20), np.full(20, 0.05)
    passed = bent = 0
    for _ in range(400):
        noise = rng.normal(0.0, 0.05, 20)
        passed += is_straight(straight_line(volume, 9.0 - volume + noise, sd))
        bent += not is_straight(straight_line(volume, 9.0 - volume + 0.02 * volume**2 + noise, sd))
    assert passed / 400 == pytest.approx(0.95, abs=0.035)
    assert bent / 400 > 0.95


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_readings_make_no_line(count):
    assert straight_line(VOLUME[:count], VOLUME[:count], np.ones(count)) is None


def test_what_is_no_line():
    assert straight_line(VOLUME, np.full(7, 3.0), np.ones(7)) is None
    assert straight_line(np.full(7, 2.0), VOLUME, np.ones(7)) is None
    assert straight_line(VOLUME, np.append(VOLUME[:6], np.nan), np.ones(7)) is None
