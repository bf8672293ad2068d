"""What a method lets control foresee: the branches of its curve and how sure they are, for the rule `foreseeing`.

The same knowledge as `titrator.run.whole_knowledge` gives the evaluation, in plain numbers and without numpy.
"""

from __future__ import annotations

import math
from itertools import pairwise

from titrator.bench.rig import Rig
from titrator.chemistry.acids import ABOVE_PH_7, ACIDS, CARBONIC
from titrator.chemistry.activity import Davies
from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.precipitation import HALIDES
from titrator.chemistry.reactions import Reaction, Step
from titrator.chemistry.water import pKw
from titrator.control.foresight.design import Costs
from titrator.control.foresight.estimate import Beforehand
from titrator.control.foresight.law import Branch, Carried, Kind, Law
from titrator.control.increments import Foresight
from titrator.method import Method
from titrator.method.plausible import expected_points_mL
from titrator.run.potentials import (
    CARBONATE_SD,
    GLASS_SD_MV,
    ION_REACHED_SD,
    OWN_SLOPE_SD,
    REACHED,
    REACHED_SD,
    SILVER_SD_MV,
    couple_potentials,
    silver_at_1_mol_per_L_mV,
)
from titrator.run.stability import conditional_constants, trace_mol

SHIFT_SD_mV = {"redox": 1.0, "acid-base": GLASS_SD_MV, "precipitation": SILVER_SD_MV, "complexation": 400.0}
"""Of all places together: redox couples have their own; glass, silver and membranes have an offset."""
CONSTANT_SD_mV = 9.0
"""Of one place by its constant: 0.15 in a logarithm, activity coefficients among it."""
MULTI_CHARGED_mV = 4.0
"""Ions of several charges pass their protons on at a potential that moves with the ionic strength: 0.07 in a logarithm
from one point to the next (Davies's equation, 0.05 to 0.07 mol/L, ions of charges 1 and 2)."""
HINT_LN_SD, NO_HINT_LN_SD = 0.8, 1.2
"""How little the expected volume is trusted: a factor of two; without one, of three about the middle of the burette."""
LAG_RESPONSE_SHARE, LAG_LN_SD = 0.6, 0.4
"""The stated response lies between that of a poised solution and that at the jump: far from it the lag is shorter."""


def foresight_of(method: Method, rig: Rig) -> Foresight | None:
    """None where nothing is known of the reaction, or no jump is sought."""
    reaction, sought = method.reaction.known, method.find.equivalence_points
    if reaction is None or not 1 <= sought <= len(reaction.steps):
        return None
    branches = _BRANCHES[reaction.family](method, reaction)
    carried = _carbonate(method, reaction) if reaction.titrant == "hydroxide" else None
    law = Law(tuple(branches), method.vessel.fill_mL, carried)
    reading = method.reading
    amounts, ln_sd = _hints(method, law.amounts)
    membrane = reaction.family == "complexation"
    before = Beforehand(
        amounts_mL=amounts,
        ln_sd=ln_sd,
        shift_sd_mV=SHIFT_SD_mV[reaction.family],
        slope_sd=ION_REACHED_SD if membrane else REACHED_SD / REACHED,
        lag_s=reading.mixing_s + LAG_RESPONSE_SHARE * reading.response_s,
        lag_ln_sd=LAG_LN_SD,
        along_mV=MULTI_CHARGED_mV if reaction.family == "acid-base" and len(reaction.steps) > 1 else 0.0,
        volume_sd_mL=math.hypot(rig.burette.random_error_mL, rig.burette.step_mL / math.sqrt(12.0)),
    )
    costs = Costs(reading.mixing_s, 2.0 * reading.response_s, rig.burette.top_speed_mL_per_min / 60.0, reading.noise_mV)
    return Foresight(law, before, reaction.rising, sought, costs)


def _hints(method: Method, count: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Amounts in mL and how sure they are: each step's part of the expected points, or of the burette."""
    points = expected_points_mL(method.sample, method.titrant, method.reaction)
    if len(points) < count:
        return (method.ends_when.volume_above_mL * 0.5 / count,) * count, (NO_HINT_LN_SD,) * count
    middles = [0.5 * (low + high) for low, high in points]
    amounts = [middles[0], *(after - before for before, after in pairwise(middles))]
    return tuple(amounts[:count]), (HINT_LN_SD,) * count


def _slope_mV(method: Method, electrons: int = 1) -> float:
    return REACHED * nernst_slope_mV(method.medium.temperature_C) / electrons


def _redox(method: Method, reaction: Reaction) -> list[Branch]:
    couples = couple_potentials(method)
    sign = 1.0 if reaction.rising else -1.0
    units = [step.couple.units if step.couple is not None else 1 for step in reaction.steps]
    branches = []
    for number, couple in enumerate(couples):
        last = number == len(couples) - 1
        free = not last and units[number] > 1  # triiodide beside much iodide: what is followed is the analyte itself
        branches.append(
            Branch(
                Kind.COUPLE if last else Kind.FREE if free else Kind.BOUND,
                sign * couple.potential_mV,
                couple.sd_mV,
                _slope_mV(method, couple.electrons),
                step=min(number, len(reaction.steps) - 1),
                own_slope_sd=OWN_SLOPE_SD if couple.slow else 0.0,
            )
        )
    return branches


def _acid_base(method: Method, reaction: Reaction) -> list[Branch]:
    with_base = not reaction.rising
    temperature_C, c_T = method.medium.temperature_C, method.titrant.concentration.value_mol_per_L
    decade_mV = math.log(10.0) * _slope_mV(method)
    water = pKw(temperature_C)

    def place_mV(pH: float) -> float:
        return decade_mV * (pH - 7.0) * (1.0 if with_base else -1.0)

    # What the solvent holds of H+ (OH-) before the first point, beside whatever is titrated.
    start_pH = -math.log10(c_T) if with_base else water + math.log10(c_T)
    branches = [Branch(Kind.FREE, place_mV(start_pH), CONSTANT_SD_mV, decade_mV / math.log(10.0))]
    for number, step in enumerate(reaction.steps):
        constants = _pKa_of(step, reaction, number, temperature_C, with_base=with_base)
        at_once = round(1.0 / step.analyte_per_titrant)
        for k, pKa in enumerate(constants):
            share = 1.0 / at_once if k < at_once else 1.0
            branches.append(
                Branch(Kind.BOUND, place_mV(pKa), CONSTANT_SD_mV, decade_mV / math.log(10.0), number, share)
            )
    end_pH = water + math.log10(c_T) if with_base else -math.log10(c_T)
    last = len(reaction.steps) - 1
    return [*branches, Branch(Kind.EXCESS, place_mV(end_pH), CONSTANT_SD_mV, decade_mV / math.log(10.0), last)]


def _carbonate(method: Method, reaction: Reaction) -> Carried:
    """Carbon dioxide that a base has taken up: it spends its two charges at the places of carbonic acid."""
    decade_mV = math.log(10.0) * _slope_mV(method)
    places = tuple(decade_mV * (pK - 7.0) for pK in (each.at(method.medium.temperature_C) for each in CARBONIC.pKa))
    idle = reaction.steps[-1].analyte in ABOVE_PH_7
    return Carried(places, decade_mV / math.log(10.0), CARBONATE_SD, idle)


def _pKa_of(step: Step, reaction: Reaction, number: int, temperature_C: float, *, with_base: bool) -> list[float]:
    """The pKa that a step passes, in order; of the last step those behind it too (they bend the curve)."""
    acid = next((each for each in ACIDS if step.species in each.forms), None)
    if acid is None:
        return []
    at = acid.forms.index(step.species)
    at_once = round(1.0 / step.analyte_per_titrant)
    last = number == len(reaction.steps) - 1
    pKa = [each.at(temperature_C) for each in acid.pKa]
    if with_base:
        return pKa[at:] if last else pKa[at : at + at_once]
    taken = list(reversed(pKa[:at]))
    return taken if last else taken[:at_once]


def _silver(method: Method, reaction: Reaction) -> list[Branch]:
    temperature_C, silver_mV = method.medium.temperature_C, silver_at_1_mol_per_L_mV(method)
    c_T, slope_mV = method.titrant.concentration.value_mol_per_L, _slope_mV(method)
    # Ions at about half the titrant's strength: the electrode shows the activity of silver, the balance its amount.
    gamma = Davies.at(temperature_C).log10_gamma(1, 0.5 * c_T)
    at_titrant_mV = silver_mV + slope_mV * (math.log(c_T) + math.log(10.0) * gamma)
    branches = []
    for number, step in enumerate(reaction.steps):
        (halide,) = (each for each in HALIDES if each.ion == step.species)
        log_Ksp = halide.log_Ksp.at(temperature_C) - 2.0 * gamma
        place_mV = silver_mV + slope_mV * (math.log(10.0) * (log_Ksp + gamma) - math.log(c_T))
        branches.append(Branch(Kind.FREE, place_mV, CONSTANT_SD_mV, slope_mV, number))
    return [*branches, Branch(Kind.EXCESS, at_titrant_mV, CONSTANT_SD_mV, slope_mV, len(reaction.steps) - 1)]


def _complexation(method: Method, reaction: Reaction) -> list[Branch]:
    """Places from 0 where 1 mol/L of the ion that is followed would stand: only their distances are known."""
    c_T, slope_mV = method.titrant.concentration.value_mol_per_L, _slope_mV(method, 2)
    ln_K, *ln_K_copper = [math.log(10.0) * each for each in conditional_constants(method, reaction)]
    if ln_K_copper:
        ln_trace = math.log(1000.0 * trace_mol(method) / method.vessel.fill_mL) - ln_K_copper[0]  # Cu times free EDTA
        return [
            Branch(Kind.BOUND, -slope_mV * (ln_trace + ln_K), CONSTANT_SD_mV, slope_mV),
            Branch(Kind.EXCESS, -slope_mV * (ln_trace - math.log(c_T)), CONSTANT_SD_mV, slope_mV),
        ]
    return [
        Branch(Kind.FREE, -slope_mV * math.log(c_T), CONSTANT_SD_mV, slope_mV),
        Branch(Kind.COUPLE, slope_mV * ln_K, CONSTANT_SD_mV, slope_mV),
    ]


_BRANCHES = {"redox": _redox, "acid-base": _acid_base, "precipitation": _silver, "complexation": _complexation}
