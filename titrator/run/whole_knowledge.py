"""What a method tells of its chemistry for a fit of the whole curve, and how sure that is."""

from __future__ import annotations

import math

from titrator.chemistry.acids import AMMONIUM
from titrator.chemistry.chelates import CHELATES
from titrator.chemistry.complexation import conditional_log_K, free_ammonia_mol_per_L
from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.precipitation import silver_potential_mV
from titrator.chemistry.reactions import Reaction
from titrator.chemistry.references import reference_potential_V
from titrator.chemistry.suitability import COPPER_COMPLEX
from titrator.evaluate.whole_curve import Known, KnownCouple, Prior
from titrator.method import Method
from titrator.run.potentials import couple_potentials

REACHED, REACHED_SD, ION_REACHED_SD = 0.975, 0.025 / math.sqrt(3.0), 0.03
"""Share of the Nernst slope that electrodes reach: 0.95 to 1, rectangular; membranes of one ion reach less and age."""
SILVER_SD_mV = 10.0
"""Junction, reference and the silver electrode's own state (common practice)."""
GLASS_SD_mV = 30.0
CARBONATE_SD = 0.005
"""Share of a base's alkalinity that carbonate makes: a solution that is kept well has 0 to 1 % (common practice)."""
IODIDE_mol_per_L = 0.1
"""Iodide in excess: its amount only shifts the potential, of which little is known anyway."""
TRACE_mol_per_L = 1e-5
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
    electrode, medium = method.electrode, method.medium
    nernst_mV = nernst_slope_mV(medium.temperature_C)
    sd = ION_REACHED_SD if reaction.family == "complexation" else REACHED_SD
    copper_trace = electrode.indicator == "copper-ion" and reaction.analytes != ("copper",)
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
        log_K=_constants(method, reaction, copper_trace=copper_trace),
        trace_mol=TRACE_mol_per_L * method.vessel.fill_mL / 1000.0 if COPPER_COMPLEX in medium.reagents else 1e-6,
        copper_trace=copper_trace,
        reduced_mol_per_L=iodine if reaction.titrant != "iodine" else 0.0,
        reduced_titrant_mol_per_L=iodine if reaction.titrant == "iodine" else 0.0,
        carbonate_sd=CARBONATE_SD if reaction.titrant == "hydroxide" else 0.0,
        salt_mol_per_L=_salt_mol_per_L(method, reaction),
        metal=reaction.analytes == ("free acid",),
        left_out=_left_out(method, reaction),
    )


def _offset(method: Method, reaction: Reaction) -> Prior | None:
    if reaction.family == "acid-base":
        return Prior(0.0, GLASS_SD_mV)
    if reaction.family != "precipitation":
        return None
    electrode, temperature_C = method.electrode, method.medium.temperature_C
    reference_mV = 1000.0 * reference_potential_V(electrode.reference, electrode.filling, temperature_C)
    return Prior(silver_potential_mV(0.0, temperature_C) - reference_mV, SILVER_SD_mV)


def _couples(method: Method, reaction: Reaction) -> tuple[KnownCouple, ...]:
    if reaction.family != "redox":
        return ()
    units = [step.couple.units if step.couple is not None else 1 for step in reaction.steps]
    units.append(reaction.titrant_couple.units if reaction.titrant_couple is not None else 1)
    return tuple(
        KnownCouple(Prior(each.potential_mV, each.sd_mV), each.electrons, of_it, each.slow)
        for each, of_it in zip(couple_potentials(method), units, strict=True)
    )


def _constants(method: Method, reaction: Reaction, *, copper_trace: bool) -> tuple[float, ...]:
    """log10 K'' of the metal in its buffer, and of copper where a trace of it is followed."""
    if reaction.family != "complexation":
        return ()
    medium = method.medium
    known = reaction.medium(medium.name)
    assert known.pH is not None
    pH = getattr(medium, "pH", None) or sum(known.pH) / 2.0
    total = medium.concentration_mol_per_L * medium.volume_mL / method.vessel.fill_mL or 0.1
    pKa = AMMONIUM.pKa[0].at(medium.temperature_C)
    ammonia = free_ammonia_mol_per_L(total, pH, pKa) if medium.name == "ammonia buffer" else 0.0
    metals = [reaction.steps[0].species, *(["copper"] if copper_trace else [])]
    by_name = {chelate.metal: chelate for chelate in CHELATES}
    return tuple(conditional_log_K(by_name[metal], pH, ammonia).value for metal in metals)


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
