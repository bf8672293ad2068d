"""A redox titration as a cell file describes it: couples with drawn potentials, acid, what else the sample holds."""

import math

from sim.cell_potentials import CouplePotential
from sim.chemistry.iron_water import OXYGEN_ATM
from sim.chemistry.limbs import SlowLimb
from sim.chemistry.redox import CoupleInCell, RedoxChemistry, RedoxPlan
from sim.chemistry.titrant import Titrant
from sim.contents import Contents
from sim.vessel import Figures, Vessel, cumulated
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.couples import IRON, Couple
from titrator.chemistry.redox_cell import RedoxCell
from titrator.chemistry.side_reactions import SIDE_REACTIONS
from titrator.chemistry.suitability import BINDS_IRON, INDUCED

INHIBITOR = Couple("inhibitor, oxidised", "inhibitor", 1, (), exchange=0.01)
"""An inhibitor as one couple of one electron; what it really is, nobody tells."""

PHOSPHATE_LOWERS_IRON_MV = 70.0
"""Phosphoric acid binds iron(III): 0.61 V instead of 0.68 V in 1 mol/L sulfuric acid (textbooks, from memory)."""


def redox_vessel(figures: Figures) -> Vessel:
    """The vessel of a redox titration."""
    reaction, stated = figures.reaction, figures.stated
    acid_mol = _acid_mol(figures)
    couples = _couples(figures, _pH(1000.0 * acid_mol / stated.fill_mL))
    inhibitor = _inhibitor_mol(figures)
    if inhibitor == 0.0:
        couples = [each for each in couples if each.couple is not INHIBITOR]
    cell = RedoxCell([(each.couple, each.formal_mV / 1000.0) for each in couples])
    analytes = tuple(max(n, figures.trace_mol) for n in figures.analytes_mol)
    state = cell.state(_recipe(figures, analytes, inhibitor), stated.fill_mL)
    contents = Contents(stated.fill_mL, stated.temperature_C, state.total_mol, acid_mol, list(state.amounts_mol))
    last = couples[-1].couple
    electrons = last.electrons if reaction.rising else last.electrons / last.units
    lost = _lost_share(figures)
    exchange = figures.cell.exchange
    assert exchange is not None  # the cell file was checked
    plan = RedoxPlan(
        couples=tuple(couples),
        analytes=len(reaction.steps),
        oxidant=reaction.rising,
        slope_share=figures.drawn["slope_share"],
        background_mol_per_L=exchange.background_mol_per_L,
        titrant=_titrant(figures, cell),
        electrons_mol=_needed_mol(figures, analytes, inhibitor / electrons, lost)[-1] * electrons,
        lost_share=lost,
        oxygen_atm=0.0 if stated.gas else OXYGEN_ATM,
    )
    needed = _needed_mol(figures, figures.analytes_mol, inhibitor / electrons, lost)
    volumes = tuple(1000.0 * mol / figures.titrant_mol_per_L for mol in needed)
    return Vessel(contents, RedoxChemistry(plan, stated.temperature_C), volumes)


def _needed_mol(figures: Figures, analytes_mol: tuple[float, ...], beside_mol: float, lost: float) -> tuple[float, ...]:
    """Mol of titrant that each point takes, a share of it lost beside the analytes; an inhibitor's at the last one."""
    steps = figures.reaction.steps
    each = (n / step.analyte_per_titrant / (1.0 - lost) for n, step in zip(analytes_mol, steps, strict=True))
    needed = cumulated(tuple(each))
    return (*needed[:-1], needed[-1] + beside_mol)


def _acid_mol(figures: Figures) -> float:
    """Strong acid in the vessel: of the medium and of the aliquot."""
    if figures.cell.reaction.known_medium().kind != "acid":
        return 0.0
    of_aliquot = figures.cell.sample.acid_mol_per_L * figures.drawn["aliquot_mL"] / 1000.0
    return figures.medium_mol + (of_aliquot if figures.stated.medium_mL else 0.0)


def _pH(acid_mol_per_L: float) -> float:
    """pH of strong acid, 7 without any."""
    return -math.log10(max(acid_mol_per_L, 1e-7))


def _recipe(figures: Figures, analytes_mol: tuple[float, ...], inhibitor_mol: float) -> dict[str, float]:
    """What is put into the vessel, by name of the form."""
    reaction, drawn = figures.reaction, figures.drawn
    recipe = {step.species: n for step, n in zip(reaction.steps, analytes_mol, strict=True)}
    first = reaction.steps[0].couple
    assert first is not None
    if reaction.rising:
        share = drawn["oxidised_at_start"]
        recipe[first.oxidised] = analytes_mol[0] * share / (1.0 - share) / first.units
    else:
        recipe[first.reduced] = figures.in_vessel_mol(drawn["iodide_mol_per_L"]) or figures.trace_mol
    if inhibitor_mol > 0.0:
        recipe[INHIBITOR.reduced] = inhibitor_mol
    return recipe


def _couples(figures: Figures, pH: float) -> list[CoupleInCell]:
    """Analytes, inhibitor, titrant with their drawn potentials against the reference; `pH` at the start."""
    reaction, potentials, exchange = figures.reaction, figures.cell.potentials, figures.cell.exchange
    assert exchange is not None
    assert potentials.analyte is not None
    assert potentials.titrant is not None
    assert reaction.titrant_couple is not None
    reference_mV = 1000.0 * figures.stated.reference_potential_V
    couples = []
    rates = (exchange.analyte, *exchange.then)
    for place, (limits, step, rate) in enumerate(
        zip((potentials.analyte, *potentials.then), reaction.steps, rates, strict=True), start=1
    ):
        assert step.couple is not None
        stream = "analyte potential" if place == 1 else f"analyte {place} potential"
        key = "analyte_formal_mV" if place == 1 else f"analyte_{place}_formal_mV"
        formal_mV = figures.uniform(stream, key, limits) - reference_mV
        if step.couple is IRON and {BINDS_IRON, INDUCED} & set(figures.stated.reagents):
            formal_mV -= PHOSPHATE_LOWERS_IRON_MV
        slow = _slow(limits, step.couple, formal_mV, pH, above=not reaction.rising)
        couples.append(CoupleInCell(step.couple, formal_mV, rate, slow))
    inhibitor = figures.cell.sample.inhibitor
    if inhibitor is not None:
        formal_mV = figures.uniform("inhibitor potential", "inhibitor_formal_mV", inhibitor.potential) - reference_mV
        couples.append(CoupleInCell(INHIBITOR, formal_mV, INHIBITOR.exchange))
    formal_mV = figures.uniform("titrant potential", "titrant_formal_mV", potentials.titrant) - reference_mV
    slow = _slow(potentials.titrant, reaction.titrant_couple, formal_mV, pH, above=reaction.rising)
    couples.append(CoupleInCell(reaction.titrant_couple, formal_mV, exchange.titrant, slow))
    figures.uniform("slope", "slope_share", potentials.slope)
    sample = figures.cell.sample
    figures.uniform("oxidised at start", "oxidised_at_start", sample.oxidised)
    figures.uniform("iodide", "iodide_mol_per_L", sample.iodide)
    figures.uniform("chloride", "chloride_mol_per_L", sample.chloride)
    figures.uniform("zinc(II)", "zinc(II)_mol_per_L", sample.zinc_ii)
    return couples


def _slow(limits: CouplePotential, couple: Couple, formal_mV: float, pH: float, *, above: bool) -> SlowLimb | None:
    """The slow limb about the couple's potential at the pH of the start, where it stays."""
    if limits.slow is None:
        return None
    at_pH_mV = formal_mV - couple.protons / couple.electrons * nernst_slope_per_decade_mV(25.0) * pH
    return SlowLimb(at_pH_mV, limits.slow.lowered_mV, limits.slow.follows, above)


def _inhibitor_mol(figures: Figures) -> float:
    inhibitor = figures.cell.sample.inhibitor
    if inhibitor is None or figures.stated.blank:
        return 0.0
    return figures.in_vessel_mol(figures.uniform("inhibitor", "inhibitor_mol_per_L", inhibitor.electrons))


def _lost_share(figures: Figures) -> float:
    """Share of the titrant that an induced reaction costs, 0 where a reagent prevents it or chloride is missing."""
    names = {figures.reaction.titrant, *figures.reaction.analytes}
    if figures.drawn.get("chloride_mol_per_L", 0.0) > 0.0:
        names.add("chloride")
    if INDUCED in figures.stated.reagents:
        return 0.0
    return sum(side.titrant_share for side in SIDE_REACTIONS if side.speed == "induced" and side.concerns(names))


def _titrant(figures: Figures, cell: RedoxCell) -> Titrant:
    """What a mL holds, at the titrant's own temperature."""
    reaction, own = figures.reaction, figures.cell.titrant
    c = figures.titrant_mol_per_L
    recipe = {reaction.titrant_species: c}
    if own.iodide_mol_per_L > 0.0:
        recipe["iodide"] = own.iodide_mol_per_L
    state = cell.state(recipe, 1000.0)
    # Where the method tells no medium, 1 mol/L of acid is everywhere, in the titrant too.
    acid = own.acid_mol_per_L if figures.stated.medium_mL else 1.0
    return Titrant(tuple(n / 1000.0 for n in state.amounts_mol), state.total_mol / 1000.0, acid / 1000.0, c / 1000.0)
