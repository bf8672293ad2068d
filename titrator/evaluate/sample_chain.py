"""From the volume at equivalence to what the sample holds: aliquot, dilutions, molar mass, sampling.

Arguments are numbers, Quantities or Models; what they share with the titrant's chain (burette, pipette, temperature)
is shared by name. Amounts in mmol, volumes in mL, concentrations in mol/L.
"""

from __future__ import annotations

from collections.abc import Iterable

from titrator.evaluate.measurement import Model, Part, model_of
from titrator.evaluate.quantity import Quantity


def titrated_mmol(titrant_mol_per_L: Part, volume_mL: Part, analyte_per_titrant: float = 1.0) -> Model:
    """Return the amount of analyte in the vessel: c V n; ValueError unless the ratio n is above 0."""
    if not analyte_per_titrant > 0.0:
        raise ValueError(f"mol of analyte per mol of titrant above 0 expected, {analyte_per_titrant!r} came")
    return (analyte_per_titrant * model_of(titrant_mol_per_L) * volume_mL).in_unit("mmol")


def dilution_factor(steps: Iterable[tuple[Part, Part]]) -> Model:
    """Return the factor of a chain of steps, each (portion in mL, made up to in mL); 1 for none."""
    factor = model_of(1.0)
    for portion_mL, made_up_to_mL in steps:
        factor = factor * (model_of(made_up_to_mL) / portion_mL)
    return factor.in_unit("1")


def sample_mol_per_L(amount: Part, aliquot_mL: Part, dilution: Part = 1.0) -> Model:
    """Return the concentration in the undiluted sample from the amount in an aliquot of its dilution."""
    return (model_of(amount) / aliquot_mL * dilution).in_unit("mol/L")


def sample_g_per_L(concentration_mol_per_L: Part, molar_mass_g_per_mol: Part) -> Model:
    """Return the mass concentration."""
    return (model_of(concentration_mol_per_L) * molar_mass_g_per_mol).in_unit("g/L")


def mass_fraction(amount: Part, molar_mass_g_per_mol: Part, sample_g: Part, taken: Part = 1.0) -> Model:
    """Return g of analyte per g of sample.

    `amount`: mmol in the vessel; `taken`: the part of the weighed sample that the vessel holds, e.g.
    1/dilution_factor([(aliquot, flask)]) (1: all of it).
    """
    return (model_of(amount) * molar_mass_g_per_mol / (1000.0 * model_of(sample_g) * taken)).in_unit("g/g")


def with_factor(result: Part, name: str, u_relative: float, dof: float = float("inf")) -> Model:
    """Return the result with one more line: a factor 1 with a relative standard uncertainty.

    For what the user declares as a whole: the sampling, the repeatability of the method.
    """
    model = model_of(result)
    declared = Quantity(name, 1.0, u_relative, "1", "t" if dof < float("inf") else "normal", dof)
    return (model * declared).in_unit(model.unit)
