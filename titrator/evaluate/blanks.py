"""The blank as a volume of titrant: measured, below the first addition, or found by spiking.

A blank that shows no jump is a result: its equivalence lies between nothing and the first addition.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from titrator.evaluate.measurement import Model, Part, model_of
from titrator.evaluate.quantity import Quantity


def blank_of(volumes_mL: Sequence[float], name: str = "blank") -> Quantity:
    """Return the mean of two or more blank titrations in mL (type A, n - 1 degrees of freedom); ValueError below."""
    return Quantity.mean_of(name, tuple(volumes_mL), "mL")


def blank_below(first_addition_mL: float, name: str = "blank") -> Quantity:
    """Return the blank of a titration without a jump: anything from 0 to the first addition, rectangular.

    Value is the middle, so a subtraction takes half the first addition off; ValueError unless that is above 0 mL.
    """
    if not (math.isfinite(first_addition_mL) and first_addition_mL > 0.0):
        raise ValueError(f"{name}: a first addition above 0 mL expected, {first_addition_mL!r} came")
    return Quantity.bounded(name, first_addition_mL / 2.0, first_addition_mL / 2.0, "mL")


def blank_below_sentence(first_addition_mL: float) -> str:
    """Return what a blank without a jump says, for the chemist."""
    return (
        f"the blank shows no jump: it takes less than the first addition, {first_addition_mL:g} mL; "
        f"a smaller first addition, or a known amount of analyte in the blank (spike), tells it more closely"
    )


def spiked_blank_mL(
    volume_mL: Part, spike_mmol: Part, titrant_mol_per_L: Part, analyte_per_titrant: float = 1.0
) -> Model:
    """Return the blank from a blank titration with a known amount of analyte added: V - n/(r c), in mL.

    With the same sources as the sample (titrant, burette) in its arguments their parts cancel where they should.
    ValueError unless the ratio r is above 0.
    """
    if not analyte_per_titrant > 0.0:
        raise ValueError(f"mol of analyte per mol of titrant above 0 expected, {analyte_per_titrant!r} came")
    taken = model_of(spike_mmol) / (analyte_per_titrant * model_of(titrant_mol_per_L))
    return (model_of(volume_mL) - taken).in_unit("mL")


def blank_sentence(blank: Quantity, k: float) -> str:
    """Return whether a blank with u differs from nothing: |value| above k u, k the coverage factor at 95 %."""
    told = f"blank {blank.value:.4f} mL, u {blank.u:.4f} mL"
    if abs(blank.value) <= k * blank.u:
        return f"{told}: not told apart from 0 at 95 % (it is taken off all the same, with its uncertainty)"
    side = "consumes titrant" if blank.value > 0.0 else "is negative: look for a drift or a wrong spike"
    return f"{told}: it differs from 0 at 95 % and {side}"
