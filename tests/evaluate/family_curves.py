"""A curve of every reaction of the table, computed by titrator.chemistry: simulated, and apart from the models fitted.

Titrant 0.1 mol/L (in its own mol), 50 mL in the vessel; the points lie at stated volumes. Potentials in mV against SHE;
a glass electrode reads 0 mV at pH 7 and -58 mV a pH.
"""

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace

from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, AMMONIUM, CARBONIC, CITRIC, IRON_II, PHOSPHORIC
from titrator.chemistry.chelates import CHELATES
from titrator.chemistry.complexation import (
    conditional_log_K,
    edta_system,
    free_ammonia_mol_per_L,
    ion_electrode_mV,
    metal_system,
    pM,
)
from titrator.chemistry.precipitation import HALIDES, silver_potential_mV, silver_system
from titrator.chemistry.reactions import REACTIONS, Reaction
from titrator.chemistry.redox_cell import CellTitration, RedoxCell
from titrator.chemistry.references import reference_potential_V
from titrator.chemistry.titration import Titration

TITRANT_mol_per_L = 0.1
VESSEL_mL = 50.0
POINTS_mL = (7.3, 14.9, 21.4)
"""Equivalence volumes of the steps, in order."""


@dataclass(frozen=True)
class FamilyCurve:
    """A reaction with its curve E(V) in mV and the equivalence volumes in mL."""

    name: str
    reaction: Reaction
    potential_mV: Callable[[float], float]
    points_mL: tuple[float, ...]


def named(reaction: Reaction) -> str:
    return f"{' and '.join(reaction.analytes)} with {reaction.titrant}"


def _amounts_mol(reaction: Reaction, points_mL: tuple[float, ...]) -> list[float]:
    """Mol of each analyte that its own stretch of titrant uses up."""
    before = (0.0, *points_mL)
    return [
        step.analyte_per_titrant * TITRANT_mol_per_L * (point - last) / 1000.0
        for step, last, point in zip(reaction.steps, before, points_mL, strict=False)
    ]


def _redox(reaction: Reaction, points_mL: tuple[float, ...]) -> Callable[[float], float]:
    medium = reaction.media[0]
    couples = [*(step.couple for step in reaction.steps), reaction.titrant_couple]
    cell = RedoxCell.in_medium(list(zip(couples, medium.potentials, strict=True)))
    vessel: dict[str, float] = {}
    for step, mol in zip(reaction.steps, _amounts_mol(reaction, points_mL), strict=True):
        vessel[step.species] = mol
        if step.couple is not None and reaction.rising:
            vessel[step.couple.oxidised] = 1e-4 * mol
    titrant = {reaction.titrant_species: TITRANT_mol_per_L}
    if reaction.titrant == "iodine":
        titrant["iodide"] = 0.3
    if reaction.analytes == ("iodine",):
        vessel["iodide"] = 0.1 * VESSEL_mL / 1000.0
    if reaction.titrant in ("permanganate", "dichromate"):
        vessel[reaction.titrant_couple.reduced] = 1e-7
    acid = 0.0 if medium.kind == "acid" else 5.0
    curve = CellTitration(cell, vessel, VESSEL_mL, titrant, acid=acid)
    return lambda volume_mL: curve.potential_mV(max(volume_mL, 1e-6))


def _acid_base(reaction: Reaction, points_mL: tuple[float, ...]) -> Callable[[float], float]:
    mol = _amounts_mol(reaction, points_mL)
    system = acid_base_system([ACETIC, PHOSPHORIC, CARBONIC, CITRIC, AMMONIUM], [IRON_II], activity="none")
    first = reaction.analytes[0]
    vessel = {
        "hydrochloric acid": {"H+": mol[0], "Cl-": mol[0]},
        "free acid": {"H+": mol[0], "Cl-": mol[0] + 0.004, "Fe+2": 0.002},
        "acetic acid": {"CH3COOH": mol[0]},
        "citric acid": {"H3Cit": mol[0]},
        "phosphoric acid": {"H3PO4": mol[0]},
        "carbonate": {"CO3-2": mol[0], "Na+": 2.0 * mol[0]},
        "ammonia": {"NH3": mol[0]},
    }[first]
    if first == "phosphoric acid" and len(mol) > 1:
        extra = mol[1] - mol[0]  # the dihydrogen phosphate that was there before
        vessel |= {"H2PO4-": extra, "Na+": extra}
    if first == "carbonate":
        extra = mol[1] - mol[0]
        vessel |= {"HCO3-": extra, "Na+": 2.0 * mol[0] + extra}
    titrant = {"OH-": 0.1, "Na+": 0.1} if reaction.titrant == "hydroxide" else {"H+": 0.1, "Cl-": 0.1}
    curve = Titration(system, vessel, VESSEL_mL, titrant)
    return lambda volume_mL: -58.0 * (curve.p(max(volume_mL, 0.0)) - 7.0)


def _silver(reaction: Reaction, points_mL: tuple[float, ...]) -> Callable[[float], float]:
    vessel: dict[str, float] = {"Na+": 0.0}
    for step, mol in zip(reaction.steps, _amounts_mol(reaction, points_mL), strict=True):
        vessel[step.species] = mol
        vessel["Na+"] += mol
    present = [halide for halide in HALIDES if halide.ion in vessel]
    curve = Titration(silver_system(present), vessel, VESSEL_mL, {"Ag+": 0.1, "NO3-": 0.1})
    return lambda volume_mL: silver_potential_mV(curve.p(max(volume_mL, 1e-3)))


def _edta(reaction: Reaction, points_mL: tuple[float, ...]) -> Callable[[float], float]:
    """Of the metal itself by its own electrode; by the copper electrode where there is no other.

    Then ten micromoles of copper EDTA complex stand beside it.
    """
    metal = reaction.analytes[0]
    (chelate,) = (each for each in CHELATES if each.metal == metal)
    pH = 10.0 if reaction.media[0].name == "ammonia buffer" else 5.0
    ammonia = free_ammonia_mol_per_L(0.1, pH) if pH > 7.0 else 0.0
    log_K = conditional_log_K(chelate, pH, ammonia).value
    (mol,) = _amounts_mol(reaction, points_mL)
    if reaction.indicators[0] == "copper-ion" and metal != "copper":
        (copper,) = (each for each in CHELATES if each.metal == "copper")
        constants = {metal: log_K, "copper": conditional_log_K(copper, pH, ammonia).value}
        vessel = {metal: mol, "copper-EDTA": 1e-5}
        both = Titration(edta_system(constants), vessel, VESSEL_mL, {"EDTA": TITRANT_mol_per_L})
        return lambda volume_mL: 600.0 + ion_electrode_mV(pM(both, max(volume_mL, 0.0), "copper"))
    curve = Titration(metal_system(metal, log_K), {metal: mol}, VESSEL_mL, {"EDTA": TITRANT_mol_per_L})
    return lambda volume_mL: 300.0 + ion_electrode_mV(curve.p(max(volume_mL, 0.0)))


def family_curve(reaction: Reaction, points_mL: tuple[float, ...] = POINTS_mL) -> FamilyCurve:
    """The curve of a reaction with its points at `points_mL` (as many as it has steps)."""
    taken = points_mL[: len(reaction.steps)]
    builder = {"redox": _redox, "acid-base": _acid_base, "precipitation": _silver, "complexation": _edta}
    return FamilyCurve(named(reaction), reaction, builder[reaction.family](reaction, taken), taken)


FAMILIES = [family_curve(reaction) for reaction in REACTIONS]


REFERENCE_mV = 1000.0 * reference_potential_V("silver/silver chloride", "3 mol/L KCl", 25.0)


def method_like(reaction: Reaction, points: int | None = None) -> SimpleNamespace:
    """What the expectation takes of a method of this reaction: 40 mL of medium in a vessel of 50 mL."""
    medium = reaction.media[0]
    return SimpleNamespace(
        reaction=SimpleNamespace(known=reaction),
        medium=SimpleNamespace(
            name=medium.name,
            temperature_C=25.0,
            concentration_mol_per_L=1.25 if medium.kind == "acid" else 0.0,
            volume_mL=40.0,
            reagents=(),
        ),
        electrode=SimpleNamespace(
            indicator=reaction.indicators[0], reference="silver/silver chloride", filling="3 mol/L KCl"
        ),
        vessel=SimpleNamespace(fill_mL=VESSEL_mL),
        sample=SimpleNamespace(contains=()),
        titrant=SimpleNamespace(concentration=SimpleNamespace(value_mol_per_L=TITRANT_mol_per_L)),
        find=SimpleNamespace(equivalence_points=len(reaction.steps) if points is None else points),
    )
