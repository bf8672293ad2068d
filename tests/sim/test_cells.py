"""Every cell of configs/cells: a monotone curve, jumps where stoichiometry by hand says, nothing is lost."""

import itertools
import math

import pytest
from cells_stated import CELLS, NAMES, cell_named, stated_for

from sim.draw import draw_vessel

SEEDS = range(3)


def drawn_vessel(name, seed, **changed):
    return draw_vessel(cell_named(name), stated_for(name, **changed), seed)


def test_every_cell_is_here():
    assert sorted(path.stem for path in CELLS.glob("*.yaml")) == sorted(NAMES)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", NAMES)
def test_the_curve_is_monotone_from_0_to_half_again_the_last_point(name, seed):
    vessel, truth = drawn_vessel(name, seed)
    sign = 1.0 if cell_named(name).reaction.known().rising else -1.0
    last_mL = truth.equivalence_points_delivered_mL[-1]
    before_mV = vessel.chemistry.rest(vessel.contents)[0]
    assert math.isfinite(before_mV)
    for _ in range(750):
        vessel.chemistry.add_titrant(vessel.contents, 0.002 * last_mL)
        now_mV, poise = vessel.chemistry.rest(vessel.contents)
        # Rounding, and the microvolt or so within which the ionic strength agrees with itself.
        assert sign * (now_mV - before_mV) > -1e-3
        assert 0.0 <= poise < math.inf
        before_mV = now_mV


def by_hand_mL(name, drawn):
    """Volumes at the equivalence points from the equation of each reaction, written out here."""
    c = drawn["titrant_mol_per_L"]

    def mmol(key):
        return drawn[key] * drawn["aliquot_mL"] / drawn["dilution"]

    n, m = mmol("sample_mol_per_L"), mmol("sample_2_mol_per_L") if "sample_2_mol_per_L" in drawn else None
    # A base is standardised at an alkaline point, where carbonate takes one proton; where it takes two it is stronger.
    more = 1.0 / (1.0 - 0.5 * drawn.get("carbonate_share", 0.0))
    match name:
        case "iron_in_pickling_bath":
            return [n / c]
        case "iron_with_permanganate":  # MnO4- + 5 Fe2+, and the inhibitor
            return [(n + mmol("inhibitor_mol_per_L")) / (5 * c)]
        case "iron_with_dichromate":  # Cr2O7(2-) + 6 Fe2+
            return [n / (6 * c)]
        case "tin_plating_bath":  # Sn2+ + 2 Ce4+, and the brightener
            return [(2 * n + mmol("inhibitor_mol_per_L")) / c]
        case "tin_and_iron":
            return [2 * n / c, (2 * n + m) / c]
        case "iodine_with_thiosulfate":  # I2 + 2 S2O3(2-)
            return [2 * n / c]
        case "ascorbic_acid_with_iodine" | "zinc_bath" | "copper_bath" | "calcium_hardness" | "chloride_in_rinse_water":
            return [n / c]
        case "acetic_acid":
            return [n / c]
        case "citric_acid":
            return [3 * n / c]
        case "phosphoric_acid":
            return [n / (c * more), (2 * n + m) / c]
        case "carbonate_with_acid":
            return [n / c, (2 * n + m) / c]
        case "free_acid_in_pickling_bath":
            return [n / (c * more)]
        case "iodide_and_chloride":
            return [n / c, (n + m) / c]
    raise AssertionError(name)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", NAMES)
def test_truth_by_hand(name, seed):
    cell, (_, truth) = cell_named(name), drawn_vessel(name, seed)
    assert truth.equivalence_points_delivered_mL == pytest.approx(by_hand_mL(name, truth.drawn), rel=1e-12)
    assert 9.9 < truth.equivalence_points_delivered_mL[-1] < 20.1
    assert tuple(truth.concentrations_mol_per_L) == cell.reaction.analytes
    first, *further = truth.concentrations_mol_per_L.values()
    assert first == truth.drawn["sample_mol_per_L"]
    for value in further:
        # Of a second proton: also what the first step made.
        made = first if name in {"phosphoric_acid", "carbonate_with_acid"} else 0.0
        assert value == pytest.approx(truth.drawn["sample_2_mol_per_L"] + made, rel=1e-12)


def steepest_mL(vessel, low_mL, high_mL, count=400):
    """Middle of the steepest of `count` small steps between two volumes."""
    step_mL = (high_mL - low_mL) / count
    vessel.chemistry.add_titrant(vessel.contents, low_mL)
    potentials = [vessel.chemistry.rest(vessel.contents)[0]]
    for _ in range(count):
        vessel.chemistry.add_titrant(vessel.contents, step_mL)
        potentials.append(vessel.chemistry.rest(vessel.contents)[0])
    rises = [abs(b - a) for a, b in itertools.pairwise(potentials)]
    return low_mL + (rises.index(max(rises)) + 0.5) * step_mL


# How far the steepest place may lie from the equivalence point, as a share of the volume: a grid of 1/2000 of it, and
# what chemistry moves: unequal ratios (triiodide, dichromate), iron(III) and carbonate beside a free acid, weak jumps
# (phosphate, carbonate), the second solid that begins before the first point of iodide with chloride.
FARTHEST = {
    "free_acid_in_pickling_bath": 4e-3,
    "phosphoric_acid": 2e-3,
    "carbonate_with_acid": 2e-3,
    "iodide_and_chloride": 2e-3,
}


@pytest.mark.parametrize("name", NAMES)
def test_the_jumps_are_at_the_true_volumes(name):
    _, truth = drawn_vessel(name, 1)
    for volume_mL in truth.equivalence_points_delivered_mL:
        vessel, _ = drawn_vessel(name, 1)
        found_mL = steepest_mL(vessel, 0.9 * volume_mL, 1.1 * volume_mL)
        assert abs(found_mL - volume_mL) <= FARTHEST.get(name, 1e-3) * volume_mL


@pytest.mark.parametrize("name", NAMES)
def test_matter_is_kept(name):
    """Pools and volume after many small additions are those of one large one."""
    one, truth = drawn_vessel(name, 2)
    many, _ = drawn_vessel(name, 2)
    whole_mL = 1.3 * truth.equivalence_points_delivered_mL[-1]
    one.chemistry.add_titrant(one.contents, whole_mL)
    for _ in range(1000):
        many.chemistry.add_titrant(many.contents, whole_mL / 1000)
    assert many.contents.volume_mL == pytest.approx(one.contents.volume_mL, rel=1e-12)
    assert many.contents.amounts_mol == pytest.approx(one.contents.amounts_mol, rel=1e-11)
    assert many.contents.total_mol == pytest.approx(one.contents.total_mol, rel=1e-11)
    assert many.chemistry.rest(many.contents)[0] == pytest.approx(one.chemistry.rest(one.contents)[0], abs=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_contents_alone_decide(name):
    """A vessel reached step by step shows what one shows that was filled at once: the history leaves a microvolt."""
    walked, truth = drawn_vessel(name, 3)
    for share in (0.3, 0.7, 0.999, 1.2):
        volume_mL = share * truth.equivalence_points_delivered_mL[-1]
        fresh, _ = drawn_vessel(name, 3)
        fresh.chemistry.add_titrant(fresh.contents, volume_mL)
        missing_mL = volume_mL - (walked.contents.volume_mL - 50.0)
        for _ in range(200):
            walked.chemistry.add_titrant(walked.contents, missing_mL / 200)
            walked.chemistry.rest(walked.contents)
        shown_mV = walked.chemistry.rest(walked.contents)[0]
        assert shown_mV == pytest.approx(fresh.chemistry.rest(fresh.contents)[0], abs=2e-3)


@pytest.mark.parametrize("name", NAMES)
def test_a_blank_has_no_point_and_finite_potentials(name):
    vessel, truth = drawn_vessel(name, 1, blank=True)
    assert truth.equivalence_points_delivered_mL == ()
    assert set(truth.concentrations_mol_per_L.values()) == {0.0}
    for _ in range(100):
        potential_mV, poise = vessel.chemistry.rest(vessel.contents)
        assert math.isfinite(potential_mV)
        assert poise >= 0.0
        vessel.chemistry.add_titrant(vessel.contents, 0.01)


@pytest.mark.parametrize("name", NAMES)
def test_temperature_and_evaporation_are_changes_of_the_contents(name):
    vessel, truth = drawn_vessel(name, 1)
    vessel.chemistry.add_titrant(vessel.contents, 1.3 * truth.equivalence_points_delivered_mL[-1])
    before_mV = vessel.chemistry.rest(vessel.contents)[0]
    vessel.contents.temperature_C += 0.04  # too little to make the constants anew
    assert vessel.chemistry.rest(vessel.contents)[0] == pytest.approx(before_mV, abs=1e-3)
    vessel.contents.temperature_C += 10.0
    warm_mV = vessel.chemistry.rest(vessel.contents)[0]
    assert 0.01 < abs(warm_mV - before_mV) < 60.0
    vessel.contents.volume_mL *= 0.97
    assert math.isfinite(vessel.chemistry.rest(vessel.contents)[0])


@pytest.mark.parametrize("name", ["iron_in_pickling_bath", "acetic_acid", "chloride_in_rinse_water", "zinc_bath"])
def test_a_warm_titrant_holds_less(name):
    """Water at 30 °C has 0.99565 g/mL, at 20 °C 0.99821 g/mL (CRC Handbook): a mL holds 0.257 % less."""
    _, plain = drawn_vessel(name, 1)
    _, warm = drawn_vessel(name, 1, titrant_temperature_C=30.0)
    ratio = warm.equivalence_points_delivered_mL[-1] / plain.equivalence_points_delivered_mL[-1]
    assert ratio == pytest.approx(0.99821 / 0.99565, abs=2e-5)
