"""What a method tells of its chemistry for a fit of the whole curve, and how sure that is."""

from __future__ import annotations

from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.reactions import Reaction
from titrator.evaluate.whole_curve import Known, KnownCouple, Prior
from titrator.method import Method
from titrator.run.potentials import (
    CARBONATE_SD,
    GLASS_SD_MV,
    ION_REACHED_SD,
    REACHED,
    REACHED_SD,
    SILVER_SD_MV,
    couple_potentials,
    silver_at_1_mol_per_L_mV,
)
from titrator.run.stability import conditional_constants, follows_copper, trace_mol

IODIDE_mol_per_L = 0.1
"""Iodide in excess: its amount only shifts the potential, of which little is known anyway."""
FREE_ACID = 0.003
"""Half width of what is found as free acid and is iron(III): see `expectations`."""
SLOW_ANALYTE, SLOW_TITRANT = 0.00005, 0.00005
"""Half widths where electrodes do not follow the branch before or behind a point: what is left of that near the point.

The simulated cells of tin, ascorbic acid and dichromate err by about that."""
CONSUMES_TITRANT = 0.0003
"""Half width where the sample holds what uses up a little titrant too, before or behind the point (the demonstration's
baths: up to 0.05 % of the analyte)."""
SHALLOW = 0.00003
"""Half width where the next step of the same acid is near: activity coefficients that Davies's equation leaves open."""
AT_HYDROGEN_CARBONATE = 0.0003
"""The same of the first point of carbonate, the shallowest: a third of what leaving out all coefficients does."""
CONSUMERS = ("pickling inhibitor", "brightener", "surfactant")
CUT_OFF = 0.0001
"""The same for a halide whose jump the next one cuts off: mixed crystals are left out."""


def known_of(method: Method, reaction: Reaction, points: int) -> Known | None:
    """What is known of the chemistry; None where fewer points are sought than the reaction has steps."""
    if points != len(reaction.steps):
        return None
    medium = method.medium
    nernst_mV = nernst_slope_mV(medium.temperature_C)
    sd = ION_REACHED_SD if reaction.family == "complexation" else REACHED_SD
    iodine = IODIDE_mol_per_L if "iodine" in (reaction.titrant, *reaction.analytes) else 0.0
    return Known(
        reaction=reaction,
        points=points,
        vessel_mL=method.vessel.fill_mL,
        titrant_mol_per_L=method.titrant.concentration.value_mol_per_L,
        temperature_C=medium.temperature_C,
        slope=Prior(REACHED * nernst_mV, sd * nernst_mV),
        offset=_offset(method, reaction),
        couples=_couples(method, reaction),
        log_K=conditional_constants(method, reaction) if reaction.family == "complexation" else (),
        trace_mol=trace_mol(method),
        copper_trace=follows_copper(method, reaction),
        reduced_mol_per_L=iodine if reaction.titrant != "iodine" else 0.0,
        reduced_titrant_mol_per_L=iodine if reaction.titrant == "iodine" else 0.0,
        carbonate_sd=CARBONATE_SD if reaction.titrant == "hydroxide" else 0.0,
        salt_mol_per_L=_salt_mol_per_L(method, reaction),
        metal=reaction.analytes == ("free acid",),
        left_out=_left_out(method, reaction),
    )


def _offset(method: Method, reaction: Reaction) -> Prior | None:
    if reaction.family == "acid-base":
        return Prior(0.0, GLASS_SD_MV)
    if reaction.family != "precipitation":
        return None
    return Prior(silver_at_1_mol_per_L_mV(method), SILVER_SD_MV)


def _couples(method: Method, reaction: Reaction) -> tuple[KnownCouple, ...]:
    if reaction.family != "redox":
        return ()
    units = [step.couple.units if step.couple is not None else 1 for step in reaction.steps]
    units.append(reaction.titrant_couple.units if reaction.titrant_couple is not None else 1)
    return tuple(
        KnownCouple(Prior(each.potential_mV, each.sd_mV), each.electrons, of_it, each.slow)
        for each, of_it in zip(couple_potentials(method), units, strict=True)
    )


def _salt_mol_per_L(method: Method, reaction: Reaction) -> float:
    """The acid of the medium beside the halides: it counts in the ionic strength."""
    if reaction.family != "precipitation":
        return 0.0
    medium = method.medium
    return medium.concentration_mol_per_L * medium.volume_mL / method.vessel.fill_mL


def _left_out(method: Method, reaction: Reaction) -> tuple[float, ...]:
    last = len(reaction.steps) - 1
    consumes = any(each in CONSUMERS for each in method.sample.contains)
    couples = couple_potentials(method)
    left_out = []
    for number, step in enumerate(reaction.steps):
        each = 0.0
        if reaction.family == "redox":
            slow, behind = couples[number].slow, couples[number + 1].slow
            each = SLOW_ANALYTE if slow else SLOW_TITRANT if behind else 0.0
            each = CONSUMES_TITRANT if consumes else each
        elif reaction.family == "acid-base":
            near = number < last or step.species in ("H3PO4", "H3Cit")
            each = FREE_ACID if step.analyte == "free acid" else SHALLOW if near else 0.0
            each = AT_HYDROGEN_CARBONATE if step.species == "CO3-2" else each
        elif reaction.family == "precipitation":
            each = CUT_OFF if number < last else 0.0
        left_out.append(each)
    return tuple(left_out)
