"""The molar mass of a formula with its uncertainty: one source for each element, so that compounds share them."""

from __future__ import annotations

from titrator.chemistry.atomic_weights import ATOMIC_WEIGHTS
from titrator.chemistry.formula import atoms
from titrator.evaluate.atomic_weights import Weights, atomic_weight
from titrator.evaluate.measurement import Model, model_of


def molar_mass(formula: str, weights: Weights = ATOMIC_WEIGHTS) -> Model:
    """Return the molar mass in g/mol as a model of its elements' atomic weights; ValueError for what is no formula."""
    total = model_of(0.0)
    for symbol, count in atoms(formula).items():
        total = total + float(count) * model_of(atomic_weight(symbol, weights))
    return total.in_unit("g/mol")
