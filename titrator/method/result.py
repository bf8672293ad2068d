"""Section `result`: what is reported."""

from typing import Literal

from pydantic import Field

from titrator.files import StrictModel
from titrator.files.quantities import MolarMass_g_per_mol, NonNegativeRatio
from titrator.files.texts import Text


class FurtherResult(StrictModel):
    """Name and molar mass of the result of a further equivalence point; its unit is that of the first."""

    name: Text = Field(description="Name of this result in reports.")
    molar_mass_g_per_mol: MolarMass_g_per_mol = Field(alias="molar_mass", description="Molar mass of what is reported.")


class Result(StrictModel):
    """Name, unit and molar mass of the result, which is for the sample before its dilution."""

    name: Text = Field(description="Name of the result in reports.")
    unit: Literal["mol/L", "mmol/L", "g/L", "mg/L", "%", "g/100 g", "mg/g", "mmol"] = Field(
        description="Unit of the results: mol/L, mmol/L, g/L or mg/L, where amount and mass are both reported; of a "
        "weighed sample (`sample.mass`) %, g/100 g or mg/g; mmol is the amount in the vessel."
    )
    molar_mass_g_per_mol: MolarMass_g_per_mol = Field(
        alias="molar_mass", description="Molar mass of what is reported (of iron, where the result is iron)."
    )
    repeatability: NonNegativeRatio = Field(
        0.0,
        description="Relative standard deviation of single results of this method, `0.1 %`, where more scatters than "
        "the other lines of the budget tell: a line of its own.",
    )
    then: tuple[FurtherResult, ...] = Field(
        default=(), description="The results of further equivalence points, in their order; none without this key."
    )

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the results, in order of the equivalence points."""
        return (self.name, *(each.name for each in self.then))

    @property
    def molar_masses_g_per_mol(self) -> tuple[float, ...]:
        """Return the molar masses in g/mol, in the same order."""
        return (self.molar_mass_g_per_mol, *(each.molar_mass_g_per_mol for each in self.then))
