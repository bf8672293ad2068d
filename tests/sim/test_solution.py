"""The potential of rest as a function of the solution: currents balance, limits are finite, the curve is met."""

import math

import pytest

from sim.solution import Electrochemistry, Solution
from titrator.chemistry.constants import nernst_slope_mV

SHARE = 0.97
S_MV = SHARE * nernst_slope_mV(20.0)


def constants(background_mol_per_L=5e-9):
    """The demonstration's couples against 0.210 V."""
    return Electrochemistry(470.0, 1230.0, SHARE, 1, 1, 1.0, 0.1, background_mol_per_L)


def solution(titrant_mmol, oxidised=0.0005, analyte_mmol=1.7):
    return Solution(analyte_mmol, oxidised * analyte_mmol, titrant_mmol, 50.0 + titrant_mmol / 0.1, 20.0)


@pytest.mark.parametrize("background", [5e-9, 1e-5, 1e-3])
@pytest.mark.parametrize("titrant_mmol", [0.0, 1e-5, 0.02, 0.8, 1.6, 1.7, 1.9, 3.0])
@pytest.mark.parametrize("oxidised", [0.0005, 0.1])
def test_currents_at_rest_balance(background, titrant_mmol, oxidised):
    """At the mixed potential the anodic excess of both couples carries the background current of reduction.

    Butler-Volmer with symmetric barriers, written out couple by couple from concentrations at equilibrium:
    i = k·([red]·exp(+(E − E°')/2s) − [ox]·exp(−(E − E°')/2s)).
    """
    state = solution(titrant_mmol, oxidised)
    cell = constants(background)
    at_equilibrium_mV = cell.balance(state).potential_mV(titrant_mmol / 1.7)
    at_rest_mV = cell.potential_mV(state)

    def current(total_mmol, rate, formal_mV):
        oxidised_form = total_mmol / state.volume_mL / (1 + math.exp(-(at_equilibrium_mV - formal_mV) / S_MV))
        reduced_form = total_mmol / state.volume_mL / (1 + math.exp((at_equilibrium_mV - formal_mV) / S_MV))
        push = math.exp((at_rest_mV - formal_mV) / (2 * S_MV))
        return rate * reduced_form * push - rate * oxidised_form / push, rate * reduced_form * push

    iron, iron_anodic = current(1.7, 1.0, 470.0)
    cerium, cerium_anodic = current(titrant_mmol, 0.1, 1230.0)
    # Each net current is a difference of two that may be larger by far: rounding is relative to those.
    assert iron + cerium == pytest.approx(background, rel=1e-6, abs=1e-10 * (iron_anodic + cerium_anodic))


def test_without_iron_iii_the_start_is_finite():
    """E_A + 2s·ln(j/(k_A·[red])): the limit of the mixed potential where Nernst alone says minus infinity."""
    state = solution(0.0, oxidised=0.0)
    expected_mV = 470.0 + 2 * S_MV * math.log(5e-9 / (1.7 / 50.0))
    assert constants().potential_mV(state) == pytest.approx(expected_mV, abs=1e-9)
    # and it is a limit: with almost none, almost the same (the rest is of the order of i0/j).
    nearly = solution(0.0, oxidised=1e-20)
    assert constants().potential_mV(nearly) == pytest.approx(expected_mV, abs=0.1)


def test_a_little_iron_iii_sets_the_start():
    """With 0.05 % iron(III) Nernst's potential is met within 0.01 mV: the background no longer matters."""
    expected_mV = 470.0 + S_MV * math.log(0.0005 / 0.9995)
    assert constants().potential_mV(solution(0.0)) == pytest.approx(expected_mV, abs=0.01)


def test_more_background_pulls_the_potential_up():
    quiet, loud = constants(5e-9), constants(1e-4)
    for titrant_mmol in (0.0, 0.02, 1.0, 1.7, 2.5):
        assert loud.potential_mV(solution(titrant_mmol)) > quiet.potential_mV(solution(titrant_mmol))


def test_poise_is_the_inverse_steepness_of_the_curve():
    """G = Ve·|dE/dV|/s against a central difference of the potential of rest."""
    cell = constants()
    end_mmol = 1.7 * 0.9995
    for share in (0.05, 0.5, 0.95, 1.05, 1.5):
        h = 1e-5 * end_mmol
        rise_mV = cell.potential_mV(solution(share * end_mmol + h)) - cell.potential_mV(solution(share * end_mmol - h))
        steepness = end_mmol * rise_mV / (2 * h) / S_MV
        assert 1 / cell.rest(solution(share * end_mmol))[1] == pytest.approx(steepness, rel=1e-4)


def test_state_decides_alone():
    """Air that oxidises half of the iron, or another temperature, is a change of state and shows at once."""
    cell, state = constants(), solution(0.0)
    state.oxidised_mmol = 0.85
    assert cell.potential_mV(state) == pytest.approx(470.0, abs=1e-3)
    state.oxidised_mmol = 0.17
    state.temperature_C = 40.0
    expected_mV = 470.0 + SHARE * nernst_slope_mV(40.0) * math.log(0.1 / 0.9)
    assert cell.potential_mV(state) == pytest.approx(expected_mV, abs=1e-3)


@pytest.mark.parametrize("titrant_mmol", [0.0, 1e-9, 1e-3, 2.0])
def test_a_solution_without_analyte_has_a_finite_potential(titrant_mmol):
    state = Solution(0.0, 0.0, titrant_mmol, 50.0 + titrant_mmol / 0.1, 20.0)
    assert math.isfinite(constants().potential_mV(state))
