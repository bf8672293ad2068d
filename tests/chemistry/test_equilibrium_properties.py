"""Properties that hold for any admissible input: balances closed, curves monotone, no NaN, limits; numpy equals scalar.

The balances are written out here from the species that the engine reports, not with the engine's own sums.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from titrator.chemistry import curves
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, AMMONIUM, CARBONIC, CITRIC, IRON_II, IRON_III, PHOSPHORIC, ZINC_II, Acid
from titrator.chemistry.activity import Davies
from titrator.chemistry.complexation import edta_system
from titrator.chemistry.couple_table import DICHROMATE, PERMANGANATE, TETRATHIONATE, TIN, TRIIODIDE
from titrator.chemistry.couples import CERIUM, IRON
from titrator.chemistry.pools import Pool, Species
from titrator.chemistry.precipitation import BROMIDE, CHLORIDE, IODIDE, silver_system
from titrator.chemistry.redox_cell import RedoxCell
from titrator.chemistry.titration import Titration

AMOUNT = st.one_of(st.just(0.0), st.floats(1e-15, 1e-6), st.floats(1e-6, 0.01))
VOLUME = st.floats(1.0, 500.0)

ACID_NAMES = ("H+", "OH-", "CH3COOH", "H3PO4", "H2CO3", "H3Cit", "NH3", "Na+", "Fe+3", "Fe+2", "Zn+2")
REDOX_NAMES = ("tin(II)", "iron(II)", "iron(III)", "cerium(IV)", "permanganate", "dichromate", "chromium(III)")

ACIDS = {
    activity: acid_base_system(
        [ACETIC, PHOSPHORIC, CARBONIC, CITRIC, AMMONIUM], [IRON_III, IRON_II, ZINC_II], activity=activity
    )
    for activity in ("none", "davies")
}
SILVER = {
    (activity, pairs): silver_system([CHLORIDE, BROMIDE, IODIDE], activity=activity, soluble_pairs=pairs)
    for activity in ("none", "davies")
    for pairs in (False, True)
}
EDTA = edta_system({"Ca": 10.1, "Mg": 8.3, "Zn": 11.2})
REDOX = RedoxCell([(TIN, 0.139), (IRON, 0.68), (CERIUM, 1.44), (PERMANGANATE, 1.51), (DICHROMATE, 1.33)]).system
IODINE = RedoxCell([(TRIIODIDE, 0.536), (TETRATHIONATE, 0.08)]).system


def closed(system, state, found, held):
    """Mass of every pool and of the master, from the reported species, relative to what there is; 1e-9 asked."""
    for pool, n in zip(system.pools, state.amounts_mol, strict=True):
        assert math.fsum(s.units * held[s.name] for s in pool.forms) == pytest.approx(n, rel=1e-9, abs=1e-30)
    kinds = [*system.master.solvent, *(s for pool in system.pools for s in pool.forms)]
    parts = [s.level * held[s.name] for s in kinds]
    # What a solid leaves in solution is a difference: 1e-14 of all matter is its rounding.
    allowed = 1e-9 * (math.fsum(map(abs, parts)) + abs(state.total_mol)) + 1e-14 * math.fsum(state.amounts_mol)
    assert abs(math.fsum(parts) - state.total_mol) <= allowed + 1e-25
    assert all(value >= -1e-18 and math.isfinite(value) for value in held.values())
    return math.fsum(s.charge * held[s.name] for s in kinds)


@settings(max_examples=120)
@given(
    st.fixed_dictionaries(dict.fromkeys(ACID_NAMES, AMOUNT)),
    VOLUME,
    st.sampled_from(["none", "davies"]),
)
def test_acid_base_balances(recipe, volume_mL, activity):
    """Masses, protons and the charge, which the engine does not use as such."""
    system = ACIDS[activity]
    charge = recipe["H+"] + recipe["Na+"] + 3 * recipe["Fe+3"] + 2 * recipe["Fe+2"] + 2 * recipe["Zn+2"] - recipe["OH-"]
    recipe = recipe | ({"Cl-": charge} if charge >= 0 else {"K+": -charge})
    state = system.state(recipe, volume_mL)
    found = system.equilibrium(state)
    held = system.species_mol(state, found.y, found.g)
    left = closed(system, state, found, held)
    assert abs(left) <= 1e-9 * math.fsum(held.values())
    assert -2.5 < found.p < 16.5
    warm = system.equilibrium(state, near=system.equilibrium(system.state(recipe, 2 * volume_mL)))
    assert warm.p == pytest.approx(found.p, abs=1e-7)


@settings(max_examples=100)
@given(
    st.fixed_dictionaries(dict.fromkeys(("Ag+", "Cl-", "Br-", "I-"), AMOUNT)), VOLUME, st.sampled_from(sorted(SILVER))
)
def test_silver_balances_and_solubility_products(recipe, volume_mL, kind):
    system = SILVER[kind]
    state = system.state(recipe, volume_mL)
    found = system.equilibrium(state)
    if recipe["Ag+"] == 0.0:
        assert found.p == math.inf
        return
    held = system.species_mol(state, found.y, found.g)
    closed(system, state, found, held)
    litres = volume_mL / 1000
    for halide in (CHLORIDE, BROMIDE, IODIDE):
        product = (found.y + found.g * -2) / math.log(10) + math.log10(max(held[halide.ion], 1e-300) / litres)
        if held[halide.solid] > 0.0:  # saturated
            assert product == pytest.approx(halide.log_Ksp.value, abs=1e-9)
        else:  # not above saturation
            assert product <= halide.log_Ksp.value + 1e-9


@settings(max_examples=100)
@given(AMOUNT, AMOUNT, AMOUNT, AMOUNT, VOLUME)
def test_edta_balances(edta, calcium, magnesium, zinc, volume_mL):
    state = EDTA.state({"EDTA": edta, "Ca": calcium, "Mg": magnesium, "Zn": zinc}, volume_mL)
    found = EDTA.equilibrium(state)
    closed(EDTA, state, found, EDTA.species_mol(state, found.y))
    assert (found.p == math.inf) == (edta == 0.0)


@settings(max_examples=120)
@given(
    st.fixed_dictionaries(dict.fromkeys(REDOX_NAMES, AMOUNT)),
    VOLUME,
    st.floats(-1, 4),
)
def test_electron_balances(recipe, volume_mL, pH):
    system = REDOX.at_pH(pH)
    state = system.state(recipe, volume_mL)
    found = system.equilibrium(state)
    assert not math.isnan(found.p)
    if math.isfinite(found.p):
        closed(system, state, found, system.species_mol(state, found.y, found.g))


@settings(max_examples=60)
@given(st.floats(1e-6, 0.01), st.floats(1e-6, 0.01), st.floats(0.001, 0.5), VOLUME)
def test_iodine_balances(triiodide, iodide, thiosulfate, volume_mL):
    titration = Titration(IODINE, {"triiodide": triiodide, "iodide": iodide}, volume_mL, {"thiosulfate": thiosulfate})
    for share in (0.01, 0.5, 0.999, 1.0, 1.001, 3.0):
        state = titration.state(share * 2000 * triiodide / thiosulfate)
        found = IODINE.equilibrium(state)
        closed(IODINE, state, found, IODINE.species_mol(state, found.y))


# ---------------------------------------------------------------- whole curves

SODA = {"Na+": 0.1, "OH-": 0.1}
OLD_SODA = {"Na+": 0.1, "OH-": 0.096, "CO3-2": 0.002}
HALIDES = {"Cl-": 0.002, "Br-": 0.002, "I-": 0.002, "Na+": 0.006}
BATH = {"H+": 0.002, "Cl-": 0.0041, "Fe+3": 0.0003, "Fe+2": 0.0006}
NITRATE = {"Ag+": 0.1, "NO3-": 0.1}
CURVES = {
    "acetic acid": Titration(ACIDS["none"], {"CH3COOH": 0.005}, 50.0, SODA),
    "acetic acid, Davies": Titration(ACIDS["davies"], {"CH3COOH": 0.005}, 50.0, SODA),
    "phosphoric acid, Davies": Titration(ACIDS["davies"], {"H3PO4": 0.003}, 50.0, SODA),
    "carbonate in the base": Titration(ACIDS["davies"], {"H+": 0.005, "Cl-": 0.005}, 50.0, OLD_SODA),
    "pickling bath": Titration(ACIDS["davies"], BATH, 50.0, SODA),
    "chloride and iodide": Titration(SILVER["none", False], {"Cl-": 0.004, "I-": 0.0025, "Na+": 0.0065}, 50.0, NITRATE),
    "three halides, Davies": Titration(SILVER["davies", True], HALIDES, 50.0, NITRATE),
    "calcium and magnesium": Titration(EDTA, {"Ca": 0.0025, "Mg": 0.0015}, 50.0, {"EDTA": 0.1}),
    "tin and iron with cerium": Titration(REDOX, {"tin(II)": 0.0015, "iron(II)": 0.002}, 50.0, {"cerium(IV)": 0.1}),
    "iron with dichromate": Titration(REDOX.at_pH(0.5), {"iron(II)": 0.005}, 50.0, {"dichromate": 1 / 60}),
}  # fmt: skip


@pytest.mark.parametrize("name", CURVES)
def test_curves_are_monotone_and_equal_in_numpy(name):
    titration = CURVES[name]
    volumes_mL = np.linspace(0.05, 100.0, 400)
    found = np.array([titration.p(v) for v in volumes_mL])
    steps = np.diff(found) * (-1 if titration.rising else 1)
    assert np.all(steps > 0.0)
    np.testing.assert_allclose(curves.p(titration, volumes_mL.reshape(20, 20)).ravel(), found, rtol=0, atol=2e-9)
    back = curves.volume_mL(titration, found)
    np.testing.assert_allclose(back, volumes_mL, rtol=1e-6)
    np.testing.assert_allclose(back, [titration.volume_mL(p) for p in found], rtol=1e-9)


@pytest.mark.parametrize("name", CURVES)
def test_slopes_against_differences(name):
    """dp/dV analytic against a central difference; activity coefficients are held in it, so Davies gets 5 %."""
    titration = CURVES[name]
    for volume_mL in (3.3, 12.0, 33.3, 77.7):
        step = 1e-4
        difference = (titration.p(volume_mL + step) - titration.p(volume_mL - step)) / (2 * step)
        slope = titration.slope_per_mL(volume_mL, titration.equilibrium(volume_mL))
        assert slope == pytest.approx(difference, rel=0.05 if titration.system.davies else 1e-4)


@pytest.mark.parametrize("name", CURVES)
def test_p_out_of_reach_is_told(name):
    """Beyond the titrant no volume leads there: inf; before the start: a negative volume; never NaN."""
    titration = CURVES[name]
    ends = [titration.volume_mL(p) for p in np.linspace(-40, 60, 101)]
    assert not any(math.isnan(v) for v in ends)
    start, goal = titration.p(0.01), titration.system.equilibrium(titration.titrant).p
    if math.isfinite(goal):
        assert titration.volume_mL(goal + (1 if goal > start else -1)) == math.inf


# ---------------------------------------------------------------- limits


@pytest.mark.parametrize("activity", ["none", "davies"])
def test_infinite_dilution_is_pure_water(activity):
    """pH → pKw/2 = 6.998 (molar, IAPWS R11-07); and Davies vanishes: both models agree."""
    system = ACIDS[activity]
    state = system.state({"H3PO4": 1e-16, "CH3COOH": 1e-16}, 1000.0)
    assert system.equilibrium(state).p == pytest.approx(13.997 / 2, abs=0.0005)
    assert system.equilibrium(system.state({}, 1000.0)).p == pytest.approx(13.997 / 2, abs=0.0005)


def test_dilute_activity_model_goes_over_into_none():
    thin = {"CH3COOH": 1e-7, "CH3COO-": 1e-7, "Na+": 1e-7}
    ideal, davies = (ACIDS[kind].equilibrium(ACIDS[kind].state(thin, 1000.0)).p for kind in ("none", "davies"))
    assert davies == pytest.approx(ideal, abs=2e-3)


def test_zero_analyte_is_the_titrant_diluted():
    """0.1 mol/L NaOH, 1 mL in 100 mL: pOH 3; silver: pAg 3; cerium(IV) alone: no reduced form, no finite potential."""
    soda = Titration(ACIDS["none"], {}, 99.0, SODA)
    assert soda.p(1.0) == pytest.approx(13.997 - 3, abs=0.0006)
    assert Titration(SILVER["none", False], {}, 99.0, NITRATE).p(1.0) == pytest.approx(3.0)
    assert Titration(EDTA, {}, 99.0, {"EDTA": 0.1}).p(1.0) == pytest.approx(3.0)
    assert Titration(REDOX, {}, 99.0, {"cerium(IV)": 0.1}).p(1.0) == math.inf


def test_nothing_oxidised_and_nothing_reduced():
    assert REDOX.equilibrium(REDOX.state({"iron(II)": 0.001}, 50.0)).p == -math.inf
    assert REDOX.equilibrium(REDOX.state({"iron(III)": 0.001}, 50.0)).p == math.inf


def test_out_of_range_of_the_activity_model_is_warned():
    system = ACIDS["davies"]
    strong = system.equilibrium(system.state({"H+": 0.1, "Cl-": 0.1}, 50.0))
    assert strong.ionic_strength_mol_per_L == pytest.approx(2.0)
    assert "0.5 mol/L" in strong.warning
    assert system.equilibrium(system.state({"H+": 0.001, "Cl-": 0.001}, 50.0)).warning is None
    assert ACIDS["none"].equilibrium(ACIDS["none"].state({"H+": 0.1, "Cl-": 0.1}, 50.0)).warning is None


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("recipe", "volume_mL", "words"),
    [
        ({"CH3COO-": 0.001}, 50.0, "neutral recipe was expected"),
        ({"vinegar": 0.001}, 50.0, "a species of this system was expected"),
        ({"H+": -0.001, "Cl-": -0.001}, 50.0, "0 mol or above"),
        ({"H+": math.nan, "Cl-": math.nan}, 50.0, "0 mol or above"),
        ({}, 0.0, "positive volume"),
        ({}, math.inf, "positive volume"),
    ],
)
def test_impossible_recipes_are_refused(recipe, volume_mL, words):
    with pytest.raises(ValueError, match=words):
        ACIDS["none"].state(recipe, volume_mL)


@pytest.mark.parametrize("volume_mL", [-0.1, math.nan, math.inf])
def test_impossible_volumes_are_refused(volume_mL):
    titration = CURVES["acetic acid"]
    with pytest.raises(ValueError, match="volume of titrant of 0 mL or above"):
        titration.p(volume_mL)
    with pytest.raises(ValueError, match="volumes of titrant of 0 mL or above"):
        curves.p(titration, [1.0, volume_mL])


def test_more_electrons_missing_than_there_is_matter_is_refused():
    state = REDOX.state({"iron(II)": 0.001}, 50.0)
    with pytest.raises(ValueError, match="a total of electrons of at most"):
        REDOX.equilibrium(state._replace(total_mol=0.5))
    with pytest.raises(ValueError, match="a total of electrons of at least"):
        REDOX.equilibrium(state._replace(total_mol=-0.5))


def test_a_held_pH_and_an_activity_model_do_not_mix():
    with pytest.raises(ValueError, match="a finite pH and formal constants"):
        ACIDS["davies"].at_pH(1.0)


def test_formal_constants_are_not_corrected():
    """Half-neutralised: [H+] is the formal Ka itself at any ionic strength; a thermodynamic one moves by 2·A·f."""
    for kind, moved in (("formal", 0.0), ("thermodynamic", 2 * 0.5105 * (0.316228 / 1.316228 - 0.03))):
        acid = Acid.of("HA", 0, 5.0, kind=kind)
        system = acid_base_system([acid], activity="davies")
        found = system.equilibrium(system.state({"HA": 0.05, "HA -1H": 0.05, "Na+": 0.1, "Cl-": 0.05}, 1000.0))
        assert found.ionic_strength_mol_per_L == pytest.approx(0.1, rel=1e-3)
        assert -math.log10(found.master_mol_per_L) == pytest.approx(5.0 - moved, abs=5e-4)


def test_a_held_ionic_strength_needs_no_rounds():
    """Davies with I held by a background salt gives what the self-consistent model gives at that strength."""
    free = acid_base_system([ACETIC], activity="davies")
    salt = {"CH3COOH": 0.0001, "Na+": 0.2, "Cl-": 0.2}
    found = free.equilibrium(free.state(salt, 1000.0))
    held = acid_base_system([ACETIC], activity=Davies(free.davies.A, found.ionic_strength_mol_per_L))
    assert held.equilibrium(held.state(salt, 1000.0)).p == pytest.approx(found.p, abs=1e-9)
    titration = Titration(held, {"CH3COOH": 0.0001}, 1000.0, SODA)
    assert titration.volume_mL(titration.p(0.5)) == pytest.approx(0.5)
    assert curves.p(titration, [0.5])[0] == pytest.approx(titration.p(0.5), abs=1e-9)
    assert curves.volume_mL(titration, [titration.p(0.5)])[0] == pytest.approx(0.5)


def test_pool_and_species_without_meaning_are_refused():
    with pytest.raises(ValueError, match="at least one base unit"):
        Species("x", 0, units=0)
    with pytest.raises(ValueError, match="finite level and constant"):
        Species("x", math.nan)
    with pytest.raises(ValueError, match="at least one dissolved species"):
        Pool("x", ())
    with pytest.raises(ValueError, match="a solid beside species of one unit"):
        Pool("x", (Species("x", 0, units=2),), solid=Species("x(s)", 1))
    with pytest.raises(ValueError, match="names of species that differ"):
        acid_base_system([ACETIC, ACETIC])
