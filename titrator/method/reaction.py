"""Section `reaction`: what reacts with what, and in which ratio."""

from collections.abc import Iterable

from pydantic import Field

from titrator.chemistry.couples import REACTIONS
from titrator.chemistry.couples import Reaction as KnownReaction
from titrator.files import Finding, StrictModel
from titrator.files.quantities import PositiveNumber
from titrator.files.schema import one_of
from titrator.files.texts import Text


class Reaction(StrictModel):
    """The reaction of the titration. Only reactions of the table in `titrator.chemistry.couples` are taken."""

    analyte: Text = Field(
        description='What is determined, with its oxidation state: "iron(II)".',
        json_schema_extra=one_of(lambda: [each.analyte.reduced for each in REACTIONS]),
    )
    titrant: Text = Field(
        description='What the burette delivers, with its oxidation state: "cerium(IV)".',
        json_schema_extra=one_of(lambda: [each.titrant.oxidised for each in REACTIONS]),
    )
    analyte_per_titrant: PositiveNumber = Field(
        description="Moles of analyte that one mole of titrant consumes: electrons of the titrant over electrons of "
        "the analyte, 1 for iron(II) with cerium(IV)."
    )

    @property
    def known(self) -> KnownReaction | None:
        """Return the table's entry, or None for a reaction that this version does not know."""
        for reaction in REACTIONS:
            if (reaction.analyte.reduced, reaction.titrant.oxidised) == (self.analyte, self.titrant):
                return reaction
        return None

    def findings(self) -> Iterable[Finding]:
        """Refuse reactions that are not known, and a ratio that the electrons contradict."""
        known = self.known
        if known is None:
            listed = "; ".join(f"{each.analyte.reduced} with {each.titrant.oxidised}" for each in REACTIONS)
            wrong = "titrant" if any(each.analyte.reduced == self.analyte for each in REACTIONS) else "analyte"
            yield Finding(
                (wrong,),
                f"expected a reaction that this version knows ({listed}), got {self.analyte} with {self.titrant}",
            )
        elif self.analyte_per_titrant != known.analyte_per_titrant:
            yield Finding(
                ("analyte_per_titrant",),
                f"expected {known.analyte_per_titrant:g} mol of {self.analyte} per mol of {self.titrant} (from the "
                f"electrons exchanged), got {self.analyte_per_titrant:g}",
            )
