"""The vectorised engine equals the scalar one."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from titrator.chemistry import redox_curve
from titrator.chemistry.redox import RedoxBalance, RedoxTitration

BALANCES = st.builds(
    RedoxBalance,
    analyte_mV=st.floats(-500, 600),
    titrant_mV=st.floats(500, 1900),
    slope_mV=st.floats(20, 35),
    analyte_electrons=st.sampled_from([1, 2, 3]),
    titrant_electrons=st.sampled_from([1, 2, 5]),
    oxidised_at_start=st.one_of(st.just(0.0), st.floats(1e-12, 0.9)),
)


@settings(max_examples=50, deadline=None)
@given(BALANCES, st.lists(st.one_of(st.floats(0, 3), st.floats(0.999, 1.001)), min_size=1, max_size=30))
def test_potentials_equal_the_scalar_engine(balance, degrees):
    """Both end with a Newton step below 1e-7·s, so about 1e-13 mV is left; 1e-8 mV allows for rounding."""
    expected = np.array([balance.potential_mV(degree) for degree in degrees])
    found = redox_curve.potential_mV(balance, degrees)
    finite = np.isfinite(expected)
    assert np.array_equal(finite, np.isfinite(found))
    assert np.all(np.abs(found[finite] - expected[finite]) <= 1e-8)


@settings(max_examples=50, deadline=None)
@given(BALANCES, st.lists(st.one_of(st.floats(-500, 2500), st.floats(-1e6, 1e6)), min_size=1, max_size=30))
def test_degrees_and_slopes_equal_the_scalar_engine(balance, potentials_mV):
    degrees = [balance.degree(potential_mV) for potential_mV in potentials_mV]
    slopes = [balance.degree_slope_per_mV(potential_mV) for potential_mV in potentials_mV]
    np.testing.assert_allclose(redox_curve.degree(balance, potentials_mV), degrees, rtol=1e-12, atol=1e-15)
    np.testing.assert_allclose(redox_curve.degree_slope_per_mV(balance, potentials_mV), slopes, rtol=1e-9, atol=1e-15)


def test_shapes_are_kept_and_volumes_scale():
    titration = RedoxTitration(RedoxBalance(680, 1440, 25), 20.0)
    volumes = np.array([[1.0, 10.0, 19.99], [20.0, 20.01, 40.0]])
    potentials = redox_curve.potential_at_mV(titration, volumes)
    assert potentials.shape == volumes.shape
    np.testing.assert_allclose(redox_curve.volume_mL(titration, potentials), volumes, rtol=1e-12)
    assert redox_curve.potential_mV(titration.balance, 0.5).shape == ()
    slopes = redox_curve.volume_slope_mL_per_mV(titration, potentials)
    assert slopes[0, 1] == pytest.approx(titration.volume_slope_mL_per_mV(float(potentials[0, 1])), rel=1e-12)


def test_no_points_are_no_error():
    assert redox_curve.potential_mV(RedoxBalance(680, 1440, 25), []).shape == (0,)


@pytest.mark.parametrize("wrong", [-0.1, np.nan, np.inf])
def test_impossible_degrees_are_refused(wrong):
    with pytest.raises(ValueError, match="finite degrees of titration >= 0"):
        redox_curve.potential_mV(RedoxBalance(680, 1440, 25), [0.5, wrong])
