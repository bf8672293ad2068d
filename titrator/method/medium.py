"""Section `medium`: what is added to the aliquot before the titration."""

from collections.abc import Iterable

from pydantic import Field

from titrator.chemistry.couples import REACTIONS
from titrator.files import Finding, StrictModel
from titrator.files.quantities import PositiveConcentration_mol_per_L, Volume_mL
from titrator.files.schema import one_of
from titrator.files.texts import Text
from titrator.method.solution import SolutionTemperature_C

NO_ACID = "none"


class Medium(StrictModel):
    """The acid that keeps the analyte in solution and fixes the formal potentials."""

    acid: Text = Field(
        description='Name of the acid, "sulfuric acid", or "none".',
        json_schema_extra=one_of(lambda: [*(acid for each in REACTIONS for acid in each.acids), NO_ACID]),
    )
    stated_mol_per_L: PositiveConcentration_mol_per_L | None = Field(
        None, alias="concentration", description="Concentration of the acid that is added; left out without acid."
    )
    volume_mL: Volume_mL = Field(alias="volume", description="Volume of that acid, added to the aliquot in the vessel.")
    temperature_C: SolutionTemperature_C = Field(
        alias="temperature",
        description="Temperature of the solution in the vessel, between 0 and 100 °C: it sets the Nernst slope.",
    )

    @property
    def concentration_mol_per_L(self) -> float:
        """Return the concentration of the added acid in mol/L, 0 where there is none."""
        return self.stated_mol_per_L or 0.0

    def findings(self) -> Iterable[Finding]:
        """Refuse an acid without concentration, and a concentration without acid."""
        if self.acid == NO_ACID and self.stated_mol_per_L is not None:
            text = f'expected no concentration where acid is "{NO_ACID}", got {self.stated_mol_per_L:g} mol/L'
            yield Finding(("concentration",), text)
        if self.acid != NO_ACID and self.stated_mol_per_L is None:
            yield Finding(("acid",), f"expected the key concentration beside the acid, got {self.acid} without it")
