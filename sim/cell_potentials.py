"""The sections of a cell file for what the indicator electrode follows: potentials, slope, exchange of electrons."""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import Field

from sim.cell_ranges import NumberRange, PotentialRange, Width_mV
from titrator.files.models import Finding, StrictModel
from titrator.files.quantities import (
    Concentration_mol_per_L,
    NonNegativeNumber,
    PositiveConcentration_mol_per_L,
    PositiveNumber,
)


class SlowSection(StrictModel):
    """The empirical limb of a couple that does not follow Nernst at platinum; every figure is invented."""

    lowered_mV: Width_mV = Field(
        alias="lowered",
        description="How far the electrode stands off at the couple's own potential, towards the other couple.",
    )
    follows: NonNegativeNumber = Field(description="Share of the slope with which it still follows, below 1.")

    def findings(self) -> Iterable[Finding]:
        """Yield a share that is none."""
        if self.follows >= 1:
            yield Finding(("follows",), f"expected a share below 1, got {self.follows:g}")


class CouplePotential(PotentialRange):
    """A formal potential drawn uniformly about a centre, in mV against the standard hydrogen electrode, at pH 0."""

    slow: SlowSection | None = Field(None, description="A couple that follows slowly; absent: it follows Nernst.")


class PotentialsSection(StrictModel):
    """What the potential is made from. Redox: formal potentials of the couples. All others: the electrode's offset."""

    analyte: CouplePotential | None = Field(
        None, description="Formal potential of the (first) analyte's couple, against the hydrogen electrode. Redox."
    )
    then: tuple[CouplePotential, ...] = Field((), description="The same of each further analyte.")
    titrant: CouplePotential | None = Field(
        None, description="Formal potential of the titrant's couple, against the hydrogen electrode. Redox."
    )
    offset: PotentialRange | None = Field(
        None,
        description="Glass: its potential at pH 7 against the reference. Silver: how far it stands from Nernst. "
        "Ion electrodes: their potential at 1 mol/L of free ion against the reference.",
    )
    slope: NumberRange = Field(description="Slope as a share of Nernst's, RT/F for one electron.")
    detection_mol_per_L: Concentration_mol_per_L = Field(
        0.0, alias="detection", description="Free metal ion below which an electrode for the analyte levels off. EDTA."
    )
    copper_complex_mol_per_L: Concentration_mol_per_L = Field(
        0.0,
        alias="copper_complex",
        description="Copper-EDTA in the vessel at the start, through which a copper-ion electrode follows another "
        "metal. EDTA.",
    )

    def findings(self) -> Iterable[Finding]:
        """Yield a slope of nothing."""
        if self.slope.low <= 0:
            yield Finding(("slope", "from"), f"expected a slope above 0, got {self.slope.low:g}")


class ExchangeSection(StrictModel):
    """Exchange of electrons at platinum: what sets the potential in a badly poised solution. Redox."""

    analyte: PositiveNumber = Field(
        description="Rate of electron exchange of the (first) analyte's couple, relative to a unit of one's choice."
    )
    then: tuple[PositiveNumber, ...] = Field((), description="The same of each further analyte's couple.")
    titrant: NonNegativeNumber = Field(description="The same of the titrant's couple, in the same unit.")
    background_mol_per_L: PositiveConcentration_mol_per_L = Field(
        alias="background",
        description="Reduction of traces (oxygen) at the electrode, as the concentration that would carry its current.",
    )
