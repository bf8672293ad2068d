"""The smoothed first derivative and the inflection, against calculus and against scatter that is known."""

import numpy as np
import pytest

from titrator.evaluate.smooth_derivative import inflection, largest_smooth, smooth_derivative, steepest_reading

UNEQUAL = np.array([0.0, 0.3, 1.0, 1.2, 2.0, 2.7, 3.0, 3.1, 3.9, 4.4])


def jump(volume, centre, width=0.25):
    return 200.0 * np.tanh((volume - centre) / width)


def test_a_parabola_has_its_own_derivative_at_any_spacing():
    """d/dV (3 V² - V) = 6 V - 1."""
    found = smooth_derivative(UNEQUAL, 3.0 * UNEQUAL**2 - UNEQUAL, np.full(10, 0.5))
    assert found.slope == pytest.approx(6.0 * UNEQUAL - 1.0)


def test_a_cubic_has_its_own_derivative_where_noise_widens_the_polynomial():
    signal = 0.2 * UNEQUAL**3 - UNEQUAL
    found = smooth_derivative(UNEQUAL, signal, np.full(10, 50.0))
    assert np.all(found.readings > 3), "noise of 50 hides what sets the widths apart"
    assert found.slope == pytest.approx(0.6 * UNEQUAL**2 - 1.0, abs=1e-6)


def test_nothing_is_smoothed_where_there_is_no_noise():
    volume = np.arange(0.0, 3.0, 0.1)
    found = smooth_derivative(volume, jump(volume, 1.43), np.full(30, 1e-9))
    middle = slice(8, 22)
    assert set(found.readings[middle]) == {3.0}
    central = (jump(volume, 1.43)[2:] - jump(volume, 1.43)[:-2]) / 0.2
    assert found.slope[1:-1][middle] == pytest.approx(central[middle])


def test_the_maximum_of_clean_equally_spaced_data_is_not_moved():
    """The jump's centre at 21 places between two readings: the mean error is nothing, the largest a fortieth of h."""
    volume, errors = np.arange(0.0, 3.0, 0.1), []
    for share in np.linspace(0.0, 1.0, 21):
        centre = 1.4 + 0.1 * share
        found = smooth_derivative(volume, jump(volume, centre), np.full(30, 1e-9))
        errors.append(largest_smooth(found, 0, 29)[0] - centre)
    assert np.mean(errors) == pytest.approx(0.0, abs=1e-9)
    assert np.max(np.abs(errors)) < 0.1 / 40.0


def scattered(seed, count=60, sd=8.0):
    rng = np.random.default_rng(seed)
    volume = np.sort(rng.uniform(0.0, 4.0, count))
    return volume, jump(volume, 1.9, 0.5) + rng.normal(0.0, sd, count), np.full(count, sd)


def test_noise_on_unequal_spacing_is_smoothed():
    """Slopes against calculus: the secants between neighbours are worse by far (fixed seeds, computed by us)."""
    smooth, raw = [], []
    for seed in range(20):
        volume, signal, sd = scattered(seed)
        true = 400.0 / np.cosh((volume - 1.9) / 0.5) ** 2
        found = smooth_derivative(volume, signal, sd)
        smooth.append(np.sqrt(np.mean((found.slope - true)[3:-3] ** 2)))
        middle = (volume[1:] + volume[:-1]) / 2.0
        secant = np.diff(signal) / np.diff(volume)
        raw.append(np.sqrt(np.median((secant - 400.0 / np.cosh((middle - 1.9) / 0.5) ** 2) ** 2)))
    assert np.median(smooth) < 0.5 * np.median(raw)


@pytest.mark.parametrize("way", ["largest", "inflection"])
def test_the_place_under_noise_lies_within_its_uncertainty(way):
    """Of 200 scattered curves the root mean square of error over u is near 1, never above it by much."""
    ratios, errors = [], []
    for seed in range(200):
        volume, signal, sd = scattered(seed)
        found = smooth_derivative(volume, signal, sd)
        first, last = 5, len(volume) - 6
        if way == "largest":
            place, u = largest_smooth(found, first, last)
        else:
            turn = inflection(volume, signal, sd, steepest_reading(found, first, last), last - first)
            if turn is None:
                continue
            place, u = turn
        ratios.append((place - 1.9) / u)
        errors.append(place - 1.9)
    assert len(ratios) > 150
    assert np.sqrt(np.mean(np.square(errors))) < 0.15
    assert np.sqrt(np.mean(np.square(ratios))) < 1.25
    assert abs(np.mean(errors)) < 3.0 * np.std(errors) / np.sqrt(len(errors)) + 0.01


def test_the_inflection_of_a_cubic_is_exact():
    """V - 0.05 (V - 1.37)³ turns at 1.37."""
    signal = UNEQUAL - 0.05 * (UNEQUAL - 1.37) ** 3
    place, u = inflection(UNEQUAL, signal, np.full(10, 1e-3), 4, 10)
    assert place == pytest.approx(1.37, abs=1e-6)
    assert u > 0.0


def test_a_jump_sharper_than_its_additions_has_no_inflection_by_cubics():
    volume = np.arange(0.0, 3.0, 0.1)
    assert inflection(volume, jump(volume, 1.43, 0.02), np.full(30, 0.3), 14, 20) is None


def test_what_is_no_curve_is_refused():
    with pytest.raises(ValueError, match="rising, distinct"):
        smooth_derivative(np.array([1.0, 1.0, 2.0]), np.zeros(3), np.ones(3))
    with pytest.raises(ValueError, match="at least 3 readings"):
        smooth_derivative(np.array([1.0, 2.0]), np.zeros(2), np.ones(2))
