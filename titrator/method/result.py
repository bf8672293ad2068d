"""Section `result`: what is reported."""

from typing import Literal

from pydantic import Field

from titrator.files import StrictModel
from titrator.files.quantities import MolarMass_g_per_mol
from titrator.files.texts import Text


class Result(StrictModel):
    """Name, unit and molar mass of the result, which is for the sample before its dilution."""

    name: Text = Field(description="Name of the result in reports.")
    unit: Literal["mol/L", "mmol/L", "g/L", "mg/L"] = Field(
        description="Unit of the first result: mol/L, mmol/L, g/L or mg/L. Amount and mass are both reported."
    )
    molar_mass_g_per_mol: MolarMass_g_per_mol = Field(
        alias="molar_mass", description="Molar mass of what is reported (of iron, where the result is iron)."
    )
