"""Every reaction of the table as a titration of titrator.chemistry with drawn constants, and what a fit of it knows.

The curves are the chemistry's own (V(p) and p(V) of its balance), apart from the models that are fitted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random
from typing import NamedTuple

import numpy as np

from titrator.chemistry import curves
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, AMMONIUM, CARBONIC, CITRIC, IRON_II, PHOSPHORIC
from titrator.chemistry.chelates import CHELATES
from titrator.chemistry.complexation import conditional_log_K, edta_system, free_ammonia_mol_per_L, metal_system
from titrator.chemistry.precipitation import HALIDES, silver_system
from titrator.chemistry.reactions import REACTIONS, Reaction
from titrator.chemistry.redox_cell import CellTitration, RedoxCell
from titrator.chemistry.titration import Titration
from titrator.chemistry.water import pKw
from titrator.evaluate.whole_curve import PRIOR, Known, KnownCouple, Prior

LN_10 = math.log(10.0)
NERNST_mV = 25.692579
REFERENCE_mV = 209.0
SLOW = ("tin(II)", "permanganate", "dichromate", "thiosulfate", "ascorbic acid", "tetrathionate")
SILVER_mV = 799.6 - REFERENCE_mV
ION_mV = 300.0


@dataclass(frozen=True)
class Case:
    """A titration with its truth: `signal(V)` in mV at volumes in mL, and what the method knows of it."""

    name: str
    known: Known
    points_mL: tuple[float, ...]
    signal: Callable[[np.ndarray], np.ndarray]
    truth: np.ndarray
    """Parameters of the model at the truth: volumes, then as `parameters` names them, of the rising signal."""


@dataclass(frozen=True)
class Drawn:
    """What differs from run to run: constants beside their priors in standard deviations, and the slope's share."""

    random: Random | None = None
    slope_share: float = 0.975
    potential_sd: float = 1.0

    def shift(self, sd: float) -> float:
        """A normal deviation, 0 without a stream."""
        return 0.0 if self.random is None else self.random.gauss(0.0, sd * self.potential_sd)


class Bench(NamedTuple):
    """What was drawn, the electrode's slope in mV, the titrant in mol/L, the liquid at the start in mL."""

    drawn: Drawn
    slope_mV: float
    titrant_mol_per_L: float
    vessel_mL: float


def case(
    reaction: Reaction,
    points_mL: tuple[float, ...] = (7.3, 14.9, 21.4),
    *,
    drawn: Drawn | None = None,
    titrant: float = 0.1,
    vessel_mL: float = 50.0,
) -> Case:
    """The reaction with its points at `points_mL` (those of its steps that are asked for)."""
    taken = points_mL[: len(reaction.steps)]
    build = {"redox": _redox, "acid-base": _acid_base, "precipitation": _silver, "complexation": _edta}
    drawn = drawn or Drawn()
    slope_mV = NERNST_mV * drawn.slope_share
    known, signal, truth = build[reaction.family](reaction, taken, Bench(drawn, slope_mV, titrant, vessel_mL))
    name = f"{' and '.join(reaction.analytes)} with {reaction.titrant}"
    return Case(name, known, taken, signal, np.array([*taken, *truth]))


def amounts_mol(reaction: Reaction, points_mL: tuple[float, ...], titrant: float) -> list[float]:
    before = (0.0, *points_mL)
    return [
        step.analyte_per_titrant * titrant * (point - last) / 1000.0
        for step, last, point in zip(reaction.steps, before, points_mL, strict=False)
    ]


def _potential_mV(titration: Titration, per_p_mV: float, at_mV: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda volume_mL: at_mV + per_p_mV * curves.p(titration, np.maximum(volume_mL, 1e-9))


IODIDE_TIMES = 1.4
"""What there is of iodide over what the method knows of it: it is put in by the spoon."""


def _redox(reaction, points_mL, bench):
    drawn, slope_mV, titrant, vessel_mL = bench
    medium = reaction.media[0]
    couples = [*(step.couple for step in reaction.steps), reaction.titrant_couple]
    pH = 0.0 if medium.kind == "acid" else 5.0
    known_couples, cell_couples, truth = [], [], []
    sign = 1.0 if reaction.rising else -1.0
    for couple, key in zip(couples, medium.potentials, strict=True):
        slow = couple.exchange < 0.01
        table_mV = 1000.0 * couple.in_medium(key).value_V - REFERENCE_mV
        shift_mV = drawn.shift(17.0)
        protons_mV = couple.protons / couple.electrons * LN_10 * slope_mV * pH
        cell_couples.append((couple, (table_mV + shift_mV) / 1000.0))
        prior = Prior(table_mV - protons_mV, 150.0 if slow else 60.0 if couple.units > 1 or couple.protons else 17.0)
        known_couples.append(KnownCouple(prior, couple.electrons, couple.units, slow))
        truth.append(sign * (table_mV + shift_mV - protons_mV))
    mol = amounts_mol(reaction, points_mL, titrant)
    cell = RedoxCell(cell_couples, slope_mV=slope_mV)
    vessel = {step.species: amount for step, amount in zip(reaction.steps, mol, strict=True)}
    solution = {reaction.titrant_species: titrant}
    iodide, iodide_titrant = 0.0, 0.0
    if reaction.titrant == "iodine":
        iodide_titrant = 0.3
        solution["iodide"] = IODIDE_TIMES * iodide_titrant
    if reaction.analytes == ("iodine",):
        iodide = 0.1
        vessel["iodide"] = IODIDE_TIMES * iodide * vessel_mL / 1000.0
    curve = CellTitration(cell, vessel, vessel_mL, solution, acid=pH)
    known = Known(
        reaction, len(points_mL), vessel_mL, titrant, couples=tuple(known_couples),
        slope=Prior(0.975 * NERNST_mV, 0.0144 * NERNST_mV),
        reduced_mol_per_L=iodide, reduced_titrant_mol_per_L=iodide_titrant,
    )  # fmt: skip
    own = [slope_mV for couple in known_couples if couple.slow]
    several = any(couple.units > 1 for couple in couples)
    reduced = [math.log(IODIDE_TIMES) if iodide or iodide_titrant else 0.0] if several else []
    return known, _potential_mV(curve.titration, LN_10 * slope_mV, 0.0), [*truth, slope_mV, *own, 0.0, *reduced]


def _shifted(acid, drawn):
    """The acid with each of its constants beside the table's."""
    pKa = tuple(replace(each, value=each.value + drawn.shift(PRIOR.pKa)) for each in acid.pKa)
    return replace(acid, pKa=pKa)


def _acid_base(reaction, points_mL, bench):
    drawn, slope_mV, titrant, vessel_mL = bench
    mol = amounts_mol(reaction, points_mL, titrant)
    step = reaction.steps[0]
    acid = next((a for a in (ACETIC, PHOSPHORIC, CARBONIC, CITRIC, AMMONIUM) if step.species in a.forms), None)
    acid = None if acid is None else _shifted(acid, drawn)
    metal = reaction.analytes[0] == "free acid"
    system = acid_base_system([] if acid is None else [acid], [IRON_II] if metal else [], activity="davies")
    vessel = {step.species: mol[0]}
    if step.species == "H+":
        vessel["Cl-"] = mol[0]
    if metal:
        vessel["Fe+2"] = 0.001
        vessel["Cl-"] += 0.002
    if len(mol) > 1:
        extra = mol[1] - mol[0]
        salt, sodium = ("H2PO4-", 0.0) if step.species == "H3PO4" else ("HCO3-", 2.0 * mol[0])
        vessel |= {salt: extra, "Na+": sodium + extra}
    elif step.species == "CO3-2":
        vessel["Na+"] = 2.0 * mol[0]
    solution = {"OH-": titrant, "Na+": titrant} if not reaction.rising else {"H+": titrant, "Cl-": titrant}
    curve = Titration(system, vessel, vessel_mL, solution)
    offset_mV = drawn.shift(5.0)
    known = Known(
        reaction, len(points_mL), vessel_mL, titrant, offset=Prior(0.0, 30.0),
        slope=Prior(0.975 * NERNST_mV, 0.0144 * NERNST_mV), metal=metal,
    )  # fmt: skip
    pH_mV = -LN_10 * slope_mV
    truth = [known.sign * offset_mV, slope_mV, vessel_mL, pKw(25.0)]
    if acid is not None:
        truth += [each.value for each in acid.pKa]
        truth += [0.0] if len(mol) == 1 else []
    if metal:
        truth += [math.log(0.001 / titrant * 1000.0), IRON_II.hydrolysis[0].value, IRON_II.hydroxide.value]
    return known, _potential_mV(curve, pH_mV, offset_mV - 7.0 * pH_mV), truth


def _silver(reaction, points_mL, bench):
    drawn, slope_mV, titrant, vessel_mL = bench
    vessel: dict[str, float] = {"Na+": 0.0}
    for step, mol in zip(reaction.steps, amounts_mol(reaction, points_mL, titrant), strict=True):
        vessel[step.species] = mol
        vessel["Na+"] += mol
    halides = []
    for step in reaction.steps:
        halide = next(each for each in HALIDES if each.ion == step.species)
        shifted = replace(halide.log_Ksp, value=halide.log_Ksp.value + drawn.shift(PRIOR.log_Ksp))
        halides.append(replace(halide, log_Ksp=shifted))
    curve = Titration(silver_system(halides, activity="davies"), vessel, vessel_mL, {"Ag+": titrant, "NO3-": titrant})
    at_mV = SILVER_mV + drawn.shift(10.0)
    known = Known(
        reaction, len(points_mL), vessel_mL, titrant, offset=Prior(SILVER_mV, 10.0),
        slope=Prior(0.975 * NERNST_mV, 0.0144 * NERNST_mV),
    )  # fmt: skip
    truth = [at_mV, slope_mV, vessel_mL, *(halide.log_Ksp.value for halide in halides)]
    return known, _potential_mV(curve, -LN_10 * slope_mV, at_mV), truth


def _edta(reaction, points_mL, bench):
    drawn, slope_mV, titrant, vessel_mL = bench
    metal = reaction.analytes[0]
    pH = 10.0 if reaction.media[0].name == "ammonia buffer" else 5.0
    ammonia = free_ammonia_mol_per_L(0.1, pH) if pH > 7.0 else 0.0
    wanted = [metal, "copper"] if reaction.indicators[0] == "copper-ion" and metal != "copper" else [metal]
    chelates = {each.metal: each for each in CHELATES}
    log_K = {name: conditional_log_K(chelates[name], pH, ammonia).value for name in wanted}
    true_K = {name: value + drawn.shift(0.2) for name, value in log_K.items()}
    (mol,) = amounts_mol(reaction, points_mL, titrant)
    at_mV = ION_mV + drawn.shift(20.0)
    known = Known(
        reaction, 1, vessel_mL, titrant, log_K=tuple(log_K.values()), copper_trace=len(wanted) > 1,
        slope=Prior(0.975 * NERNST_mV, 0.03 * NERNST_mV), offset=Prior(ION_mV, 30.0), trace_mol=1e-5,
    )  # fmt: skip
    truth = [-at_mV, slope_mV / 2.0, vessel_mL, *true_K.values()]
    if len(wanted) == 1:
        curve = Titration(metal_system(metal, true_K[metal]), {metal: mol}, vessel_mL, {"EDTA": titrant})
        return known, _potential_mV(curve, -LN_10 * slope_mV / 2.0, at_mV), [*truth, -60.0]
    both = Titration(edta_system(true_K), {metal: mol, "copper-EDTA": 1e-5}, vessel_mL, {"EDTA": titrant})

    def signal(volume_mL: np.ndarray) -> np.ndarray:
        volume = np.maximum(volume_mL, 1e-9)
        free = 10.0 ** -curves.p(both, volume)
        copper = 1e-2 / (vessel_mL + volume) / (1.0 + 10.0 ** true_K["copper"] * free)
        return at_mV + slope_mV / 2.0 * np.log(copper)

    return known, signal, truth


CASES = [case(reaction) for reaction in REACTIONS]
