"""The table of hazards: what the Globally Harmonized System says of substances, and where their waste goes.

The table `hazards.yaml` beside this module carries the source of every classification. Suppliers differ; the safety
data sheet in hand comes first, and the text says so.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import Field

from titrator.files import StrictModel, load
from titrator.files.quantities import MolarMass_g_per_mol, NonNegativeNumber, NonNegativeRatio
from titrator.files.texts import Text

TABLE = Path(__file__).with_name("hazards.yaml")


class Density(StrictModel):
    """How a concentration becomes a mass fraction: density = 1 kg/L + slope × concentration, near enough."""

    molar_mass_g_per_mol: MolarMass_g_per_mol = Field(alias="molar_mass", description="Molar mass of the substance.")
    slope_kg_per_mol: NonNegativeNumber = Field(
        alias="slope", description="Rise of the density in kg/L for each mol/L."
    )

    def mass_fraction(self, concentration_mol_per_L: float) -> float:
        """Return the mass fraction (0 to 1) of a solution in water."""
        density_g_per_L = 1000 * (1 + self.slope_kg_per_mol * concentration_mol_per_L)
        return min(1.0, concentration_mol_per_L * self.molar_mass_g_per_mol / density_g_per_L)


class Band(StrictModel):
    """A classification from a mass fraction upwards."""

    above: NonNegativeRatio = Field(description="Mass fraction from which this classification holds.")
    statements: tuple[Text, ...] = Field(description="Codes of the hazard statements.")
    signal: Literal["Danger", "Warning", "none"] = Field(description="Signal word.")
    pictograms: tuple[Text, ...] = Field(default=(), description="What the pictograms show, in words.")


class Hazard(StrictModel):
    """A substance or mixture of the table. Bands stand from the strongest to the weakest."""

    bands: tuple[Band, ...] = Field(description="Classifications by mass fraction, the strongest first.")
    density: Density | None = Field(None, description="Needed where the classification depends on concentration.")
    source: Text = Field(description="Where the classification comes from, and how sure it is.")
    handling: tuple[Text, ...] = Field(default=(), description="What to do, and not to do, with it.")
    waste: Text = Field(description="Where its waste goes.")

    def band(self, concentration_mol_per_L: float | None) -> Band | None:
        """Return the classification at a concentration (the strongest if None), or None below every limit."""
        if concentration_mol_per_L is None or self.density is None:
            return self.bands[0]
        fraction = self.density.mass_fraction(concentration_mol_per_L)
        return next((band for band in self.bands if fraction >= band.above), None)


class HazardFile(StrictModel):
    """The file `hazards.yaml`."""

    format: Literal[1] = Field(description="Version of this file's format.")
    statements: dict[str, Text] = Field(description="Hazard statements in full, by code.")
    general: tuple[Text, ...] = Field(description="What holds for every method.")
    substances: dict[str, Hazard] = Field(description="Substances and mixtures by name.")


@cache
def hazard_file() -> HazardFile:
    """Return the table, read once."""
    return load(TABLE, HazardFile)


def hazard_table() -> dict[str, Hazard]:
    """Return the substances of the table by name."""
    return hazard_file().substances
