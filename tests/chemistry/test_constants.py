"""Constants against scipy.constants (CODATA), slopes against a table."""

import math

import pytest
import scipy.constants

from titrator.chemistry.constants import (
    FARADAY_CONSTANT_C_PER_MOL,
    GAS_CONSTANT_J_PER_MOL_K,
    kelvin,
    nernst_slope_mV,
    nernst_slope_per_decade_mV,
)


def test_constants_are_those_of_codata():
    """scipy.constants carries CODATA; later adjustments print more digits of the same exact products."""
    assert pytest.approx(scipy.constants.R, rel=1e-9) == GAS_CONSTANT_J_PER_MOL_K
    assert pytest.approx(scipy.constants.value("Faraday constant"), rel=1e-9) == FARADAY_CONSTANT_C_PER_MOL
    assert kelvin(0.0) == scipy.constants.zero_Celsius


@pytest.mark.parametrize(
    ("temperature_C", "slope_mV"),
    # ln(10)·RT/F in mV: computed by us in two ways, not a published table. Half a unit of the last digit.
    [
        (0, 54.1988),
        (5, 55.1909),
        (10, 56.1830),
        (15, 57.1751),
        (20, 58.1672),
        (25, 59.1593),
        (30, 60.1515),
        (35, 61.1436),
        (40, 62.1357),
        (50, 64.1199),
    ],
)
def test_slope_per_decade(temperature_C, slope_mV):
    assert abs(nernst_slope_per_decade_mV(temperature_C) - slope_mV) <= 0.00005


def test_slope_agrees_with_scipys_constants():
    """k·T/e is the same slope by another route."""
    expected_mV = 1000 * scipy.constants.k * 298.15 / scipy.constants.e
    assert math.isclose(nernst_slope_mV(25), expected_mV, rel_tol=1e-9)


@pytest.mark.parametrize("temperature_C", [-273.15, -300.0, math.nan, math.inf])
def test_impossible_temperatures_are_refused(temperature_C):
    with pytest.raises(ValueError, match=r"above -273\.15 °C"):
        nernst_slope_mV(temperature_C)
