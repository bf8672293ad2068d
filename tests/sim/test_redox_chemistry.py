"""Redox at platinum: the engine against the closed form, currents that balance, slow limbs, missing acid, air."""

import math
from dataclasses import replace

import pytest
from cells_stated import cell_named, stated_for

from sim.cell_file import load_cell
from sim.chemistry.iron_water import IronInWater
from sim.chemistry.limbs import Shown, SlowLimb
from sim.chemistry.redox import CoupleInCell, RedoxChemistry, RedoxPlan
from sim.chemistry.titrant import Titrant
from sim.contents import Contents
from sim.draw import draw_vessel
from titrator.chemistry.acids import IRON_III
from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.couple_table import TIN
from titrator.chemistry.couples import CERIUM, IRON
from titrator.chemistry.redox import RedoxBalance, RedoxTitration
from titrator.chemistry.redox_cell import AcidLevel, CellTitration, RedoxCell

SHARE = 0.97
S_MV = SHARE * nernst_slope_mV(20.0)
IRON_MOL, CERIUM_MOL_PER_L = 1.7e-3, 0.1


def chemistry(background=5e-9, first=IRON, formal_mV=470.0, **changed):
    """The demonstration's couples against 0.210 V; 17 mL of titrant."""
    plan = RedoxPlan(
        couples=(CoupleInCell(first, formal_mV, 1.0), CoupleInCell(CERIUM, 1230.0, 0.1)),
        analytes=1,
        oxidant=True,
        slope_share=SHARE,
        background_mol_per_L=background,
        titrant=Titrant((0.0, 1e-4), -1e-4, 1e-3, 1e-4),
        electrons_mol=first.electrons * IRON_MOL,
    )
    return RedoxChemistry(replace(plan, **changed), 20.0)


def contents(titrant_mL=0.0, oxidised=0.0005, electrons=1, acid_mol=0.05):
    """`oxidised` is the share of all iron (or tin) at the start; 1 mol/L acid in vessel and titrant."""
    moved = 1e-4 * titrant_mL
    return Contents(
        50.0 + titrant_mL,
        20.0,
        -oxidised * IRON_MOL * electrons - moved,
        acid_mol + titrant_mL * 1e-3 if acid_mol else 0.0,
        [IRON_MOL, moved],
    )


@pytest.mark.parametrize(("first", "formal_mV"), [(IRON, 470.0), (TIN, -71.0)])
def test_the_engine_is_the_closed_form(first, formal_mV):
    """Over the whole curve within a millionth of a mV, walked in small steps as a run does and straight."""
    balance = RedoxBalance(formal_mV, 1230.0, S_MV, first.electrons, 1, oxidised_at_start=0.0005)
    curve = RedoxTitration.of_amounts(balance, 1000 * IRON_MOL, CERIUM_MOL_PER_L)
    cell = chemistry(1e-30, first, formal_mV)
    walked = contents(electrons=first.electrons)
    for volume_mL in [0.01 * k * first.electrons for k in range(2500)]:
        cell.add_titrant(walked, volume_mL - (walked.volume_mL - 50.0))
        assert cell.rest(walked)[0] == pytest.approx(curve.potential_mV(volume_mL), abs=1e-6)
    # At the very point of tin with cerium 1e-16 of the tin is left: the last digit of the amounts decides; not there.
    at_the_point = (1.0,) if first is IRON else ()
    for share in (0.0, 0.5, 1.0 - 1e-6, *at_the_point, 1.0 + 1e-6, 1.4):
        state = contents(share * curve.equivalence_mL, electrons=first.electrons)
        fresh_mV = chemistry(1e-30, first, formal_mV).rest(state)[0]
        assert fresh_mV == pytest.approx(curve.potential_mV(state.volume_mL - 50.0), abs=1e-6)


@pytest.mark.parametrize("name", ["iodine_with_thiosulfate", "ascorbic_acid_with_iodine", "iron_with_dichromate"])
def test_several_units_are_the_curve_of_the_chemistry_package(name):
    """`CellTitration` of the same amounts with the acid counted, walked by the vessel in small steps."""
    vessel, truth = draw_vessel(cell_named(name), stated_for(name), 2)
    plan, state, drawn = vessel.chemistry.plan, vessel.contents, truth.drawn
    couples = [(each.couple, each.formal_mV / 1000) for each in plan.couples]
    cell = RedoxCell(couples, slope_mV=vessel.chemistry.slope_mV)
    first, last = plan.couples[0].couple, plan.couples[-1].couple
    held, missing = state.amounts_mol[0], -state.total_mol / first.electrons
    recipe = {first.oxidised: missing, first.reduced: held - first.units * missing}
    c = drawn["titrant_mol_per_L"]
    titrant = {last.oxidised: c, "iodide": 0.2} if last.reduced == "iodide" else {last.oxidised: c}
    titrant = {last.reduced: c} if not plan.oxidant else titrant
    protons = last.protons / last.electrons - first.protons / first.electrons
    acid = AcidLevel(state.acid_mol, 0.5 if name == "iron_with_dichromate" else 0.0, protons) if protons else 0.0
    curve = CellTitration(cell, recipe, 50.0, titrant, acid=acid)
    # Iron's hydrolysis is what the vessel has beyond the curve: 0.2 mV where the acid is 0.8 mol/L.
    within_mV = 0.2 if name == "iron_with_dichromate" else 1e-5
    for number in range(1, 300):
        volume_mL = 0.005 * number * truth.equivalence_points_delivered_mL[0]
        vessel.chemistry.add_titrant(state, volume_mL - (state.volume_mL - 50.0))
        assert vessel.chemistry.equilibrium_mV(state) == pytest.approx(curve.potential_mV(volume_mL), abs=within_mV)


@pytest.mark.parametrize("background", [5e-9, 1e-5, 1e-3])
@pytest.mark.parametrize("titrant_mL", [0.0, 1e-4, 0.2, 8.0, 16.0, 17.0, 19.0, 30.0])
@pytest.mark.parametrize("oxidised", [0.0005, 0.1])
def test_currents_at_rest_balance(background, titrant_mL, oxidised):
    """At the mixed potential the anodic excess of both couples carries the background current of reduction.

    Butler-Volmer with symmetric barriers, written out couple by couple from concentrations at equilibrium:
    i = k·([red]·exp(+(E − E°')/2s) − [ox]·exp(−(E − E°')/2s)).
    """
    state, cell = contents(titrant_mL, oxidised), chemistry(background)
    at_rest_mV, at_equilibrium_mV = cell.rest(state)[0], cell.equilibrium_mV(state)

    def current(total_mol, rate, formal_mV):
        per_L = 1000 * total_mol / state.volume_mL
        oxidised_form = per_L / (1 + math.exp(-(at_equilibrium_mV - formal_mV) / S_MV))
        reduced_form = per_L / (1 + math.exp((at_equilibrium_mV - formal_mV) / S_MV))
        push = math.exp((at_rest_mV - formal_mV) / (2 * S_MV))
        return rate * reduced_form * push - rate * oxidised_form / push, rate * reduced_form * push

    iron, iron_anodic = current(IRON_MOL, 1.0, 470.0)
    cerium, cerium_anodic = current(state.amounts_mol[1], 0.1, 1230.0)
    # Each net current is a difference of two that may be larger by far: rounding is relative to those.
    assert iron + cerium == pytest.approx(background, rel=1e-6, abs=1e-9 * (iron_anodic + cerium_anodic))


def test_without_iron_iii_the_start_is_finite():
    """E_A + 2s·ln(j/(k_A·[red])): the limit of the mixed potential where Nernst alone says minus infinity."""
    expected_mV = 470.0 + 2 * S_MV * math.log(5e-9 / (IRON_MOL / 0.050))
    assert chemistry().rest(contents(oxidised=0.0))[0] == pytest.approx(expected_mV, abs=1e-9)
    # and it is a limit: with almost none, almost the same (the rest is of the order of i0/j).
    loud_mV = 470.0 + 2 * S_MV * math.log(1e-5 / (IRON_MOL / 0.050))
    assert chemistry(1e-5).rest(contents(oxidised=1e-15))[0] == pytest.approx(loud_mV, abs=0.01)


def test_a_little_iron_iii_sets_the_start():
    """With 0.05 % iron(III) Nernst's potential is met within 0.01 mV: the background no longer matters."""
    expected_mV = 470.0 + S_MV * math.log(0.0005 / 0.9995)
    assert chemistry().rest(contents())[0] == pytest.approx(expected_mV, abs=0.01)


def test_more_background_pulls_the_potential_up():
    quiet, loud = chemistry(5e-9), chemistry(1e-4)
    for titrant_mL in (0.0, 0.2, 10.0, 17.0, 25.0):
        assert loud.rest(contents(titrant_mL))[0] > quiet.rest(contents(titrant_mL))[0]


def test_poise_is_the_inverse_steepness_of_the_curve():
    """G = Ve·|dE/dV|/s against a central difference of the potential of rest."""
    end_mL = 17.0 * 0.9995
    cell = chemistry(electrons_mol=IRON_MOL * 0.9995)
    for share in (0.05, 0.5, 0.95, 1.05, 1.5):
        h = 1e-5 * end_mL
        rise_mV = cell.rest(contents(share * end_mL + h))[0] - cell.rest(contents(share * end_mL - h))[0]
        steepness = end_mL * rise_mV / (2 * h) / S_MV
        assert 1 / cell.rest(contents(share * end_mL))[1] == pytest.approx(steepness, rel=1e-4)


def test_state_decides_alone():
    """Air that oxidises half of the iron, or another temperature, is a change of state and shows at once."""
    cell, state = chemistry(), contents()
    cell.rest(state)
    state.total_mol = -0.5 * IRON_MOL
    assert cell.rest(state)[0] == pytest.approx(470.0, abs=1e-3)
    state.total_mol = -0.1 * IRON_MOL
    state.temperature_C = 40.0
    expected_mV = 470.0 + SHARE * nernst_slope_mV(40.0) * math.log(0.1 / 0.9)
    assert cell.rest(state)[0] == pytest.approx(expected_mV, abs=1e-3)


# ------------------------------------------------------------------------------------------------ the acid is missing
def test_without_acid_iron_iii_hydrolyses_and_the_potential_falls():
    """[H+] and the shares of Fe3+ from the constants, by bisection of the charge of the first hydrolysis, by hand."""
    K = [10 ** constant.at(20.0) for constant in IRON_III.hydrolysis]
    iron_iii = 0.3 * IRON_MOL / 0.053
    low, high = 1e-7, 1.0
    while high - low > 1e-15:  # h = [FeOH2+] = c·K1/(h + K1)
        middle = 0.5 * (low + high)
        low, high = (middle, high) if middle < iron_iii * K[0] / (middle + K[0]) else (low, middle)
    free = [1.0 / (1 + sum(k / h ** (n + 1) for n, k in enumerate(K))) for h in (low, 1.0)]
    cell = chemistry()
    cell.add_titrant(state := contents(oxidised=0.3, acid_mol=0.0), 3.0)
    state.total_mol, state.amounts_mol[1], state.acid_mol = -0.3 * IRON_MOL, 0.0, 0.0  # water, not titrant
    # The electrode's slope is a share of RT/F; the shift of the formal potential is not.
    expected_mV = 470.0 + S_MV * math.log(0.3 / 0.7) + nernst_slope_mV(20.0) * math.log(free[0] / free[1])
    assert cell.rest(state)[0] == pytest.approx(expected_mV, abs=0.02)
    assert cell.rest(state)[0] < 470.0 + S_MV * math.log(0.3 / 0.7) - 20.0


def test_acid_makes_no_difference_from_1_mol_per_L_on():
    assert chemistry().rest(contents(acid_mol=0.2)) == chemistry().rest(contents(acid_mol=0.05))


def test_air_oxidises_iron_ii_a_hundred_times_faster_with_each_pH():
    """W. Stumm and G. F. Lee (1961), from memory: 8.0e13 L²/(mol² atm min) at 20 °C."""
    water = IronInWater(20.0)
    rates = [water.oxidised_per_s(10.0**-pH, 0.2) for pH in (5.0, 6.0, 7.0)]
    assert rates[1] / rates[0] == pytest.approx(100, rel=0.1)
    assert rates[2] / rates[1] == pytest.approx(100, rel=0.01)
    hydroxide = 10 ** -(14.167 - 7.0)  # pKw 14.167 at 20 °C
    assert rates[2] == pytest.approx(0.2 * 8.0e13 / 60 * hydroxide**2, rel=0.02)


def aged(cell, state, minutes):
    changed = 0
    for _ in range(600 * minutes):
        changed += cell.age(state, 0.1)
    return changed


def test_air_leaves_iron_in_acid_alone_and_takes_it_without():
    sour, plain, nitrogen = contents(), contents(oxidised=0.0, acid_mol=0.0), contents(acid_mol=0.0)
    aged(chemistry(oxygen_atm=0.209), sour, 30)
    assert -sour.total_mol / IRON_MOL - 0.0005 < 2e-6
    assert aged(chemistry(oxygen_atm=0.209), plain, 30) > 0
    assert -plain.total_mol / IRON_MOL > 100 * (-sour.total_mol / IRON_MOL - 0.0005)
    aged(chemistry(oxygen_atm=0.0), nitrogen, 30)
    assert nitrogen.total_mol == contents(acid_mol=0.0).total_mol


def test_air_takes_a_thousandth_of_tin_ii_a_minute():
    """Invented for simulation, 8e-5 a second per atm; the other half of the check is that acid goes with it."""
    state = contents(electrons=2)
    aged(chemistry(first=TIN, formal_mV=-71.0, oxygen_atm=0.209), state, 10)
    taken = -state.total_mol / (2 * IRON_MOL) - 0.0005
    assert taken == pytest.approx(1 - math.exp(-8e-5 * 0.209 * 600), rel=0.01)
    assert state.acid_mol == pytest.approx(0.05 - 2 * IRON_MOL * taken, rel=1e-6)


def test_a_gas_over_the_vessel_keeps_air_out():
    cell = cell_named("tin_plating_bath")
    left = []
    for gas in ("", "nitrogen"):
        vessel, _ = draw_vessel(cell, stated_for("tin_plating_bath", gas=gas), 1)
        before = vessel.contents.total_mol
        aged(vessel.chemistry, vessel.contents, 5)
        left.append(before - vessel.contents.total_mol)
    assert left[0] > 0.0
    assert left[1] == 0.0


def test_acid_that_was_forgotten_lowers_the_first_branch_and_leaves_the_jump():
    """`contents.acid_mol` is what a fault takes away: iron(III) hydrolyses until the titrant's own acid has come."""
    name = "iron_in_pickling_bath"
    sour, truth = draw_vessel(cell_named(name), stated_for(name), 1)
    plain, _ = draw_vessel(cell_named(name), stated_for(name), 1)
    plain.contents.acid_mol = 0.0
    (end_mL,) = truth.equivalence_points_delivered_mL
    lower = []
    for _ in range(12):
        for vessel in (sour, plain):
            vessel.chemistry.add_titrant(vessel.contents, 0.1 * end_mL)
        lower.append(sour.chemistry.rest(sour.contents)[0] - plain.chemistry.rest(plain.contents)[0])
    assert lower[0] > lower[4] > lower[8] > 0.3
    assert abs(lower[11]) < 0.01  # behind the jump cerium poises


# -------------------------------------------------------------------------------------------------------- slow limbs
@pytest.mark.parametrize("above", [True, False])
@pytest.mark.parametrize(("lowered_mV", "follows"), [(30.0, 0.8), (60.0, 0.5), (200.0, 0.0), (0.0, 0.5)])
def test_a_slow_limb(above, lowered_mV, follows):
    """It stands `lowered` off at the couple, towards the other side; far on it follows with its share of the slope."""
    shown = Shown(SlowLimb(1000.0, lowered_mV, follows, above))
    sign = 1.0 if above else -1.0
    assert shown(1000.0)[0] == pytest.approx(1000.0 - sign * lowered_mV, abs=1e-9)
    assert shown(1000.0 - sign * 2000.0)[0] == 1000.0 - sign * 2000.0
    if lowered_mV:
        far = [shown(1000.0 + sign * far_mV)[0] for far_mV in (400.0, 401.0)]
        assert abs(far[1] - far[0]) == pytest.approx(follows, abs=1e-6)
    for step in range(-500, 500):
        potential_mV = 1000.0 + step
        here_mV, slope = shown(potential_mV)
        rise = (shown(potential_mV + 1e-3)[0] - shown(potential_mV - 1e-3)[0]) / 2e-3
        assert rise == pytest.approx(slope, abs=1e-5)
        assert follows - 1e-12 <= slope <= 1.0
        assert sign * (potential_mV - here_mV) >= 0.0


# ------------------------------------------------------------------------------------------------- what the bath holds
def test_chloride_costs_permanganate_unless_the_reagent_prevents_it():
    """1 % of the titrant (invented) is lost while iron(II) is left, none behind the point."""
    cell = cell_named("iron_with_permanganate")
    guarded, truth = draw_vessel(cell, stated_for("iron_with_permanganate"), 1)
    vessel, lossy = draw_vessel(cell, stated_for("iron_with_permanganate", reagents=()), 1)
    (plain_mL,), (more_mL,) = truth.equivalence_points_delivered_mL, lossy.equivalence_points_delivered_mL
    c, iron_mol = truth.drawn["titrant_mol_per_L"] / 1000, vessel.contents.amounts_mol[0]
    inhibitor_mol = vessel.contents.amounts_mol[1]
    for_iron_mL = plain_mL - inhibitor_mol / (5 * c)
    assert more_mL == pytest.approx(plain_mL + for_iron_mL * (1 / 0.99 - 1), rel=1e-12)
    for _ in range(7):
        vessel.chemistry.add_titrant(vessel.contents, more_mL / 7)
    # all iron(III), the inhibitor oxidised, nothing over
    assert -vessel.contents.total_mol == pytest.approx(iron_mol + inhibitor_mol, rel=1e-9)
    vessel.chemistry.add_titrant(vessel.contents, 1.0)
    assert -vessel.contents.total_mol == pytest.approx(iron_mol + inhibitor_mol + 5 * c, rel=1e-9)
    guarded.chemistry.add_titrant(guarded.contents, plain_mL)
    assert -guarded.contents.total_mol == pytest.approx(iron_mol + inhibitor_mol, rel=1e-9)


def test_the_acid_that_permanganate_takes_up_is_counted():
    """8 H+ for each MnO4-, so 8/5 for each electron: pH after the point by hand."""
    vessel, truth = draw_vessel(cell_named("iron_with_permanganate"), stated_for("iron_with_permanganate"), 1)
    (end_mL,), drawn = truth.equivalence_points_delivered_mL, truth.drawn
    acid_mmol = 40.0 + drawn["aliquot_mL"] * 1.0
    for share in (0.5, 1.2):
        vessel.chemistry.add_titrant(vessel.contents, share * end_mL - (vessel.contents.volume_mL - 50.0))
        taken_mmol = 8 * drawn["titrant_mol_per_L"] * min(share, 1.0) * end_mL
        by_hand = (acid_mmol - taken_mmol) / vessel.contents.volume_mL
        # beside what iron(III) sets free by its own hydrolysis: 0.7 % of it at most
        assert vessel.chemistry.hydrogen_mol_per_L(vessel.contents) == pytest.approx(by_hand, rel=1e-3)


def test_zinc_is_told_and_changes_nothing(tmp_path):
    path = tmp_path / "cell.yaml"
    plain = cell_named("iron_with_permanganate")
    text = plain.path.read_text("utf-8")
    lines = [line for line in text.splitlines(keepends=True) if not line.strip().startswith("zinc(II)")]
    path.write_text("".join(lines), "utf-8")
    with_zinc, told = draw_vessel(plain, stated_for("iron_with_permanganate"), 5)
    without, _ = draw_vessel(load_cell(path), stated_for("iron_with_permanganate"), 5)
    assert 0.05 <= told.drawn["zinc(II)_mol_per_L"] <= 0.2
    assert with_zinc.contents == without.contents


def test_a_still_solution_is_not_computed_again():
    cell, state = chemistry(), contents(5.0)
    first = cell.rest(state)
    assert cell.rest(state) is first
    state.acid_mol = 0.0
    assert cell.rest(state) is not first
