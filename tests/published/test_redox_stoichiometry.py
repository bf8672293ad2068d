"""Redox curves of unequal stoichiometry: computed by us at 40 digits unless another source stands beside them."""

import math

import pytest
from scipy.optimize import minimize_scalar

from titrator.chemistry.constants import nernst_slope_mV, nernst_slope_per_decade_mV
from titrator.chemistry.couple_table import (
    DEHYDROASCORBIC,
    DICHROMATE,
    HEXACYANOFERRATE,
    PERMANGANATE,
    QUINHYDRONE,
    TETRATHIONATE,
    TIN,
    TRIIODIDE,
)
from titrator.chemistry.couples import CERIUM, IRON
from titrator.chemistry.redox import RedoxBalance
from titrator.chemistry.redox_cell import AcidLevel, CellTitration, RedoxCell

S = nernst_slope_mV(25.0)


def iron_with(couple, potential_V, titrant, pH=0.0):
    return CellTitration(RedoxCell([(IRON, 0.68), (couple, potential_V)]), {"iron(II)": 0.005}, 50.0, titrant, acid=pH)


def tin():
    cell = RedoxCell.in_medium([(TIN, "1 mol/L hydrochloric acid"), (CERIUM, "1 mol/L hydrochloric acid")])
    return CellTitration(cell, {"tin(II)": 0.0025}, 50.0, {"cerium(IV)": 0.1})


# V against SHE; equivalence at 50.00 mL in each. 1.51 and 1.33 V: a textbook's table.
CASES = {
    "tin(II) with cerium(IV)": (tin(), {
        10: 0.1212, 25: 0.1390, 40: 0.1568, 49: 0.1890, 49.9: 0.2188, 50: 0.5193, 50.1: 1.1203, 51: 1.1795, 60: 1.2386,
        75: 1.2622}),
    "iron(II) with permanganate, pH 0": (iron_with(PERMANGANATE, 1.51, {"permanganate": 0.02}), {
        10: 0.6444, 25: 0.6800, 45: 0.7365, 49.9: 0.8396, 50: 1.3717, 50.1: 1.4781, 55: 1.4982, 75: 1.5064,
        100: 1.5100}),
    "iron(II) with permanganate, pH 1": (iron_with(PERMANGANATE, 1.51, {"permanganate": 0.02}, 1.0), {
        10: 0.6444, 25: 0.6800, 45: 0.7365, 49.9: 0.8396, 50: 1.2928, 50.1: 1.3834, 55: 1.4035, 75: 1.4118,
        100: 1.4153}),
    "iron(II) with dichromate, pH 0": (iron_with(DICHROMATE, 1.33, {"dichromate": 1 / 60}), {
        10: 0.6444, 25: 0.6800, 49.9: 0.8396, 50: 1.2496, 50.1: 1.3180, 55: 1.3349, 75: 1.3426, 100: 1.3463}),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_curves(name):
    titration, table = CASES[name]
    assert titration.equivalence_mL == pytest.approx(50.0, rel=1e-12)
    for volume_mL, potential_V in table.items():
        assert abs(titration.potential_mV(volume_mL) / 1000 - potential_V) <= 0.00005
        assert titration.volume_mL(titration.potential_mV(volume_mL)) == pytest.approx(volume_mL, rel=1e-10)


@pytest.mark.parametrize(
    ("name", "off_mV"),
    [
        ("tin(II) with cerium(IV)", 11.9),
        ("iron(II) with permanganate, pH 0", -13.8),
        ("iron(II) with dichromate, pH 0", -13.2),
    ],
)
def test_the_inflection_is_off_in_potential_but_not_in_volume(name, off_mV):
    titration, _ = CASES[name]
    middle_mV = titration.potential_mV(50.0)
    curve, state = titration.titration, titration.titration.state(50.0)

    def slope(potential_mV):
        """dV/dE beside 50 mL: what one unit of ln x takes up, over what one litre of titrant brings there."""
        y = -potential_mV / S
        return curve.system.capacity_mol(state, y, curve.system.g(0.0)) / abs(
            curve._excess(y, curve.system.g(0.0), curve.titrant)
        )

    found = minimize_scalar(slope, bounds=(middle_mV - 60, middle_mV + 60), method="bounded", options={"xatol": 1e-6})
    assert abs(found.x - middle_mV - off_mV) <= 0.05
    assert abs(titration.volume_mL(found.x) - 50.0) <= 1e-7


def test_equivalence_potentials():
    """Weighted mean (z1·E1 + z2·E2)/(z1 + z2); Harvey, Analytical Chemistry 2.0, p. 486: 0.07888 V per pH (Fe/MnO4)."""
    assert tin().potential_mV(50.0) == pytest.approx((2 * 139 + 1280) / 3, abs=1e-6)
    for pH in (0.0, 1.0, 2.0):
        titration = iron_with(PERMANGANATE, 1.51, {"permanganate": 0.02}, pH)
        expected_mV = (680 + 5 * 1510) / 6 - 8 / 6 * nernst_slope_per_decade_mV(25.0) * pH
        assert titration.potential_mV(50.0) == pytest.approx(expected_mV, abs=1e-6)
    assert 8 / 6 * nernst_slope_per_decade_mV(25.0) / 1000 == pytest.approx(0.07888, abs=5e-6)


def test_equivalence_potential_of_dichromate_holds_its_concentration():
    """(E1 + 6·E2)/7 − (RT/7F)·ln(2[Cr3+]/[H+]^14): a textbook's formula; [Cr3+] is 1/60 mol/L there."""
    expected_mV = (680 + 6 * 1330) / 7 - S / 7 * math.log(2 / 60)
    assert CASES["iron(II) with dichromate, pH 0"][0].potential_mV(50.0) == pytest.approx(expected_mV, abs=1e-6)


@pytest.mark.parametrize("volume_mL", [0.01, 10, 24.9, 25, 25.1, 60])
def test_one_analyte_with_one_titrant_is_the_curve_of_the_older_engine(volume_mL):
    """Two engines written apart; the older one is checked against Harvey's Table 9.17."""
    titration = CellTitration(
        RedoxCell([(IRON, 0.68), (CERIUM, 1.44)]), {"iron(II)": 0.0025}, 50.0, {"cerium(IV)": 0.1}
    )
    other = RedoxBalance(680, 1440, S).potential_mV(volume_mL / 25.0)
    assert titration.potential_mV(volume_mL) == pytest.approx(other, abs=1e-7)


def test_harvey_iron_with_cerium():
    """Harvey, Modern Analytical Chemistry (2000), Table 9.17: some entries, from the table's own potentials."""
    cell = RedoxCell.in_medium([(IRON, "1 mol/L perchloric acid"), (CERIUM, "1 mol/L perchloric acid")])
    titration = CellTitration(cell, {"iron(II)": 0.005}, 50.0, {"cerium(IV)": 0.1})
    printed = {5: 0.711, 10: 0.731, 15: 0.745, 25: 0.767, 35: 0.789, 45: 0.823}
    for volume_mL, potential_V in printed.items():
        assert abs(titration.potential_mV(volume_mL) / 1000 - potential_V) <= 0.0005
    for volume_mL, potential_V in {50: 1.23, 55: 1.64, 60: 1.66, 75: 1.68, 100: 1.70}.items():
        assert abs(titration.potential_mV(volume_mL) / 1000 - potential_V) <= 0.005


def test_two_analytes_give_two_jumps():
    """Tin(II), then iron(II), with cerium(IV): at the first point the mean of tin (2) and iron (1), by hand."""
    cell = RedoxCell([(TIN, 0.139), (IRON, 0.70), (CERIUM, 1.28)])
    titration = CellTitration(cell, {"tin(II)": 0.0025, "iron(II)": 0.0025}, 50.0, {"cerium(IV)": 0.1})
    assert titration.equivalence_mL == pytest.approx(75.0)
    # at 50 mL as much tin(II) is left as half the iron(III) made: 2·[Sn(II)] = [Fe(III)], n(Sn) = n(Fe)
    assert titration.potential_mV(50.0) == pytest.approx((2 * 139 + 700 + S * math.log(2)) / 3, abs=1e-3)
    assert titration.potential_mV(75.0) == pytest.approx((700 + 1280) / 2 + S / 2 * math.log(0.0025 / 0.0075), abs=1e-3)
    assert titration.potential_mV(62.5) == pytest.approx(700.0, abs=1e-3)


def test_iodine_with_thiosulfate():
    """Half-way, by Nernst: 25 mL of 0.04 mol/L I3− left over as half, iodide counted by hand."""
    cell = RedoxCell([(TRIIODIDE, 0.536), (TETRATHIONATE, 0.08)])
    titration = CellTitration(cell, {"triiodide": 0.001, "iodide": 0.01}, 50.0, {"thiosulfate": 0.1})
    assert titration.equivalence_mL == pytest.approx(20.0)
    triiodide, iodide = 0.0005 / 0.06, 0.0115 / 0.06
    assert titration.potential_mV(10.0) == pytest.approx(536 + S / 2 * math.log(triiodide / iodide**3), abs=1e-5)
    tetrathionate, thiosulfate = 0.001 / 0.08, 0.001 / 0.08
    assert titration.potential_mV(30.0) == pytest.approx(
        80 + S / 2 * math.log(tetrathionate / thiosulfate**2), abs=1e-3
    )


def test_ascorbic_acid_with_iodine():
    """At pH 2 the couple lies two protons for two electrons lower: 390 − 2·59.159 mV; half-way that potential."""
    cell = RedoxCell([(TRIIODIDE, 0.536), (DEHYDROASCORBIC, 0.390)])
    titration = CellTitration(cell, {"ascorbic acid": 0.001}, 50.0, {"triiodide": 0.05, "iodide": 0.2}, acid=2.0)
    assert titration.equivalence_mL == pytest.approx(20.0)
    assert titration.potential_mV(10.0) == pytest.approx(390 - 2 * nernst_slope_per_decade_mV(25.0), abs=0.02)


def test_acid_that_is_used_up():
    """One mol of permanganate takes up eight mol of H+: 0.05 − 8·0.001 mol left in 100 mL at the equivalence point."""
    acid = AcidLevel(vessel_mol=0.05, per_electron=8 / 5)
    titration = iron_with(PERMANGANATE, 1.51, {"permanganate": 0.02}, acid)
    assert titration.pH(0.0) == pytest.approx(0.0)
    assert titration.pH(50.0) == pytest.approx(-math.log10(0.42))
    held = iron_with(PERMANGANATE, 1.51, {"permanganate": 0.02}, -math.log10(0.42))
    assert titration.potential_mV(50.0) == pytest.approx(held.potential_mV(50.0))
    with pytest.raises(ValueError, match="a held pH was expected"):
        titration.volume_mL(1000.0)


def test_redox_check_solutions():
    """ASTM D1498 (from memory): Light's +675 mV; quinhydrone +462 mV at pH 4.00, +285 mV at pH 7.00, against SHE.

    The formal 0.68 V of iron in 1 mol/L sulfuric acid is 5 mV above Light's own figure.
    """
    light = RedoxCell.in_medium([(IRON, "1 mol/L sulfuric acid")])
    state = light.state({"iron(II)": 0.1, "iron(III)": 0.1}, 1000.0)
    assert abs(light.potential_mV(state) - 675) <= 5.001
    quinhydrone = RedoxCell.in_medium([(QUINHYDRONE, "standard")])
    state = quinhydrone.state({"benzoquinone": 0.001, "hydroquinone": 0.001}, 100.0)
    assert abs(quinhydrone.potential_mV(state, 4.00) - 462.6) <= 0.05
    assert abs(quinhydrone.potential_mV(state, 7.00) - 285.1) <= 0.05
    # against silver/silver chloride in saturated KCl, 199 mV, the maker's print is +264 and +87 mV
    assert abs(quinhydrone.potential_mV(state, 4.00) - 199 - 264) <= 1
    assert abs(quinhydrone.potential_mV(state, 7.00) - 199 - 87) <= 1


def test_zobell():
    """428 mV at 25 °C: a handbook of methods; 430.28 mV: Nordstrom 1977, from memory. Equimolar, so E is formal."""
    for medium, published_mV in (("0.1 mol/L potassium chloride", 428), ("ZoBell's solution after Nordstrom", 430.28)):
        cell = RedoxCell.in_medium([(HEXACYANOFERRATE, medium)])
        state = cell.state({"hexacyanoferrate(III)": 0.00333, "hexacyanoferrate(II)": 0.00333}, 1000.0)
        assert cell.potential_mV(state) == pytest.approx(published_mV, abs=0.01)
