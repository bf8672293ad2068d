"""Acid-base, silver and EDTA in the simulated vessel against the curves of the chemistry package and by hand."""

import itertools
import math
from random import Random

import pytest
from cells_stated import cell_named, stated_for

from sim.cell_file import load_cell
from sim.chemistry.acid_base import ACIDS_KNOWN
from sim.chemistry.strength import Strength
from sim.draw import draw_vessel
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import METALS
from titrator.chemistry.chelates import CHELATES
from titrator.chemistry.complexation import conditional_log_K, edta_system, free_ammonia_mol_per_L, metal_fraction, pM
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.precipitation import silver_potential_mV, silver_system
from titrator.chemistry.titration import Titration

SHARES = (0.0, 0.2, 0.5, 0.97, 1.0, 1.03, 1.5)


def shown_by_share(name, seed=1, **changed):
    """(truth, [(volume in mL, potential in mV)]) of a cell at shares of its last point."""
    vessel, truth = draw_vessel(cell_named(name), stated_for(name, **changed), seed)
    rows = []
    for share in SHARES:
        volume_mL = share * truth.equivalence_points_delivered_mL[-1]
        vessel.chemistry.add_titrant(vessel.contents, volume_mL - (vessel.contents.volume_mL - 50.0))
        rows.append((volume_mL, vessel.chemistry.rest(vessel.contents)[0]))
    return truth, rows


def mol(drawn, key="sample_mol_per_L"):
    return drawn[key] * drawn["aliquot_mL"] / drawn["dilution"] / 1000


def acid_base_recipe(name, drawn):
    n = mol(drawn)
    m = mol(drawn, "sample_2_mol_per_L") if "sample_2_mol_per_L" in drawn else 0.0
    match name:
        case "acetic_acid":
            return {"CH3COOH": n}
        case "citric_acid":
            return {"H3Cit": n}
        case "phosphoric_acid":
            return {"H3PO4": n, "H2PO4-": m, "Na+": m}
        case "carbonate_with_acid":
            return {"CO3-2": n, "HCO3-": m, "Na+": 2 * n + m}
        case "free_acid_in_pickling_bath":
            two, three = mol(drawn, "iron(II)_mol_per_L"), mol(drawn, "iron(III)_mol_per_L")
            zinc = mol(drawn, "zinc(II)_mol_per_L")
            return {"H+": n, "Fe+2": two, "Fe+3": three, "Zn+2": zinc, "Cl-": n + 2 * two + 3 * three + 2 * zinc}
    raise AssertionError(name)


@pytest.mark.parametrize("temperature_C", [20.0, 35.0])
@pytest.mark.parametrize(
    "name", ["acetic_acid", "citric_acid", "phosphoric_acid", "carbonate_with_acid", "free_acid_in_pickling_bath"]
)
def test_a_glass_electrode_follows_the_curve_of_the_acid(name, temperature_C):
    """The same recipe as a Titration with a self-consistent ionic strength: E = E7 − share·S·(pH − 7) to 0.005 mV."""
    truth, rows = shown_by_share(name, temperature_C=temperature_C)
    drawn = truth.drawn
    c, f = drawn["titrant_mol_per_L"], drawn.get("carbonate_share", 0.0)
    whole = c / (1 - f / 2)  # c is the base's strength where carbonate takes one proton
    base = {"Na+": whole, "OH-": whole * (1 - f), "CO3-2": 0.5 * whole * f}
    titrant = {"H+": c, "Cl-": c} if name == "carbonate_with_acid" else base
    system = acid_base_system(ACIDS_KNOWN, METALS, temperature_C=temperature_C, activity="davies")
    curve = Titration(system, acid_base_recipe(name, drawn), 50.0, titrant)
    slope_mV = drawn["slope_share"] * nernst_slope_per_decade_mV(temperature_C)
    for volume_mL, shown_mV in rows:
        assert shown_mV == pytest.approx(drawn["offset_mV"] - slope_mV * (curve.p(volume_mL) - 7.0), abs=0.005)


@pytest.mark.parametrize("name", ["chloride_in_rinse_water", "iodide_and_chloride"])
def test_a_silver_electrode_follows_the_curve_of_the_halides(name):
    truth, rows = shown_by_share(name)
    drawn, c = truth.drawn, truth.drawn["titrant_mol_per_L"]
    first = mol(drawn)
    second = mol(drawn, "sample_2_mol_per_L") if "sample_2_mol_per_L" in drawn else 0.0
    recipe = {"I-": first, "Cl-": second} if second else {"Cl-": first}
    acid = 0.01 * 40 / 1000
    recipe |= {"Na+": first + second, "NO3-": acid, "K+": acid}
    curve = Titration(silver_system(temperature_C=20.0, activity="davies"), recipe, 50.0, {"Ag+": c, "NO3-": c})
    for volume_mL, shown_mV in rows[1:]:  # before the first drop the film on the electrode decides
        pAg = curve.p(volume_mL)
        at_pAg_0_mV = silver_potential_mV(0.0, 20.0) - 210.0 + drawn["offset_mV"]
        expected_mV = at_pAg_0_mV - drawn["slope_share"] * nernst_slope_per_decade_mV(20.0) * pAg
        # The film counts as two millionths of the titrant: at the point that is seen.
        near = abs(volume_mL - truth.equivalence_points_delivered_mL[-1]) < 1e-6
        assert shown_mV == pytest.approx(expected_mV, abs=0.05 if near else 0.01)


@pytest.mark.parametrize(
    ("name", "metal", "pH"),
    [("calcium_hardness", "calcium", 10.0), ("zinc_bath", "zinc", 10.0), ("copper_bath", "copper", 5.0)],
)
def test_an_ion_electrode_follows_the_metal(name, metal, pH):
    """Zinc by the copper of its trace; calcium levels off at the membrane's limit of detection."""
    truth, rows = shown_by_share(name)
    drawn, c = truth.drawn, truth.drawn["titrant_mol_per_L"]
    total = 0.2 * stated_for(name).medium_mL / 50.0
    ammonia = free_ammonia_mol_per_L(total, pH, 9.244 + 52000 / 8.314462618 / math.log(10) * (1 / 293.15 - 1 / 298.15))
    ammonia = ammonia if name != "copper_bath" else 0.0
    follows = "calcium" if metal == "calcium" else "copper"
    known = {chelate.metal: chelate for chelate in CHELATES}
    metals = {metal, follows}
    system = edta_system({each: conditional_log_K(known[each], pH, ammonia).value for each in metals})
    recipe = {metal: mol(drawn)}
    if follows != metal:
        recipe["copper-EDTA"] = 1e-5 * 0.050
    curve = Titration(system, recipe, 50.0, {"EDTA": c})
    slope_mV = 0.5 * drawn["slope_share"] * nernst_slope_per_decade_mV(20.0)
    for volume_mL, shown_mV in rows:
        if volume_mL == 0.0:
            continue
        free = 10 ** -pM(curve, volume_mL, follows, metal_fraction(known[follows], pH, ammonia))
        free += 1e-7 if metal == "calcium" else 0.0
        assert shown_mV == pytest.approx(drawn["offset_mV"] + slope_mV * math.log10(free), abs=0.01)


def test_calcium_can_be_followed_by_a_copper_ion_electrode_too():
    """Both show the jump at the same volume; the copper-ion electrode by the trace of its complex."""
    for indicator in ("calcium-ion", "copper-ion"):
        vessel, truth = draw_vessel(
            cell_named("calcium_hardness"), stated_for("calcium_hardness", indicator=indicator), 4
        )
        (end_mL,) = truth.equivalence_points_delivered_mL
        vessel.chemistry.add_titrant(vessel.contents, 0.98 * end_mL)
        potentials = []
        for _ in range(40):
            potentials.append(vessel.chemistry.rest(vessel.contents)[0])
            vessel.chemistry.add_titrant(vessel.contents, 0.001 * end_mL)
        falls = [a - b for a, b in itertools.pairwise(potentials)]
        assert abs(0.98 + 0.001 * (falls.index(max(falls)) + 0.5) - 1.0) <= 0.0011


def test_the_quick_ionic_strength_is_the_one_of_the_system():
    random = Random(7)
    for system in (
        acid_base_system(ACIDS_KNOWN, METALS, activity="davies"),
        silver_system(activity="davies", soluble_pairs=True),
    ):
        quick = Strength(system)
        for _ in range(200):
            amounts = [random.choice([0.0, 10 ** random.uniform(-8, -2)]) for _ in system.pools]
            y, volume_L, g = -random.uniform(2, 30), random.uniform(0.02, 0.2), random.uniform(0, 0.6)
            exact = system.ionic_strength(y, amounts, volume_L, g)
            assert quick(y, amounts, volume_L, g) == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize(("name", "acts"), [("acetic_acid", 1.0), ("phosphoric_acid", 1.0 / 0.95)])
def test_carbonate_of_the_base_counts_whole_where_the_point_is_acid(tmp_path, name, acts):
    """With a base of which a tenth is carbonate: what acts at an alkaline point (as of phthalate) is its strength."""
    text = cell_named(name).path.read_text("utf-8")
    assert text.count("carbonate: {from: 0, to: 0.004}") == 1
    path = tmp_path / "cell.yaml"
    path.write_text(text.replace("{from: 0, to: 0.004}", "{from: 0.1, to: 0.1}"), "utf-8")
    _, truth = draw_vessel(load_cell(path), stated_for(name), 1)
    n, c = 1000 * mol(truth.drawn), truth.drawn["titrant_mol_per_L"]
    assert truth.equivalence_points_delivered_mL[0] == pytest.approx(n / c / acts, rel=1e-12)


def test_air_is_left_out_of_what_is_no_redox():
    vessel, _ = draw_vessel(cell_named("acetic_acid"), stated_for("acetic_acid"), 1)
    assert vessel.chemistry.age(vessel.contents, 3600.0) is False
