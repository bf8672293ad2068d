"""What a method of the same name states, for each cell of configs/cells: the figures of the comments at its top."""

from pathlib import Path

from sim.cell_file import load_cell
from sim.stated import StatedValues

CELLS = Path(__file__).parents[2] / "configs" / "cells"

INDUCED = "manganese(II) sulfate with phosphoric acid"

# titrant in mol/L, aliquot in mL, dilution, medium in mol/L, and what else differs.
_STATED = {
    "iron_in_pickling_bath": (0.1, 10, 10, 1.0, {}),
    "iron_with_permanganate": (0.02, 10, 10, 1.0, {"reagents": (INDUCED,)}),
    "iron_with_dichromate": (0.1 / 6, 10, 10, 1.0, {}),
    "tin_plating_bath": (0.1, 10, 10, 1.0, {"gas": "nitrogen"}),
    "tin_and_iron": (0.1, 10, 10, 1.0, {"gas": "nitrogen"}),
    "iodine_with_thiosulfate": (0.1, 10, 1, 0.0, {}),
    "ascorbic_acid_with_iodine": (0.05, 10, 1, 0.1, {}),
    "acetic_acid": (0.1, 10, 10, 0.0, {}),
    "citric_acid": (0.1, 10, 10, 0.0, {}),
    "phosphoric_acid": (0.1, 10, 10, 0.0, {}),
    "carbonate_with_acid": (0.1, 10, 10, 0.0, {}),
    "free_acid_in_pickling_bath": (0.1, 10, 10, 0.0, {}),
    "chloride_in_rinse_water": (0.1, 10, 1, 0.01, {}),
    "iodide_and_chloride": (0.1, 10, 1, 0.01, {}),
    "calcium_hardness": (0.01, 25, 1, 0.2, {"pH": 10.0, "medium_mL": 25.0}),
    "zinc_bath": (0.1, 10, 10, 0.2, {"pH": 10.0}),
    "copper_bath": (0.1, 10, 10, 0.2, {"pH": 5.0}),
}
NAMES = tuple(_STATED)


def cell_named(name):
    return load_cell(CELLS / f"{name}.yaml")


def stated_for(name, **changed):
    titrant, aliquot_mL, dilution, medium, further = _STATED[name]
    cell = cell_named(name)
    reaction = cell.reaction.known()
    values = {
        "titrant": reaction.titrant,
        "analytes": reaction.analytes,
        "titrant_mol_per_L": titrant,
        "u_titrant_mol_per_L": titrant * 0.002,
        "aliquot_mL": aliquot_mL,
        "u_aliquot_mL": 0.01,
        "dilution": dilution,
        "u_dilution": 0.005 if dilution > 1 else 0.0,
        "analyte_per_titrant": tuple(step.analyte_per_titrant for step in reaction.steps),
        "fill_mL": 50.0,
        "temperature_C": 20.0,
        "reference_potential_V": 0.210,
        "indicator": reaction.indicators[0],
        "medium": cell.reaction.medium,
        "medium_mol_per_L": medium,
        "medium_mL": 40.0,
    }
    return StatedValues(**{**values, **further, **changed})
