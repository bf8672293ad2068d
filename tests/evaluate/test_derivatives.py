"""First and second differences on unequal spacing, against calculus."""

import numpy as np
import pytest
from titration_curves import measured, weak_acid_ph

from titrator.evaluate.curve import Curve
from titrator.evaluate.derivative import first_derivative, grouped, largest_slope
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.second_derivative import Zero, second_differences, zero_of_second_derivative

UNEQUAL = np.array([0.0, 0.3, 1.0, 1.2, 2.0, 2.7, 3.0])


def test_secants_of_a_parabola_are_its_derivative_at_the_middles():
    """(b² - a²)/(b - a) = a + b: exact for every spacing."""
    derivative = first_derivative(UNEQUAL, 3.0 * UNEQUAL**2 - UNEQUAL, np.full(7, 0.1))
    assert derivative.slope == pytest.approx(6.0 * derivative.volume_mL - 1.0)
    assert derivative.sd_slope == pytest.approx(np.sqrt(2.0) * 0.1 / np.diff(UNEQUAL))


def test_second_differences_of_a_parabola_are_constant():
    derivative = first_derivative(UNEQUAL, 3.0 * UNEQUAL**2)
    assert second_differences(derivative).value == pytest.approx(np.full(5, 6.0))


def test_zero_of_a_cubic_is_its_inflection():
    """V - (V - 1.37)³ turns at 1.37; second differences on equal spacing are exact for a cubic."""
    volume = np.linspace(0.0, 3.0, 13)
    signal = volume - 0.05 * (volume - 1.37) ** 3
    derivative = first_derivative(volume, signal)
    zero = zero_of_second_derivative(derivative, int(np.argmax(derivative.slope)), np.full(13, 1e-6), 0.0)
    assert isinstance(zero, Zero)
    assert zero.volume_mL == pytest.approx(1.37, abs=1e-9)


def test_no_sign_change_is_told():
    volume = np.linspace(0.0, 3.0, 7)
    reason = zero_of_second_derivative(first_derivative(volume, volume**2), 5, np.zeros(7), 0.0)
    assert reason == "the second differences do not change sign at the steepest interval"


def test_uncertainty_of_the_zero_holds_the_scatter():
    """The scatter that is carried must be that of zeros found in scattered copies (Monte Carlo, fixed seed)."""
    rng = np.random.default_rng(20)
    volume = np.linspace(0.0, 2.0, 21)
    signal = 200.0 * np.tanh((volume - 1.03) / 0.15)
    steepest, zeros = 10, []
    for _ in range(400):
        noisy = first_derivative(volume, signal + rng.normal(0.0, 0.5, 21))
        zero = zero_of_second_derivative(noisy, steepest, np.full(21, 0.5), 0.0)
        if isinstance(zero, Zero):
            zeros.append(zero.volume_mL)
    clean = zero_of_second_derivative(first_derivative(volume, signal), steepest, np.full(21, 0.5), 0.0)
    blind = zero_of_second_derivative(first_derivative(volume, signal), steepest, np.zeros(21), 0.0)
    assert isinstance(clean, Zero)
    assert isinstance(blind, Zero)
    carried = np.sqrt(clean.u_mL**2 - blind.u_mL**2)
    assert carried == pytest.approx(np.std(zeros), rel=0.15)


def test_volumes_that_do_not_rise_are_refused():
    with pytest.raises(ValueError, match="rising, distinct"):
        first_derivative(np.array([1.0, 1.0]), np.array([1.0, 2.0]))


def test_largest_slope_is_the_middle_of_the_steepest_interval():
    derivative = first_derivative(np.array([0.0, 1.0, 1.5, 3.0]), np.array([0.0, 1.0, 3.0, 4.0]))
    place, u = largest_slope(derivative, 0, 2)
    assert place == 1.25
    assert u == pytest.approx(0.5 / np.sqrt(12.0)), "rectangular over the interval"


def test_groups_are_means_of_neighbours():
    assert grouped(np.array([1.0, 3.0, 5.0, 7.0, 9.0]), 2).tolist() == [2.0, 6.0, 9.0]


def test_readings_a_few_errors_of_the_volume_apart_leave_open_which_secant_is_steepest():
    """A weak acid by bisection, five readings 4 µL apart at 1 µL each: both ways within what they say (simulated).

    The mean square of errors over their uncertainties; by the scatter of the signal alone 5.9 (first derivative).
    """
    expected = Expectation(points_sought=1, sd_volume_mL=0.001)
    shares: dict[str, list[float]] = {"first-derivative": [], "second-derivative": []}
    for seed in range(1, 61):
        start = 14.0 + 0.001 * (seed % 10 - 12)
        volume = np.array([2.0, 6.0, 10.0, 13.0, *(start + 0.004 * k for k in range(5)), 15.0, 16.0])
        signal = measured(lambda v: weak_acid_ph(v, equivalence_mL=14.0), volume, seed, 0.001, 0.002)
        curve = Curve(volume, signal, "pH", np.full(len(volume), 0.002))
        for way in find_equivalence_points(curve, expected).by_method:
            if way.name in shares and way.volume_mL is not None:
                shares[way.name].append(((way.volume_mL - 14.0) / way.u_mL) ** 2)
    for name, each in shares.items():
        assert len(each) > 20, name
        assert np.mean(each) < 1.5, name
