"""Atomic weights as sources: the bound of the table is taken as a rectangular half-width, as Eurachem/CITAC CG4, A2."""

from __future__ import annotations

from titrator.chemistry.atomic_weights import ATOMIC_WEIGHTS
from titrator.evaluate.quantity import Quantity

Weights = dict[str, tuple[float, float]]


def atomic_weight(symbol: str, weights: Weights = ATOMIC_WEIGHTS) -> Quantity:
    """Return an element's weight as the one source that all its compounds share; ValueError for an unknown symbol."""
    if symbol not in weights:
        raise ValueError(
            f"an element among {', '.join(weights)} expected, {symbol!r} came: state the molar mass itself"
        )
    value, half_width = weights[symbol]
    return Quantity.bounded(f"atomic weight of {symbol}", value, half_width, "g/mol")
