"""Where the couples of a redox method are expected, and how sure that is: for the control's jumps and for the fit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.couples import IRON, Couple
from titrator.chemistry.precipitation import silver_potential_mV
from titrator.chemistry.reactions import Reaction
from titrator.chemistry.references import reference_potential_V
from titrator.chemistry.suitability import BINDS_IRON, INDUCED
from titrator.method import Method

REACHED, REACHED_SD, ION_REACHED_SD = 0.975, 0.025 / math.sqrt(3.0), 0.03
"""Share of the Nernst slope that electrodes reach: 0.95 to 1, taken as rectangular about its middle. Membranes that
follow one ion reach less of it than glass and metals, and age (common practice)."""
OWN_SLOPE_SD = 0.3
"""The slope of the branch of a slow couple, as a share of its Nernst slope (simulated electrodes keep 0.4 to 1)."""
CARBONATE_SD = 0.005
"""Share of a base's alkalinity that carbonate makes: a solution that is kept well has 0 to 1 % (common practice)."""
GLASS_SD_MV = 30.0
SILVER_SD_MV = 10.0
"""Junction, reference and the silver electrode's own state (common practice)."""
FORMAL_SD_MV = 17.0
"""Formal potentials differ by ±30 mV, rectangular, from table to table and with the strength of the acid."""
UNITS_SD_MV = 60.0
"""Several atoms in one species (triiodide): the potential depends on the dilution too, 30 mV a decade and unit."""
SLOW_SD_MV = 150.0
"""A couple that platinum does not follow shows a potential of its own, between its own and its partner's."""
BOUND_IRON_MV, BOUND_IRON_SD_MV = 70.0, 30.0
"""Phosphoric acid binds iron(III): 0.61 V instead of 0.68 V in 1 mol/L sulfuric acid (textbooks, from memory)."""
SLOW_EXCHANGE = 0.01
"""Couples that exchange electrons slower than this, relative to iron's, do not follow Nernst's equation."""


@dataclass(frozen=True, slots=True)
class CouplePotential:
    """A couple's potential in mV against the method's reference electrode, its standard deviation, and `slow`."""

    potential_mV: float
    sd_mV: float
    electrons: int
    slow: bool


def couple_potentials(method: Method) -> tuple[CouplePotential, ...]:
    """The couples of a redox method, those of the steps first and the titrant's last; empty for other families.

    Raises KeyError for a medium that the reaction's table does not know.
    """
    reaction = method.reaction.known
    if reaction is None or reaction.family != "redox":
        return ()
    medium, electrode = method.medium, method.electrode
    reference_V = reference_potential_V(electrode.reference, electrode.filling, medium.temperature_C)
    potentials_mV = reaction.potentials_against_mV(medium.name, reference_V)
    pH = _acid_pH(method)
    bound = {BINDS_IRON, INDUCED} & set(medium.reagents)
    decade_mV = nernst_slope_per_decade_mV(medium.temperature_C)
    return tuple(
        _of_couple(couple, potential_mV - couple.protons / couple.electrons * decade_mV * pH, bound=bool(bound))
        for couple, potential_mV in zip(_couples(reaction), potentials_mV, strict=True)
    )


def jumps_between_mV(method: Method) -> tuple[tuple[float, float] | None, ...]:
    """For each jump in order the potentials on either side of it; None where a slow couple makes them unsure."""
    return tuple(
        None if before.slow or behind.slow else (before.potential_mV, behind.potential_mV)
        for before, behind in pairwise(couple_potentials(method))
    )


def _couples(reaction: Reaction) -> list[Couple]:
    couples = [*(step.couple for step in reaction.steps), reaction.titrant_couple]
    return [couple for couple in couples if couple is not None]


def _of_couple(couple: Couple, potential_mV: float, *, bound: bool) -> CouplePotential:
    if bound and couple is IRON:
        return CouplePotential(potential_mV - BOUND_IRON_MV, BOUND_IRON_SD_MV, couple.electrons, slow=False)
    slow = couple.exchange < SLOW_EXCHANGE
    sd_mV = SLOW_SD_MV if slow else UNITS_SD_MV if couple.units > 1 or couple.protons else FORMAL_SD_MV
    return CouplePotential(potential_mV, sd_mV, couple.electrons, slow)


def _acid_pH(method: Method) -> float:
    """pH of the vessel as far as the acid's dilution tells it: one proton of each acid; 7 in plain water."""
    medium = method.medium
    strength = medium.concentration_mol_per_L * medium.volume_mL / method.vessel.fill_mL
    return 7.0 if strength <= 0.0 else -math.log10(strength)


def silver_at_1_mol_per_L_mV(method: Method) -> float:
    """Potential of a silver electrode in 1 mol/L of silver ions against the method's reference, in mV."""
    electrode, temperature_C = method.electrode, method.medium.temperature_C
    reference_mV = 1000.0 * reference_potential_V(electrode.reference, electrode.filling, temperature_C)
    return silver_potential_mV(0.0, temperature_C) - reference_mV
