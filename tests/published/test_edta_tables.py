"""EDTA titrations: a printed table and computed ones, with the constants of their sources."""

import math

import pytest

from titrator.chemistry.chelates import CADMIUM, CALCIUM, CHELATES, COPPER, EDTA_SETS, MAGNESIUM, ZINC
from titrator.chemistry.complexation import (
    conditional_log_K,
    edta_fraction,
    edta_system,
    free_ammonia_mol_per_L,
    ion_electrode_mV,
    metal_fraction,
    metal_system,
    pM,
)
from titrator.chemistry.titration import Titration


def both(metal, K, metal_mol, volume_mL, edta_mol_per_L):
    """The two forms of the balance: EDTA as the master, the metal as the master."""
    for system in (edta_system({metal: math.log10(K)}), metal_system(metal, math.log10(K))):
        yield Titration(system, {metal: metal_mol}, volume_mL, {"EDTA": edta_mol_per_L})


# Harvey, Modern Analytical Chemistry (2000), Table 9.15: 50.0 mL of 5.00e-3 mol/L Cd2+ with 0.0100 mol/L EDTA, pH 10,
# 0.0100 mol/L NH3; α(Cd) 0.0881, α(Y) 0.35, K 2.9e16.
HARVEY = {
    0: 3.36, 5: 3.49, 10: 3.66, 15: 3.87, 20: 4.20, 23: 4.62, 25: 9.77, 27: 14.91, 30: 15.31, 35: 15.61, 40: 15.78,
    45: 15.91, 50: 16.01,
}  # fmt: skip


@pytest.mark.parametrize(("volume_mL", "pCd"), HARVEY.items())
def test_harvey_cadmium(volume_mL, pCd):
    for titration in both("Cd", 0.0881 * 0.35 * 2.9e16, 5e-3 * 0.05, 50.0, 0.01):
        assert abs(pM(titration, volume_mL, "Cd", 0.0881) - pCd) <= 0.005


# 50.00 mL of 0.00500 mol/L calcium with 0.0100 mol/L EDTA, pH 10, K' 1.75e10: computed by us at 40 digits.
CALCIUM_COMPUTED = {
    0: 2.301, 10: 2.602, 20: 3.146, 24: 3.869, 24.9: 4.874, 25: 6.360, 25.1: 7.846, 26: 8.845, 30: 9.544, 50: 10.243,
}  # fmt: skip


@pytest.mark.parametrize(("volume_mL", "pCa"), CALCIUM_COMPUTED.items())
def test_calcium(volume_mL, pCa):
    for titration in both("Ca", 1.75e10, 0.00025, 50.0, 0.01):
        assert abs(pM(titration, volume_mL, "Ca") - pCa) <= 0.0005


# K' = 0.30 × 10^10.65: a worked solution to Harris, and for 5 mL another stored worked solution.
@pytest.mark.parametrize(("volume_mL", "pCa"), [(5, 2.439), (25, 6.302), (26, 8.729)])
def test_worked_solutions(volume_mL, pCa):
    for titration in both("Ca", 0.30 * 10**10.65, 0.00025, 50.0, 0.01):
        assert abs(pM(titration, volume_mL, "Ca") - pCa) <= 0.0005


# Computed by us; the share depends on the set of pKa, so the set is always named.
@pytest.mark.parametrize(
    ("pKa", "share"),
    [
        ((0.0, 1.5, 2.00, 2.69, 6.13, 10.37), 0.299),
        ((1.99, 2.67, 6.16, 10.26), 0.355),
        ((0, 1.5, 2, 2.66, 6.16, 10.24), 0.365),
        ((0, 1.5, 2, 2.68, 6.11, 10.17), 0.403),
    ],
)
def test_share_of_the_bare_ion_at_pH_10(pKa, share):
    assert abs(edta_fraction(10.0, pKa) - share) <= 0.0005


def test_share_for_the_published_table():
    """Harvey's 0.35 at pH 10 lies among what the sets of the table give."""
    shares = [edta_fraction(10.0, name) for name in EDTA_SETS]
    assert min(shares) < 0.35 < max(shares)
    with pytest.raises(KeyError, match="a set of pKa of EDTA"):
        edta_fraction(10.0, "unheard of")


@pytest.mark.parametrize("pH", [-5.0, 0.0, 7.0, 14.0, 100.0])
def test_shares_stay_between_0_and_1(pH):
    assert 0.0 <= edta_fraction(pH) <= 1.0
    for chelate in CHELATES:
        assert 0.0 <= metal_fraction(chelate, pH, 0.1) <= metal_fraction(chelate, pH) <= 1.0


def test_ammonia_lowers_the_conditional_constant():
    """Zinc at pH 10 in 0.1 mol/L NH3: α(Zn) 1.8e-5 in textbooks (from memory), so log K'' drops to near 11.2."""
    assert metal_fraction(ZINC, 10.0, 0.1) == pytest.approx(1.8e-5, rel=0.25)
    assert conditional_log_K(ZINC, 10.0, 0.1).value == pytest.approx(16.5 - 0.524 - 4.745, abs=0.15)
    assert conditional_log_K(CALCIUM, 10.0, 0.1).value == pytest.approx(10.65 - 0.524, abs=0.01)


def test_constants_at_infinite_dilution_agree_when_brought_to_the_medium():
    """NIST 46 (minteq.v4.dat of PHREEQC) at I = 0, with Davies at 0.1 mol/L (−1.71): within 0.2 of the table."""
    for chelate, at_zero in ((CALCIUM, 12.42), (MAGNESIUM, 10.57), (ZINC, 18.0), (COPPER, 20.5), (CADMIUM, 18.2)):
        assert abs(chelate.log_K.value - (at_zero - 1.713)) <= 0.25


def test_free_ammonia():
    """Half of an ammonia buffer is NH3 at pH = pKa."""
    assert free_ammonia_mol_per_L(0.2, 9.244) == pytest.approx(0.1)
    assert free_ammonia_mol_per_L(0.2, -1000.0) >= 0.0


def test_metal_electrode_has_half_the_slope():
    """29.58 mV per unit of pM at 25 °C: the Nernst slope over two."""
    assert ion_electrode_mV(0.0) - ion_electrode_mV(1.0) == pytest.approx(29.58, abs=0.005)


@pytest.mark.parametrize("pH", [-1e3, 1e3])
def test_a_negative_concentration_of_ammonia_is_refused(pH):
    with pytest.raises(ValueError, match="concentration of ammonia"):
        metal_fraction(ZINC, pH, -0.1)
