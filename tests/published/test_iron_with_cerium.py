"""The computed curve of iron(II) with cerium(IV) against tables, to half a unit of their last printed digit."""

import math
from decimal import Decimal, getcontext

import pytest

from titrator.chemistry.constants import nernst_slope_mV, nernst_slope_per_decade_mV
from titrator.chemistry.redox import RedoxBalance, RedoxTitration
from titrator.chemistry.redox_curve import potential_at_mV

SLOPE_mV = nernst_slope_mV(25)
# 50.00 mL of 0.0500 mol/L iron(II), 0.1000 mol/L cerium(IV), 1 mol/L sulfuric acid, against SHE.
SULFURIC = RedoxTitration.of_amounts(RedoxBalance(680, 1440, SLOPE_mV), 50.00 * 0.0500, 0.1000)
# 100.0 mL of 0.0500 mol/L iron(II), 0.100 mol/L cerium(IV), 1 mol/L perchloric acid, against SHE.
PERCHLORIC = RedoxTitration.of_amounts(RedoxBalance(767, 1700, SLOPE_mV), 100.0 * 0.0500, 0.100)
CALOMEL_mV = 241

# Exact balance at 40 digits, in mV, computed by us in two ways: not a published table.
SULFURIC_COMPUTED_mV = {
    5: 644.4, 10: 669.6, 15: 690.4, 20: 715.6, 24: 761.7, 24.5: 780.0, 24.9: 821.8, 24.99: 881.0, 25: 1060.0,
    25.01: 1239.0, 25.1: 1298.1, 25.5: 1339.5, 26: 1357.3, 30: 1398.6, 40: 1426.9, 50: 1440.0,
}  # fmt: skip
# Printed in V in a textbook, remembered (from memory); our own calculation gives back every digit.
SULFURIC_PRINTED_V = {5: 0.64, 15: 0.69, 20: 0.72, 24: 0.76, 24.9: 0.82, 25: 1.06, 25.1: 1.30, 26: 1.36, 30: 1.40}

# Against SCE; computed by us, as above.
PERCHLORIC_COMPUTED_mV = {
    10: 490.4, 20: 515.6, 25: 526.0, 36: 550.3, 40: 561.6, 45: 582.5, 49: 626.0, 49.5: 644.1, 50: 992.5, 50.5: 1340.7,
    51: 1358.5, 55: 1399.8, 60: 1417.6, 63: 1424.4,
}  # fmt: skip
# Printed in a textbook's worked example, remembered (from memory): value in V and half a unit of its last digit.
PERCHLORIC_PRINTED_V = {36.0: (0.550, 0.0005), 50.0: (0.99, 0.005), 63.0: (1.424, 0.0005)}

# Published: D. Harvey, Modern Analytical Chemistry (2000), Table 9.17, p. 335. 50.0 mL of 0.100 mol/L iron(II), 0.100
# mol/L cerium(IV), 1 mol/L perchloric acid, 0.767 and 1.70 V, V against SHE.
HARVEY_9_17_V = {
    5: "0.711", 10: "0.731", 15: "0.745", 20: "0.757", 25: "0.767", 30: "0.777", 35: "0.789", 40: "0.803", 45: "0.823",
    50: "1.23", 55: "1.64", 60: "1.66", 65: "1.67", 70: "1.68", 75: "1.68", 80: "1.69", 85: "1.69", 90: "1.69",
    95: "1.70", 100: "1.70",
}  # fmt: skip


@pytest.mark.parametrize(("volume_mL", "computed_mV"), SULFURIC_COMPUTED_mV.items())
def test_sulfuric_acid_computed(volume_mL, computed_mV):
    assert abs(SULFURIC.potential_mV(volume_mL) - computed_mV) <= 0.05


@pytest.mark.parametrize(("volume_mL", "printed_V"), SULFURIC_PRINTED_V.items())
def test_sulfuric_acid_printed(volume_mL, printed_V):
    assert abs(SULFURIC.potential_mV(volume_mL) / 1000 - printed_V) <= 0.005


@pytest.mark.parametrize(("volume_mL", "computed_mV"), PERCHLORIC_COMPUTED_mV.items())
def test_perchloric_acid_computed(volume_mL, computed_mV):
    assert abs(PERCHLORIC.potential_mV(volume_mL) - CALOMEL_mV - computed_mV) <= 0.05


@pytest.mark.parametrize(("volume_mL", "printed"), PERCHLORIC_PRINTED_V.items())
def test_perchloric_acid_printed(volume_mL, printed):
    printed_V, half_digit_V = printed
    assert abs((PERCHLORIC.potential_mV(volume_mL) - CALOMEL_mV) / 1000 - printed_V) <= half_digit_V


@pytest.mark.parametrize(("volume_mL", "printed_V"), HARVEY_9_17_V.items())
def test_harvey_table_9_17(volume_mL, printed_V):
    titration = RedoxTitration.of_amounts(RedoxBalance(767, 1700, SLOPE_mV), 50.0 * 0.100, 0.100)
    half_digit_V = 0.5 * 10.0 ** -len(printed_V.split(".")[1])
    # 50 mL is 1.2335 V and prints as 1.23; no entry lies on the edge of rounding.
    assert abs(titration.potential_mV(volume_mL) / 1000 - float(printed_V)) <= half_digit_V


def test_the_vectorised_engine_gives_the_published_table_too():
    titration = RedoxTitration.of_amounts(RedoxBalance(767, 1700, SLOPE_mV), 50.0 * 0.100, 0.100)
    found_mV = potential_at_mV(titration, list(HARVEY_9_17_V))
    for potential_mV, printed_V in zip(found_mV, HARVEY_9_17_V.values(), strict=True):
        assert abs(potential_mV / 1000 - float(printed_V)) <= 0.5 * 10.0 ** -len(printed_V.split(".")[1])


def test_a_slope_rounded_to_59_2_mV_shows_in_the_last_digit():
    """Why tables differ: 24.90 mL gives 821.9 mV with the rounded slope, 821.8 mV with ours (computed by us)."""
    rounded = RedoxTitration(RedoxBalance(680, 1440, 59.2 / math.log(10)), 25.0)
    assert round(rounded.potential_mV(24.9), 1) == 821.9
    assert round(SULFURIC.potential_mV(24.9), 1) == 821.8
    assert round(nernst_slope_per_decade_mV(25), 1) == 59.2


@pytest.mark.parametrize("titration", [SULFURIC, PERCHLORIC], ids=["sulfuric", "perchloric"])
@pytest.mark.parametrize("share", [0.001, 0.2, 0.5, 0.98, 0.9999, 0.9999999, 1.0000001, 1.0001, 1.02, 1.5, 2.0, 30.0])
def test_mass_action_at_50_digits_gives_the_same_curve(titration, share):
    """A second route: K = exp((E_T − E_A)/s) and the quadratic of mass action, in Python's decimal arithmetic."""
    getcontext().prec = 50
    balance, added = titration.balance, Decimal(share)
    slope = Decimal(balance.slope_mV)
    constant = ((Decimal(balance.titrant_mV) - Decimal(balance.analyte_mV)) / slope).exp()
    # K·(1 − u)·(added − u) = u² for the turnover u, in units of the analyte.
    half = constant * (1 + added) / 2
    turnover = (half - (half * half - (constant - 1) * constant * added).sqrt()) / (constant - 1)
    expected_mV = Decimal(balance.analyte_mV) + slope * (turnover / (1 - turnover)).ln()
    # The float of V/Ve carries 2e-16 of itself; beside the jump that is up to s·2e-16/1e-7 = 5e-8 mV.
    assert abs(balance.potential_mV(share) - float(expected_mV)) <= 1e-9 + 1e-14 / abs(1 - share)


HAND_OFFSETS_mL = [-24.0, -12.5, -5.0, -1.0, -0.1, -0.01, -0.001, 0.001, 0.01, 0.1, 1.0, 5.0, 25.0]


@pytest.mark.parametrize("titration", [SULFURIC, PERCHLORIC], ids=["sulfuric", "perchloric"])
@pytest.mark.parametrize("offset_mL", HAND_OFFSETS_mL)
def test_hand_formulas_differ_by_what_the_balance_predicts(titration, offset_mL):
    """Textbook formulas before and after equivalence are off by the turnover that they neglect, and by no more.

    Before: a = v·b exactly, the formula takes b = 1; in ln(a/(1 − a)) that is (1 − b)/(1 − v) to first order.
    After: b = a/v exactly, the formula takes a = 1; that is (1 − a)·v/(v − 1). The neglected second order is the same
    number squared.
    """
    balance, end_mL = titration.balance, titration.equivalence_mL
    volume_mL = end_mL + offset_mL
    v = volume_mL / end_mL
    if offset_mL < 0:
        hand_mV = balance.analyte_mV + SLOPE_mV * math.log(volume_mL / (end_mL - volume_mL))
        left = 1 / (1 + math.exp((balance.titrant_mV - hand_mV) / SLOPE_mV)) / (1 - v)
        sign = -1
    else:
        hand_mV = balance.titrant_mV + SLOPE_mV * math.log((volume_mL - end_mL) / end_mL)
        left = 1 / (1 + math.exp((hand_mV - balance.analyte_mV) / SLOPE_mV)) * v / (v - 1)
        sign = 1
    predicted_mV = sign * SLOPE_mV * left
    difference_mV = titration.potential_mV(volume_mL) - hand_mV
    rounding_mV = 1e-9 + 1e-14 / abs(1 - v)
    assert abs(difference_mV - predicted_mV) <= 2 * abs(predicted_mV) * left + rounding_mV
    assert abs(difference_mV) < 0.003


@pytest.mark.parametrize(
    ("offset_mL", "difference_uV", "half_digit_uV"), [(0.001, 2.3, 0.05), (0.01, 0.02, 0.005), (0.1, 0.0002, 0.00005)]
)
def test_size_of_that_difference_in_sulfuric_acid(offset_mL, difference_uV, half_digit_uV):
    """In µV beside 25 mL: computed by us at 40 digits."""
    before_mV = 680 + SLOPE_mV * math.log((25 - offset_mL) / offset_mL)
    after_mV = 1440 + SLOPE_mV * math.log(offset_mL / 25)
    found_uV = 1000 * (before_mV - SULFURIC.potential_mV(25 - offset_mL))
    assert abs(found_uV - difference_uV) <= half_digit_uV + 1e-6
    found_uV = 1000 * (SULFURIC.potential_mV(25 + offset_mL) - after_mV)
    assert abs(found_uV - difference_uV) <= half_digit_uV + 1e-6


@pytest.mark.parametrize("titration", [SULFURIC, PERCHLORIC], ids=["sulfuric", "perchloric"])
def test_hand_formula_at_equivalence_is_exact(titration):
    """(E_A + E_T)/2 for one electron each: a = b there, so nothing is neglected."""
    middle_mV = (titration.balance.analyte_mV + titration.balance.titrant_mV) / 2
    assert abs(titration.potential_mV(titration.equivalence_mL) - middle_mV) <= 1e-9
