"""The sections of a cell file that say what is in the sample and in the titrant beside what everybody knows of."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from pydantic import Field

from sim.cell_ranges import ConcentrationRange, NumberRange, PotentialRange
from titrator.files.models import Finding, StrictModel
from titrator.files.quantities import TEMPERATURE, Concentration_mol_per_L, Quantity

_UNDILUTED = "in the undiluted sample"


class InhibitorSection(StrictModel):
    """An inhibitor (or brightener) that the titrant oxidises too, as one couple of one electron."""

    electrons: ConcentrationRange = Field(
        description=f"Mol of electrons that it gives, per litre {_UNDILUTED}. They count at the equivalence point, not "
        "in the truth of the analyte."
    )
    potential: PotentialRange = Field(description="Its formal potential, against the hydrogen electrode.")


class SampleSection(StrictModel):
    """The unknown: the undiluted sample, before the method takes and dilutes its aliquot."""

    concentration: ConcentrationRange = Field(
        description="Analyte in the undiluted sample; with redox reactions the form that is titrated only."
    )
    then: tuple[ConcentrationRange, ...] = Field((), description="The same of each further analyte.")
    oxidised: NumberRange | None = Field(
        None,
        description="Share of the (first) analyte's element that is oxidised at the start (0.001 is one part in a "
        "thousand). Redox, with an oxidant.",
    )
    acid_mol_per_L: Concentration_mol_per_L = Field(
        0.0,
        alias="acid",
        description="Strong acid in the aliquot as it is taken, after dilution. Redox: it keeps iron in solution and "
        "is used up by permanganate and dichromate.",
    )
    iodide: ConcentrationRange | None = Field(None, description=f"Iodide beside the iodine, {_UNDILUTED}.")
    inhibitor: InhibitorSection | None = Field(None, description="What else consumes the oxidant. Redox.")
    chloride: ConcentrationRange | None = Field(
        None,
        description=f"Chloride {_UNDILUTED}. Beside iron(II) it costs permanganate, unless the method's reagents "
        "prevent it; with other redox titrants it is told only.",
    )
    zinc_ii: ConcentrationRange | None = Field(
        None, alias="zinc(II)", description=f"Zinc {_UNDILUTED}. Redox: told only. Free acid: it hydrolyses."
    )
    iron_ii: ConcentrationRange | None = Field(
        None, alias="iron(II)", description=f"Iron(II) beside free acid, {_UNDILUTED}; it hydrolyses and precipitates."
    )
    iron_iii: ConcentrationRange | None = Field(
        None, alias="iron(III)", description=f"Iron(III) beside free acid, {_UNDILUTED}; it hydrolyses first."
    )

    def findings(self) -> Iterable[Finding]:
        """Yield a share that leaves nothing to titrate."""
        if self.oxidised is not None and self.oxidised.high >= 1:
            yield Finding(("oxidised", "to"), f"expected a share below 1, got {self.oxidised.high:g}")


class TitrantSection(StrictModel):
    """The titrant, beside the concentration that the method states."""

    acid_mol_per_L: Concentration_mol_per_L = Field(0.0, alias="acid", description="Strong acid in the titrant. Redox.")
    iodide_mol_per_L: Concentration_mol_per_L = Field(
        0.0, alias="iodide", description="Iodide that an iodine titrant holds beside the iodine."
    )
    carbonate: NumberRange | None = Field(
        None,
        description="Share of a base's alkalinity that is carbonate (0.01: of 100 mol of hydroxide, carbon dioxide has "
        "turned 1 mol into half a mol of carbonate).",
    )
    warmer_C: Annotated[float, Quantity(TEMPERATURE, at_least=0, difference=True)] = Field(
        0.0,
        alias="temperature_within",
        description="The titrant's real temperature is drawn within this of the stated one, either way; "
        "what a mL holds changes with its density.",
    )

    def findings(self) -> Iterable[Finding]:
        """Yield a base that is carbonate altogether."""
        if self.carbonate is not None and self.carbonate.high >= 1:
            yield Finding(("carbonate", "to"), f"expected a share below 1, got {self.carbonate.high:g}")
