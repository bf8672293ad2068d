"""How firmly EDTA binds the metals of a method in its buffer: for what control foresees and for the fit."""

from __future__ import annotations

from titrator.chemistry.acids import AMMONIUM
from titrator.chemistry.chelates import CHELATES
from titrator.chemistry.complexation import conditional_log_K, free_ammonia_mol_per_L
from titrator.chemistry.reactions import Reaction
from titrator.chemistry.suitability import COPPER_COMPLEX
from titrator.method import Method

TRACE_mol_per_L = 1e-5
"""Of the copper complex that a method adds."""
TRACE_mol = 1e-6
"""Of copper where none is added."""


def follows_copper(method: Method, reaction: Reaction) -> bool:
    """Whether a copper electrode shows another metal by a trace of copper."""
    return method.electrode.indicator == "copper-ion" and reaction.analytes != ("copper",)


def trace_mol(method: Method) -> float:
    """Amount of the copper complex in the vessel."""
    return TRACE_mol_per_L * method.vessel.fill_mL / 1000.0 if COPPER_COMPLEX in method.medium.reagents else TRACE_mol


def conditional_constants(method: Method, reaction: Reaction) -> tuple[float, ...]:
    """log10 K'' of the metal in its buffer, and of copper where a trace of it is followed."""
    medium = method.medium
    known = reaction.medium(medium.name)
    assert known.pH is not None
    pH = getattr(medium, "pH", None) or sum(known.pH) / 2.0
    total = medium.concentration_mol_per_L * medium.volume_mL / method.vessel.fill_mL or 0.1
    pKa = AMMONIUM.pKa[0].at(medium.temperature_C)
    ammonia = free_ammonia_mol_per_L(total, pH, pKa) if medium.name == "ammonia buffer" else 0.0
    metals = [reaction.steps[0].species, *(["copper"] if follows_copper(method, reaction) else [])]
    by_name = {chelate.metal: chelate for chelate in CHELATES}
    return tuple(conditional_log_K(by_name[metal], pH, ammonia).value for metal in metals)
