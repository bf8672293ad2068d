"""Acid-base curves printed in textbooks; the constants are those of the textbooks, without activity coefficients."""

import math

import pytest

from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import Acid
from titrator.chemistry.titration import Titration

TITRANT = {"Na+": 0.1, "OH-": 0.1}


def with_soda(recipe_mol, volume_mL, *acids, pKw=14.0, soda_mol_per_L=0.1):
    system = acid_base_system(acids, pKw_told=pKw)
    return Titration(system, recipe_mol, volume_mL, {"Na+": soda_mol_per_L, "OH-": soda_mol_per_L})


def acetic(Ka):
    return Acid.of("HA", 0, -math.log10(Ka))


def check(titration, table, half_digit):
    wrong = {v: titration.p(v) for v, pH in table.items() if abs(titration.p(v) - pH) > half_digit + 1e-9}
    assert not wrong


# OpenStax, Chemistry: Atoms First, Table 14.4: 25.00 mL of 0.100 mol/L acid with 0.100 mol/L NaOH.
OPENSTAX_ACETIC = {
    25: 8.72, 25.1: 10.30, 25.5: 11.00, 26: 11.29, 28: 11.75, 30: 11.96, 35: 12.22, 40: 12.36, 45: 12.46, 50: 12.52,
}  # fmt: skip


def test_openstax_acetic_acid():
    check(with_soda({"HA": 0.0025}, 25.0, acetic(1.8e-5)), OPENSTAX_ACETIC, 0.005)


def test_openstax_hydrochloric_acid():
    check(with_soda({"H+": 0.0025, "Cl-": 0.0025}, 25.0), OPENSTAX_ACETIC | {25: 7.00}, 0.005)


def test_whitten_acetic_acid():
    """A general chemistry textbook (Whitten et al.: author from memory), Table 19-6: 100.0 mL of 0.100 mol/L acid.

    Its first three entries are the hand formula, off by up to 0.015: the exact ones (computed by us) stand here.
    """
    titration = with_soda({"HA": 0.01}, 100.0, acetic(1.8e-5))
    printed = {75: 5.22, 90: 5.70, 95: 6.02, 99: 6.74, 100: 8.72, 101: 10.70, 110: 11.68, 120: 11.96}
    check(titration, printed, 0.005)
    check(titration, {0: 2.875, 20: 4.145, 50: 4.745}, 0.0005)
    check(titration, {0: 2.89, 20: 4.14, 50: 4.74}, 0.0155)


def test_harvey_strong_acid():
    """Harvey, Modern Analytical Chemistry (2000), Table 9.2: 50.00 mL of 0.100 mol/L HCl.

    The base is 0.200 mol/L (the heading's 0.0500 is a misprint); at 30 mL the table prints 12.50, its own text 12.10.
    """
    table = {
        0: 1.00, 5: 1.14, 10: 1.30, 15: 1.51, 20: 1.85, 22: 2.08, 24: 2.57, 25: 7.00, 26: 11.42, 28: 11.89, 30: 12.10,
        35: 12.37, 40: 12.52, 45: 12.62, 50: 12.70,
    }  # fmt: skip
    check(with_soda({"H+": 0.005, "Cl-": 0.005}, 50.0, soda_mol_per_L=0.2), table, 0.005)


# 50.00 mL of 0.1000 mol/L acetic acid with 0.1000 mol/L NaOH. Computed by us at 40 digits from the exact balance.
COMPUTED_ACETIC_mL = (0, 5, 10, 25, 40, 45, 49, 49.9, 50, 50.1, 51, 55, 60, 75)
COMPUTED_ACETIC = {
    (-math.log10(1.75e-5), 14.0): (
        2.881, 3.811, 4.157, 4.757, 5.359, 5.711, 6.447, 7.454, 8.728, 10.001, 10.996, 11.678, 11.959, 12.301),
    (4.756, 13.995): (
        2.881, 3.810, 4.156, 4.756, 5.358, 5.710, 6.446, 7.453, 8.725, 9.996, 10.991, 11.673, 11.954, 12.296),
}  # fmt: skip


@pytest.mark.parametrize(("constants", "computed"), COMPUTED_ACETIC.items())
def test_computed_acetic_acid(constants, computed):
    titration = with_soda({"HA": 0.005}, 50.0, Acid.of("HA", 0, constants[0]), pKw=constants[1])
    check(titration, dict(zip(COMPUTED_ACETIC_mL, computed, strict=True)), 0.0005)


def test_remembered_acetic_acid():
    """The print of a textbook for the first row above, from memory; our own calculation gives it back."""
    printed = {0: 2.88, 10: 4.16, 25: 4.76, 40: 5.36, 49: 6.45, 50: 8.73, 50.1: 10.00, 51: 11.00, 60: 11.96, 75: 12.30}
    check(with_soda({"HA": 0.005}, 50.0, acetic(1.75e-5)), printed, 0.005)


# 50.00 mL of 0.1000 mol/L phosphoric acid, pKa 2.148 7.198 12.35, pKw 13.995. Computed by us at 40 digits.
COMPUTED_PHOSPHORIC = {
    0: 1.632, 10: 1.889, 25: 2.284, 40: 2.827, 49: 3.887, 50: 4.702, 51: 5.518, 60: 6.596, 75: 7.198, 90: 7.800,
    99: 8.876, 100: 9.661, 101: 10.440, 110: 11.443, 125: 11.859, 150: 12.172, 200: 12.454,
}  # fmt: skip


def phosphoric():
    return with_soda({"H3PO4": 0.005}, 50.0, Acid.of("H3PO4", 0, 2.148, 7.198, 12.35), pKw=13.995)


def test_computed_phosphoric_acid():
    check(phosphoric(), COMPUTED_PHOSPHORIC, 0.0005)


@pytest.mark.parametrize(("near_mL", "inflection_mL", "digits"), [(50, 50.0002, 5e-5), (100, 99.9985, 5e-5)])
def test_inflections_of_phosphoric_acid(near_mL, inflection_mL, digits):
    """50.0002 and 99.9985 mL (computed by us): the steepest point of the curve lies beside the equivalence point."""
    titration = phosphoric()
    middle = titration.p(near_mL)
    # V(pH) is explicit: the inflection is the least dV/dpH, found by halving on the sign of the second difference.
    low, high, step = middle - 0.3, middle + 0.3, 1e-3
    for _ in range(40):
        pH = 0.5 * (low + high)
        left, here, right = (titration.volume_mL(pH + k * step) for k in (-1, 0, 1))
        low, high = (pH, high) if left - 2 * here + right < 0 else (low, pH)
    assert abs(titration.volume_mL(0.5 * (low + high)) - inflection_mL) <= digits + 1e-5


def test_no_third_jump_of_phosphoric_acid():
    """At 150 mL the curve has no inflection: its slope only falls from 110 to 200 mL."""
    titration = phosphoric()
    steps = [titration.p(v + 1) - titration.p(v) for v in range(115, 200, 5)]
    assert steps == sorted(steps, reverse=True)
