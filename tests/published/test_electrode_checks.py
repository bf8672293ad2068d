"""Electrodes and check solutions by temperature: references from thermodynamics, quinhydrone in standard buffers."""

import math
from importlib.resources import files

import pytest
from phreeqc import Phreeqc

from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.couple_table import QUINHYDRONE
from titrator.chemistry.references import CALOMEL, SILVER_CHLORIDE, reference_potential_V
from titrator.chemistry.water import density_kg_per_m3

# E° of Ag/AgCl in V at 0 … 50 °C: Bates and Bower 1954, from memory (25 °C: CRC series 0.22233, published).
BATES_BOWER_V = {10: 0.23142, 15: 0.22857, 20: 0.22557, 25: 0.22234, 30: 0.21904, 40: 0.21208}
CALOMEL_STANDARD_V = 0.26808  # CRC series, from memory


def chloride_activity(molality, temperature_C):
    """a(Cl−) of potassium chloride by the Pitzer model of USGS PHREEQC (pitzer.dat), MacInnes: a(K+) = a(Cl−)."""
    code = Phreeqc()
    assert code.LoadDatabase(str(files("phreeqc") / "databases" / "pitzer.dat")) == 0, code.GetErrorString()
    code.SetSelectedOutputStringOn(True)
    text = (
        f"SOLUTION 1\n-units mol/kgw\ntemp {temperature_C}\npH 7\nK {molality}\nCl {molality}\n"
        "SELECTED_OUTPUT\n-reset false\n-high_precision true\n"
        'USER_PUNCH\n-headings a\n-start\n10 PUNCH 10^(0.5*(LA("Cl-") + LA("K+")))\n-end\nEND\n'
    )
    assert code.RunString(text) == 0, code.GetErrorString()
    return code.GetSelectedOutputValue(1, 0)


def test_the_model_knows_potassium_chloride():
    """Mean activity coefficients at 25 °C, Robinson and Stokes (from memory): to 0.5 %, which is 0.13 mV."""
    assert chloride_activity(0.1, 25) / 0.1 == pytest.approx(0.770, rel=0.005)
    assert chloride_activity(3.0, 25) / 3.0 == pytest.approx(0.569, rel=0.005)


# Molalities: 3 mol/L is 3.25 and 3.5 mol/L 3.85 mol/kg (densities of potassium chloride at 20 °C, from memory); at
# saturation 4.2 to 5.4 mol/kg from 10 to 40 °C (solubility 31.2, 34.2, 35.8, 37.2 g per 100 g of water, from memory).
SATURATED = {10: 4.19, 20: 4.59, 25: 4.80, 30: 4.99}


@pytest.mark.parametrize(
    ("filling", "temperature_C", "molality"),
    [
        ("0.1 mol/L KCl", 25, 0.1007),
        *(("3 mol/L KCl", temperature_C, 3.25) for temperature_C in (10, 15, 20, 25, 30, 40)),
        *(("3.5 mol/L KCl", temperature_C, 3.85) for temperature_C in (10, 15, 20, 25, 30)),
        *(("saturated KCl", temperature_C, molality) for temperature_C, molality in SATURATED.items()),
    ],
)
def test_silver_chloride_from_its_standard_potential(filling, temperature_C, molality):
    """E = E°(T) − S·log10 a(Cl−). The tables contain a liquid junction of 1 to 4 mV, so 6 mV are allowed.

    Filling and temperature change E by 90 and 20 mV, so a wrong row or a wrong sign is found.
    """
    slope_V = nernst_slope_per_decade_mV(temperature_C) / 1000
    log_activity = math.log10(chloride_activity(molality, temperature_C))
    expected_V = BATES_BOWER_V[temperature_C] - slope_V * log_activity
    assert abs(reference_potential_V(SILVER_CHLORIDE, filling, temperature_C) - expected_V) <= 0.006


@pytest.mark.parametrize(("filling", "molality"), [("0.1 mol/L KCl", 0.1007), ("saturated KCl", 4.80)])
def test_calomel_from_its_standard_potential(filling, molality):
    slope_V = nernst_slope_per_decade_mV(25) / 1000
    log_activity = math.log10(chloride_activity(molality, 25))
    assert abs(reference_potential_V(CALOMEL, filling, 25) - (CALOMEL_STANDARD_V - slope_V * log_activity)) <= 0.006


# JIS check solutions of an electrode maker's manual (published), mV against Ag/AgCl in 3.33 mol/L KCl, ±15 mV accepted.
CELSIUS = (5, 10, 15, 20, 25, 30, 35, 40)
IN_PHTHALATE_mV = (274.2, 270.9, 266.8, 262.5, 257.6, 253.5, 248.6, 243.6)
IN_PHOSPHATE_mV = (111.9, 106.9, 101.0, 95.0, 89.0, 82.7, 76.2, 69.0)
# JIS Z 8802:2011 at the same temperatures.
PHTHALATE_pH = (4.01, 4.00, 4.00, 4.00, 4.01, 4.01, 4.02, 4.03)
PHOSPHATE_pH = (6.95, 6.92, 6.90, 6.88, 6.86, 6.85, 6.84, 6.84)


@pytest.mark.parametrize(
    ("printed_mV", "buffer_pH"), [(IN_PHTHALATE_mV, PHTHALATE_pH), (IN_PHOSPHATE_mV, PHOSPHATE_pH)]
)
def test_quinhydrone_in_buffers_by_temperature(printed_mV, buffer_pH):
    """E° falls by 0.736 mV/K (from memory); slope, reference (3 for 3.33 mol/L, 2 mV apart) and buffer do the rest."""
    standard_mV = 1000 * QUINHYDRONE.in_medium("standard").value_V
    for temperature_C, printed, pH in zip(CELSIUS, printed_mV, buffer_pH, strict=True):
        at_mV = standard_mV - 0.736 * (temperature_C - 25)
        reference_mV = 1000 * reference_potential_V(SILVER_CHLORIDE, "3 mol/L KCl", temperature_C)
        assert abs(at_mV - nernst_slope_per_decade_mV(temperature_C) * pH - reference_mV - printed) <= 4


def test_light_s_solution_against_saturated_silver_chloride():
    """ASTM D1498 (from memory): +675 mV (SHE) and +476 mV (Ag/AgCl, saturated KCl) are the same solution."""
    assert abs(675 - 476 - 1000 * reference_potential_V(SILVER_CHLORIDE, "saturated KCl", 25)) <= 0.5


def test_nernst_slope_of_the_handbooks():
    """59.16 mV per decade at 25 °C, 58.17 at 20 °C: every textbook."""
    assert round(nernst_slope_per_decade_mV(25), 2) == 59.16
    assert round(nernst_slope_per_decade_mV(20), 2) == 58.17


def test_titrant_s_expansion_from_the_density_of_water():
    """20 to 25 °C: 998.2067 to 997.0470 kg/m3 (Tanaka 2001, air-free): a titrant is 0.116 % weaker by volume."""
    assert 1 - density_kg_per_m3(25) / density_kg_per_m3(20) == pytest.approx(1.1618e-3, abs=2e-7)
