"""Silver with halides: tables of textbooks, with the solubility products of those textbooks and no activity."""

import math

import pytest

from titrator.chemistry.precipitation import (
    BROMIDE,
    CHLORIDE,
    IODIDE,
    onset_mL,
    silver_potential_mV,
    silver_system,
    solubility_mol_per_L,
)
from titrator.chemistry.titration import Titration

AGCL, AGI = CHLORIDE.told(1.8e-10), IODIDE.told(8.3e-17)


def pX(titration, volume_mL, ion):
    state = titration.state(volume_mL)
    found = titration.equilibrium(volume_mL)
    return -math.log10(1000 * titration.system.species_mol(state, found.y)[ion] / state.volume_mL)


# Harvey, Modern Analytical Chemistry (2000), Table 9.21: mL: (pCl, pAg). Its 4.89 at 25 mL comes from 1.34e-5 rounded
# to 1.3e-5 first: 0.02 is allowed there (exact: 4.872).
HARVEY = {
    0: (1.30, None), 5: (1.44, 8.31), 10: (1.60, 8.14), 15: (1.81, 7.93), 20: (2.15, 7.60), 25: (4.89, 4.89),
    30: (7.54, 2.20), 35: (7.82, 1.93), 40: (7.97, 1.78), 45: (8.07, 1.68), 50: (8.14, 1.60),
}  # fmt: skip


@pytest.mark.parametrize("volume_mL", HARVEY)
def test_harvey_chloride(volume_mL):
    """50.0 mL of 0.0500 mol/L chloride with 0.100 mol/L silver nitrate, Ksp 1.8e-10."""
    titration = Titration(silver_system([AGCL]), {"Cl-": 0.0025, "Na+": 0.0025}, 50.0, {"Ag+": 0.1, "NO3-": 0.1})
    pCl, pAg = HARVEY[volume_mL]
    tolerance = 0.02 if volume_mL == 25 else 0.005
    assert abs(pX(titration, volume_mL, "Cl-") - pCl) <= tolerance
    if pAg is None:
        assert titration.p(volume_mL) == math.inf
    else:
        assert abs(titration.p(volume_mL) - pAg) <= tolerance


@pytest.mark.parametrize(
    ("volume_mL", "pAg", "half_digit"),
    # 10, 50 and 60 mL: a stored worked solution to a textbook's exercise; the others computed by us.
    [
        (10, 14.84, 0.005),
        (50, 8.04, 0.005),
        (60, 2.23, 0.005),
        (49, 12.911, 5e-4),
        (51, 3.182, 5e-4),
        (52, 2.886, 5e-4),
    ],
)
def test_iodide(volume_mL, pAg, half_digit):
    """25.00 mL of 0.1000 mol/L iodide with 0.05000 mol/L silver, Ksp 8.3e-17."""
    titration = Titration(silver_system([AGI]), {"I-": 0.0025, "Na+": 0.0025}, 25.0, {"Ag+": 0.05, "NO3-": 0.05})
    assert abs(titration.p(volume_mL) - pAg) <= half_digit


# 50.00 mL of 0.0500 mol/L iodide and 0.0800 mol/L chloride with 0.1000 mol/L silver: computed by us at 40 digits.
MIXTURE = {
    5: 14.642, 10: 14.479, 20: 13.935, 24: 13.212, 24.9: 12.206, 25: 8.472, 30: 8.386, 40: 8.188, 60: 7.402, 64: 6.688,
    64.9: 5.694, 65: 4.872, 65.1: 4.051, 66: 3.064, 70: 2.380,
}  # fmt: skip


def mixture():
    return Titration(silver_system([AGCL, AGI]), {"I-": 0.0025, "Cl-": 0.004, "Na+": 0.0065}, 50.0, {"Ag+": 0.1, "NO3-": 0.1})  # fmt: skip # noqa: E501


@pytest.mark.parametrize(("volume_mL", "pAg"), MIXTURE.items())
def test_mixture(volume_mL, pAg):
    titration = mixture()
    assert abs(titration.p(volume_mL) - pAg) <= 0.0005
    assert titration.volume_mL(titration.p(volume_mL)) == pytest.approx(volume_mL, rel=1e-9)


def test_onset_of_the_second_precipitate():
    """AgCl starts at 24.99998 mL (computed by us): 1.6e-5 mL early, by the ratio of the solubility products."""
    assert abs(onset_mL(AGCL, mixture()) - 24.99998) <= 0.000005
    # by hand, if iodide is all precipitated: what is left of iodide is Ksp(AgI)/Ksp(AgCl)·[Cl−]
    left = 8.3e-17 / 1.8e-10 * 0.004
    assert onset_mL(AGCL, mixture()) == pytest.approx(25.0 - 1000 * left / 0.1 + 1000 * 1.8e-10 / 0.05333 * 0.075 / 0.1, abs=2e-6)  # fmt: skip # noqa: E501
    assert onset_mL(AGI, mixture()) < 1e-9


def test_no_onset_without_the_ion():
    titration = Titration(silver_system([AGCL, BROMIDE]), {"Cl-": 0.001, "Na+": 0.001}, 50.0, {"Ag+": 0.1, "NO3-": 0.1})
    assert onset_mL(BROMIDE, titration) == math.inf


def test_solubility_is_the_root_of_the_product():
    """√1.8e-10 = 1.34e-5 mol/L, the figure behind Harvey's 4.89."""
    assert solubility_mol_per_L(AGCL) == pytest.approx(1.3416e-5, rel=1e-4)


def test_silver_electrode():
    """E° + 59.159 mV·log10 a: 799.6 mV at a = 1 (CRC); AgCl at a(Cl) = 1 gives 222.33 mV (CRC) within 0.5 mV."""
    assert silver_potential_mV(0.0) == 799.6
    assert abs(silver_potential_mV(-CHLORIDE.log_Ksp.value) - 222.33) <= 0.6
    assert abs(silver_potential_mV(-BROMIDE.log_Ksp.value) - 71.33) <= 0.8
