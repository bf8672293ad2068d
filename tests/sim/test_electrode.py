"""First-order lags against scipy's integrator; the law of the response time."""

import math

import pytest
from scipy.integrate import solve_ivp

from sim.lag import lagged
from sim.response import ResponseLaw


@pytest.mark.parametrize("tau_s", [0.05, 1.5, 40.0])
@pytest.mark.parametrize("passed_s", [0.01, 0.1, 7.0])
@pytest.mark.parametrize(("value", "start", "end"), [(0.0, 0.0, 3.0), (5.0, 1.0, 1.0), (-2.0, 4.0, -1.0)])
def test_a_lag_behind_a_straight_line(tau_s, passed_s, value, start, end):
    """τ·dy/dt = u − y, integrated by scipy to 1e-10."""
    solved = solve_ivp(
        lambda t, y: (start + (end - start) * t / passed_s - y) / tau_s,
        (0.0, passed_s),
        [value],
        method="LSODA",
        rtol=1e-10,
        atol=1e-12,
    )
    assert lagged(value, start, end, passed_s / tau_s) == pytest.approx(solved.y[0, -1], abs=1e-7)


def test_what_is_left_halves_with_every_half_life():
    left = [1.0 - lagged(0.0, 1.0, 1.0, times * math.log(2)) for times in (1, 2, 3, 10)]
    assert left == pytest.approx([0.5, 0.25, 0.125, 2**-10], rel=1e-12)


def test_many_small_steps_are_one_large_step():
    value = 2.0
    for step in range(100):
        value = lagged(value, 5.0 + 0.03 * step, 5.0 + 0.03 * (step + 1), 0.02)
    assert value == pytest.approx(lagged(2.0, 5.0, 8.0, 2.0), rel=1e-12)


def test_ends_of_the_lag():
    assert lagged(2.0, 5.0, 8.0, 0.0) == 2.0
    assert lagged(2.0, 5.0, 8.0, math.inf) == 8.0


@pytest.mark.parametrize(
    ("steepness", "tau_s"),
    # 2.5 s + 9.5 s·G/(G + 100), the demonstration's law: half of the rise at G = 100.
    [(0.0001, 2.50000950), (4.0, 2.5 + 9.5 * 4 / 104), (100.0, 7.25), (1e9, 12.0)],
)
def test_law_of_the_response_time(steepness, tau_s):
    assert ResponseLaw(2.5, 9.5, 100.0, 1.0).tau_s(1 / steepness) == pytest.approx(tau_s, rel=1e-6)


def test_a_higher_power_makes_the_law_sharper():
    soft, sharp = ResponseLaw(2.5, 9.5, 100.0, 1.0), ResponseLaw(2.5, 9.5, 100.0, 2.0)
    assert sharp.tau_s(1 / 100) == soft.tau_s(1 / 100) == 7.25
    assert sharp.tau_s(1 / 10) == pytest.approx(2.5 + 9.5 * 100 / (100 + 10000))
    assert sharp.tau_s(0.0) == 12.0


def test_concentration_matters_only_where_the_law_says_so():
    plain, dilution = ResponseLaw(2.5, 9.5, 100.0, 1.0), ResponseLaw(2.5, 9.5, 100.0, 1.0, 0.03)
    assert plain.tau_s(1 / 4, 0.003) == plain.tau_s(1 / 4) == dilution.tau_s(1 / 4, 0.03)
    assert dilution.tau_s(1 / 4, 0.003) == pytest.approx(2.5 + 9.5 * 40 / 140)
    assert dilution.tau_s(0.0, 0.003) == dilution.tau_s(0.0) == 12.0
