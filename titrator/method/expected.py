"""Section `sample.expected`: what the laboratory expects. It is used for checks and advice, and never trusted."""

from collections.abc import Iterable

from pydantic import Field

from titrator.files import Finding, StrictModel
from titrator.files.quantities import PositiveConcentration_mol_per_L


class Expected(StrictModel):
    """The concentrations between which the sample is expected."""

    low_mol_per_L: PositiveConcentration_mol_per_L = Field(
        alias="from", description="Lowest concentration expected in the sample, before its dilution."
    )
    high_mol_per_L: PositiveConcentration_mol_per_L = Field(
        alias="to", description="Highest concentration expected in the sample, before its dilution."
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse limits the wrong way round."""
        if self.high_mol_per_L < self.low_mol_per_L:
            yield Finding(
                ("to",),
                f"expected at least the {self.low_mol_per_L:g} mol/L of from, got {self.high_mol_per_L:g} mol/L",
            )
