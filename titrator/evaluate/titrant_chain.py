"""The titrant's concentration: prepared by weighing, or standardised against a primary standard; blanks taken off.

Every argument is a number, a Quantity or a Model, so that chains of any length are built from the parts of weighing,
volumes and molar_mass. Amounts are in mmol, volumes in mL, concentrations in mol/L (mmol/mL).
"""

from __future__ import annotations

from titrator.evaluate.measurement import Model, Part, model_of


def amount_mmol(mass_g: Part, purity: Part, molar_mass_g_per_mol: Part) -> Model:
    """Return the amount of a weighed substance: 1000 m P / M, purity as a mass fraction (1 is pure)."""
    return (1000.0 * model_of(mass_g) * purity / molar_mass_g_per_mol).in_unit("mmol")


def made_up_mol_per_L(amount: Part, flask_mL: Part) -> Model:
    """Return the concentration of an amount in mmol made up to the mark of a flask."""
    return (model_of(amount) / flask_mL).in_unit("mol/L")


def less_blank_mL(volume_mL: Part, blank_mL: Part) -> Model:
    """Return the volume without the blank's; what both share (a burette's constant shift) cancels."""
    return (model_of(volume_mL) - blank_mL).in_unit("mL")


def standardised_mol_per_L(standard_mmol: Part, volume_mL: Part, standard_per_titrant: float = 1.0) -> Model:
    """Return the concentration by titration of an amount of primary standard: n / (r V).

    `volume_mL`: at equivalence, blank taken off. `standard_per_titrant`: mol of standard that a mol of titrant takes;
    ValueError unless above 0.
    """
    if not standard_per_titrant > 0.0:
        raise ValueError(f"mol of standard per mol of titrant above 0 expected, {standard_per_titrant!r} came")
    return (model_of(standard_mmol) / (standard_per_titrant * model_of(volume_mL))).in_unit("mol/L")


def portion_mmol(amount: Part, portion_mL: Part, made_up_to_mL: Part) -> Model:
    """Return the amount in an aliquot of a made-up solution (a stock of primary standard, say)."""
    return (model_of(amount) * portion_mL / made_up_to_mL).in_unit("mmol")
