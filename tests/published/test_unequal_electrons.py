"""Curves of unequal stoichiometry (two electrons against one): computed by us at 40 digits, not a published table."""

import pytest
from scipy.optimize import brentq, minimize_scalar

from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.redox import RedoxBalance, RedoxTitration, oxidised_fraction

SLOPE_mV = nernst_slope_mV(25)
# 50.00 mL of 0.0500 mol/L tin(II), 0.1000 mol/L cerium(IV), 1 mol/L hydrochloric acid, 0.139 and 1.28 V against SHE.
# 0.139 V: a worked solution to Harris; 1.28 V: a lecture table.
TIN = RedoxTitration.of_amounts(RedoxBalance(139, 1280, SLOPE_mV, 2, 1), 50.00 * 0.0500, 0.1000)
TIN_COMPUTED_V = {
    10: 0.1212, 25: 0.1390, 40: 0.1568, 49: 0.1890, 49.9: 0.2188, 50: 0.5193, 50.1: 1.1203, 51: 1.1795, 60: 1.2386,
    75: 1.2622,
}  # fmt: skip


@pytest.mark.parametrize(("volume_mL", "computed_V"), TIN_COMPUTED_V.items())
def test_tin_with_cerium(volume_mL, computed_V):
    assert abs(TIN.potential_mV(volume_mL) / 1000 - computed_V) <= 0.00005


def test_equivalence_volume_counts_electrons():
    assert TIN.equivalence_mL == pytest.approx(50.00, rel=1e-15)


def test_the_inflection_is_off_in_potential_but_not_in_volume():
    """11.9 mV above the equivalence potential (computed by us), yet 1e-7 mL or less away in volume."""
    middle_mV = TIN.balance.equivalence_mV
    found = minimize_scalar(
        TIN.volume_slope_mL_per_mV, bounds=(middle_mV - 100, middle_mV + 100), method="bounded", options={"xatol": 1e-6}
    )
    assert abs(found.x - middle_mV - 11.9) <= 0.05
    assert abs(TIN.volume_mL(found.x) - 50.0) <= 1e-7


@pytest.mark.parametrize(("z_A", "z_T"), [(1, 1), (2, 1), (1, 2), (3, 2), (1, 5), (2, 5)])
@pytest.mark.parametrize("oxidised", [0.0, 0.001, 0.4])
@pytest.mark.parametrize("share", [1e-6, 0.01, 0.3, 0.9, 0.999, 1.001, 1.1, 2.0, 50.0])
def test_general_form_against_a_root_finder_on_the_plain_balance(z_A, z_T, oxidised, share):
    """scipy's brentq on n_A·z_A·(a − f0) = c_T·V·z_T·b as it is written, with amounts."""
    analyte_mmol, titrant_mol_per_L = 1.7, 0.1
    balance = RedoxBalance(300, 1100, 25, z_A, z_T, oxidised)
    titration = RedoxTitration.of_amounts(balance, analyte_mmol, titrant_mol_per_L)
    volume_mL = share * analyte_mmol * z_A * (1 - oxidised) / (titrant_mol_per_L * z_T)

    def plain(potential_mV):
        a = oxidised_fraction(z_A * (potential_mV - 300) / 25)
        b = oxidised_fraction(-z_T * (potential_mV - 1100) / 25)
        return analyte_mmol * z_A * (a - oxidised) - titrant_mol_per_L * volume_mL * z_T * b

    expected_mV = brentq(plain, -1000, 3000, xtol=1e-10, rtol=1e-14)
    # The plain balance cancels to some 1e-15; beside the jump (0.1 %) that is s·1e-12 mV, at the foot s·1e-9.
    assert abs(titration.potential_mV(volume_mL) - expected_mV) <= 1e-7


@pytest.mark.parametrize(("z_A", "z_T"), [(1, 1), (2, 1), (1, 5)])
def test_potential_at_equivalence_is_the_weighted_mean(z_A, z_T):
    """(z_A·E_A + z_T·E_T)/(z_A + z_T): the textbook formula."""
    balance = RedoxBalance(680, 1510, SLOPE_mV, z_A, z_T)
    assert balance.potential_mV(1.0) == pytest.approx((z_A * 680 + z_T * 1510) / (z_A + z_T), abs=1e-9)
