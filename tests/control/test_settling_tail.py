"""The regression behind the settling detector against numpy.polyfit, scipy.stats.linregress and scipy.optimize."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from titrator.control.settling.blocks import MOST_BLOCKS, BlockWindow
from titrator.control.settling.tail import (
    SD_LN_RESPONSE,
    Search,
    Stated,
    find_tail,
    fit_tail,
    over_all_responses,
    prepare,
    residual_products,
)

T = np.arange(20) * 0.5 + 0.25
NOW = 10.0


def tail(rng, response_s=5.0, remainder_mV=1.5, sd=0.1, end=-312.0):
    return end + remainder_mV * np.exp((NOW - T) / response_s) + rng.normal(0.0, sd, T.size)


def told(response_s):
    """What is stated of the response, and a search that begins there."""
    stated = Stated(math.log(response_s), SD_LN_RESPONSE)
    return stated, Search(*stated[:1], 0.0, SD_LN_RESPONSE, ())


def test_weighted_line_in_the_exponential_equals_polyfit():
    """Outside check: numpy.polyfit with weights and unscaled covariance."""
    rng = np.random.default_rng(1)
    y, weights = tail(rng), rng.integers(1, 9, T.size).astype(float)
    fit = fit_tail(prepare(T, y, np.zeros(T.size), weights, NOW), 4.0, 0.0)
    x = np.exp((NOW - T) / 4.0)
    (slope, level), covariance = np.polyfit(x, y, 1, w=np.sqrt(weights), cov="unscaled")
    assert fit.remainder_mV == pytest.approx(slope, rel=1e-9)
    assert fit.unit_variance == pytest.approx(covariance[0, 0], rel=1e-9)
    assert fit.sum_of_squares == pytest.approx(float(np.sum(weights * (y - level - slope * x) ** 2)), rel=1e-7)


def test_a_slow_tail_is_the_straight_line_of_linregress():
    """Outside check: scipy.stats.linregress; a tail far slower than the window is a straight line, its drift the slope
    and the standard error of its drift the slope's (divided by n − 2 there: rescaled)."""
    rng = np.random.default_rng(2)
    y = 40.0 - 0.03 * T + rng.normal(0.0, 0.05, T.size)
    slow = 1.0e5
    fit = fit_tail(prepare(T, y, np.zeros(T.size), np.ones(T.size), NOW), slow, 0.0)
    line = stats.linregress(T, y)
    assert -fit.remainder_mV / slow == pytest.approx(line.slope, rel=1e-3)
    scale = math.sqrt(fit.sum_of_squares / (T.size - 2))
    assert math.sqrt(fit.unit_variance) * scale / slow == pytest.approx(line.stderr, rel=1e-3)


@pytest.mark.parametrize("stated_s", [2.6, 5.0, 9.5])
def test_the_found_tail_equals_a_three_parameter_least_squares_fit(stated_s):
    """Outside check: scipy.optimize.curve_fit of end, remainder and response, where the data outweigh the prior."""
    rng = np.random.default_rng(3)
    sd = 0.01
    y = tail(rng, remainder_mV=2.0, sd=sd)
    blocks = prepare(T, y, np.zeros(T.size), np.ones(T.size), NOW)
    found = find_tail(
        blocks,
        sd * sd,
        Stated(math.log(stated_s), SD_LN_RESPONSE),
        Search(math.log(stated_s), 0.0, SD_LN_RESPONSE, ()),
        9,
    )

    def model(t, end, remainder, response):
        return end + remainder * np.exp((NOW - t) / response)

    values, covariance = optimize.curve_fit(
        model, T, y, p0=(y[-1], 1.0, 4.0), sigma=np.full(T.size, sd), absolute_sigma=True
    )
    assert found.found
    assert found.remainder_mV == pytest.approx(values[1], abs=0.1 * math.sqrt(covariance[1, 1]))
    assert found.remainder_sd_mV == pytest.approx(math.sqrt(covariance[1, 1]), rel=0.05)
    assert found.response_s == pytest.approx(values[2], rel=0.005)
    assert found.drift_mV_per_s == pytest.approx(-values[1] / values[2], rel=0.005)


def test_without_a_signal_the_error_covers_every_response_believed_in():
    """No movement seen: the remainder's sd must be nearer that of a slow electrode than that of the stated one."""
    rng = np.random.default_rng(4)
    sd = 0.25
    y = rng.normal(0.0, sd, T.size)
    blocks = prepare(T, y, np.zeros(T.size), np.ones(T.size), NOW)
    found = find_tail(
        blocks, sd * sd, Stated(math.log(5.0), SD_LN_RESPONSE), Search(math.log(5.0), 0.0, SD_LN_RESPONSE, ())
    )
    stated = math.sqrt(fit_tail(blocks, 5.0, 0.0).unit_variance) * sd
    slow = math.sqrt(fit_tail(blocks, 10.0, 0.0).unit_variance) * sd
    assert stated < found.remainder_sd_mV < 1.2 * slow
    assert found.sd_ln_response > 0.5 * SD_LN_RESPONSE


def test_residual_products_are_those_of_numpy():
    """Outside check: numpy's least squares and sums."""
    rng = np.random.default_rng(5)
    y = tail(rng)
    squares, products, inner = residual_products(prepare(T, y, np.zeros(T.size), np.full(T.size, 5.0), NOW), 5.0)
    x = np.exp((NOW - T) / 5.0)
    u = y - np.polyval(np.polyfit(x, y, 1), x)
    assert squares == pytest.approx(float(u @ u), rel=1e-6)
    assert products == pytest.approx(float(u[1:] @ u[:-1]), rel=1e-6)
    assert inner == pytest.approx(float(u[1:-1] @ u[1:-1]), rel=1e-6)


def test_one_block_alone_gives_finite_numbers():
    blocks = prepare([1.0], [5.0], [0.0], [3.0], 1.2)
    found = find_tail(
        blocks, 0.06, Stated(math.log(5.0), SD_LN_RESPONSE), Search(math.log(5.0), 0.0, SD_LN_RESPONSE, ())
    )
    assert all(math.isfinite(v) for v in found[:8])
    assert found.remainder_sd_mV > 100.0


@given(st.lists(st.tuples(st.floats(0.05, 3.0), st.floats(-1000.0, 1000.0)), min_size=2, max_size=300))
def test_merging_blocks_keeps_means_weights_and_spread(steps):
    """Outside check: numpy's weighted mean and variance of the very readings merged (one reading a block)."""
    window = BlockWindow()
    times, values = [], []
    t = 0.0
    for step, y in steps:
        t += step
        times.append(t)
        values.append(y)
        window.append(t, y, 0.0, 1.0)
        assert len(window) <= MOST_BLOCKS
    start = 0
    for mean_t, mean_y, spread, weight in zip(window.t_s, window.y_mV, window.spread_s2, window.weights, strict=True):
        part = slice(start, start + int(weight))
        assert mean_t == pytest.approx(float(np.mean(times[part])), abs=1e-9)
        assert mean_y == pytest.approx(float(np.mean(values[part])), abs=1e-9)
        assert spread == pytest.approx(0.5 * float(np.var(times[part])), abs=1e-9)
        start += int(weight)
    assert start == len(steps)


def test_a_block_average_of_a_tail_is_met_to_second_order():
    """Wide blocks of an exact tail: the fit must find the remainder of the tail, not of the averages."""
    response = 6.0
    fine = np.arange(0.05, 24.0, 0.1)
    y = 7.0 * np.exp(-fine / response)
    window = BlockWindow()
    for part_t, part_y in zip(fine.reshape(-1, 20), y.reshape(-1, 20), strict=True):
        window.append(float(part_t.mean()), float(part_y.mean()), 0.5 * float(part_t.var()), 20.0)
    blocks = prepare(window.t_s, window.y_mV, window.spread_s2, window.weights, 24.0)
    truth = 7.0 * math.exp(-24.0 / response)
    assert fit_tail(blocks, response, 0.0).remainder_mV == pytest.approx(truth, rel=2e-4)
    plain = prepare(window.t_s, window.y_mV, [0.0] * len(window), window.weights, 24.0)
    assert abs(fit_tail(plain, response, 0.0).remainder_mV / truth - 1.0) > 2e-3


def test_a_forecast_averages_over_every_response_that_the_readings_allow():
    """Outside check: scipy.integrate.quad of the same posterior, remainder and its square."""
    rng = np.random.default_rng(6)
    sd = 0.1
    short = slice(0, 8)
    y = tail(rng, remainder_mV=0.6, sd=sd)[short]
    blocks = prepare(T[short], y, np.zeros(8), np.ones(8), T[7] + 0.25)
    stated, search = told(5.0)
    found = over_all_responses(blocks, sd * sd, stated, find_tail(blocks, sd * sd, stated, search))

    def moment(power):
        def integrand(z):
            fit = fit_tail(blocks, math.exp(stated.ln_response + z * stated.sd), sd * sd / 500.0**2)
            weight = math.exp(-0.5 * (fit.sum_of_squares / sd**2 + z * z))
            value = (1.0, fit.remainder_mV, fit.remainder_mV**2 + sd * sd * fit.unit_variance)[power]
            return weight * value

        return integrate.quad(integrand, -2.75, 2.75, limit=200)[0]

    mean = moment(1) / moment(0)
    assert found.remainder_mV == pytest.approx(mean, rel=0.01)
    assert found.remainder_sd_mV == pytest.approx(math.sqrt(moment(2) / moment(0) - mean**2), rel=0.02)
    assert found.sd_ln_response > 0.15  # where it is used: the nodes lie close enough
