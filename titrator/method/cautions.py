"""Section `cautions`: what the operator must know before a start."""

import difflib
from collections.abc import Iterable

from pydantic import Field

from titrator.files import Finding, StrictModel
from titrator.files.quantities import PositiveConcentration_mol_per_L
from titrator.files.schema import one_of
from titrator.files.texts import Text
from titrator.method.hazards import hazard_table


class Substance(StrictModel):
    """A substance of the hazard table, as it is handled here."""

    name: Text = Field(
        description="Name of the substance in the hazard table (titrator/method/hazards.yaml).",
        json_schema_extra=one_of(hazard_table),
    )
    concentration_mol_per_L: PositiveConcentration_mol_per_L | None = Field(
        None,
        alias="concentration",
        description="Concentration as handled, for substances whose hazard depends on it. Without this key the "
        "substance is taken as the table's strongest entry.",
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse a substance without an entry in the table."""
        table = hazard_table()
        if self.name not in table:
            near = difflib.get_close_matches(self.name, table, n=1)
            meant = f"did you mean {near[0]}?" if near else f"{', '.join(table)}; put others into notes"
            yield Finding(("name",), f"expected a substance of the hazard table ({meant}), got {self.name}")


class Cautions(StrictModel):
    """What is shown before every start; a run on a bench needs it acknowledged."""

    substances: tuple[Substance, ...] = Field(
        description="The hazardous substances of this method, each with its name in the hazard table and, where the "
        "hazard depends on it, its concentration. Titrant and acid must be among them."
    )
    notes: tuple[Text, ...] = Field(default=(), description="Further cautions, in the words of the laboratory.")
