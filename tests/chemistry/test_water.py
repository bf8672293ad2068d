"""Water against published tables and against the general libraries `iapws` and `scipy`."""

import iapws
import pytest
from iapws.iapws95 import IAPWS95_PT

from titrator.chemistry import water

# CRC Handbook table of IAPWS R11-07 (0, 25, 50 °C); the others computed by us from the release.
PKW_MOLAL = {
    0: 14.946, 5: 14.734, 10: 14.534, 15: 14.344, 20: 14.165, 25: 13.995, 30: 13.833, 35: 13.680, 37: 13.621,
    40: 13.534, 45: 13.396, 50: 13.264,
}  # fmt: skip

# Check values of the release R11-07 (K, kg/m3): from memory; our own calculation gives them back in every digit.
PKW_CHECK = {(300, 1000): 13.906565, (600, 700): 11.203153, (600, 70): 21.048874, (800, 200): 15.089765}

# M. Tanaka et al. 2001, air-free water at 101.325 kPa; the library chempy carries the same figures.
DENSITY = {10: 999.7027, 15: 999.1026, 20: 998.2067, 25: 997.0470, 30: 995.6488, 35: 994.0326, 40: 992.2152}


@pytest.mark.parametrize(("temperature_C", "pKw"), PKW_MOLAL.items())
def test_ionic_product(temperature_C, pKw):
    assert abs(water.pKw_molal(temperature_C) - pKw) <= 0.00055


@pytest.mark.parametrize(("point", "pKw"), PKW_CHECK.items())
def test_ionic_product_at_the_check_values_of_the_release(point, pKw):
    assert abs(water.pKw_molal_at(point[0], point[1] / 1000) - pKw) <= 1.01e-6


@pytest.mark.parametrize("temperature_C", range(0, 51, 5))
def test_ionic_product_against_a_library(temperature_C):
    """The library carries the coefficients of the later release, at most 0.0002 away between 0 and 50 °C."""
    other = iapws._iapws._Kw(water.density_kg_per_m3(temperature_C), temperature_C + 273.15)
    assert abs(water.pKw_molal(temperature_C) - other) <= 0.001


def test_molar_ionic_product_at_25_C():
    """13.997, as NIST's database 46 has it (carried by minteq.v4.dat of PHREEQC)."""
    assert abs(water.pKw(25) - 13.997) <= 0.0005


@pytest.mark.parametrize(("temperature_C", "density"), DENSITY.items())
def test_density(temperature_C, density):
    assert abs(water.density_kg_per_m3(temperature_C) - density) <= 0.00005001


@pytest.mark.parametrize("temperature_C", [0.5, 10, 20, 30, 40, 50])
def test_density_against_a_library(temperature_C):
    """IAPWS-95 of the library; Tanaka's formula is stated to 40 °C and 0.0012 kg/m3 off it there."""
    other = IAPWS95_PT(0.101325, temperature_C + 273.15).rho
    assert abs(water.density_kg_per_m3(temperature_C) - other) <= (0.002 if temperature_C <= 40 else 0.03)


@pytest.mark.parametrize("temperature_C", [0, 10, 25, 40, 50])
def test_permittivity_against_a_library(temperature_C):
    """The library's own coding of IAPWS R8-97."""
    other = iapws._iapws._Dielectric(water.density_kg_per_m3(temperature_C), temperature_C + 273.15)
    assert abs(water.permittivity(temperature_C) - other) <= 1e-4


def test_debye_huckel_constant():
    """Computed by us with another permittivity table; 0.509 at 25 °C in textbooks, 0.5100 (molal) in USGS PHREEQC."""
    molal = {0: 0.490, 20: 0.506, 25: 0.510, 30: 0.514, 40: 0.524, 50: 0.534}
    for temperature_C, A in molal.items():
        assert abs(water.debye_huckel_A_molal(temperature_C) - A) <= 0.0005
    assert abs(water.debye_huckel_A(25) - 0.5105) <= 0.0001
    assert abs(water.debye_huckel_A(25) - 0.509) <= 0.002
    assert abs(water.debye_huckel_A_molal(25) - 0.5100) <= 0.0003


@pytest.mark.parametrize("function", [water.pKw, water.density_kg_per_m3, water.permittivity, water.debye_huckel_A])
@pytest.mark.parametrize("temperature_C", [-0.1, 50.1, float("nan"), 298.15])
def test_temperatures_out_of_range_are_refused(function, temperature_C):
    with pytest.raises(ValueError, match="a temperature from 0 to 50 °C was expected"):
        function(temperature_C)
