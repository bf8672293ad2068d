"""Section `reaction`: what reacts with what, and in which ratio, point by point."""

import math
from collections.abc import Iterable, Sequence

from pydantic import Field

from titrator.chemistry.reactions import REACTIONS
from titrator.chemistry.reactions import Reaction as KnownReaction
from titrator.files import Finding, StrictModel
from titrator.files.quantities import PositiveNumber
from titrator.files.schema import one_of
from titrator.files.texts import Text

FOUR_DIGITS = 2e-4
"""How far a written ratio may lie from the exact one, relative: a third is written 0.3333."""

_WHY = {
    "redox": "from the electrons exchanged",
    "acid-base": "from the protons exchanged",
    "precipitation": "from the formula of the precipitate",
    "complexation": "from the formula of the complex",
}


def _analytes() -> list[str]:
    return [analyte for known in REACTIONS for analyte in known.analytes]


class FurtherStep(StrictModel):
    """What is used up between one equivalence point and the next."""

    analyte: Text = Field(description="What is determined at this further point.", json_schema_extra=one_of(_analytes))
    stated_ratio: PositiveNumber = Field(
        alias="analyte_per_titrant", description="Moles of it that one mole of titrant consumes."
    )


class Reaction(StrictModel):
    """The reaction of the titration. Only reactions of the table in `titrator.chemistry.reactions` are taken."""

    analyte: Text = Field(
        description="What is determined at the first equivalence point, with its oxidation state where it has "
        'one: "iron(II)".',
        json_schema_extra=one_of(_analytes),
    )
    titrant: Text = Field(
        description='What the burette delivers, with its oxidation state where it has one: "cerium(IV)".',
        json_schema_extra=one_of(lambda: [each.titrant for each in REACTIONS]),
    )
    stated_ratio: PositiveNumber = Field(
        alias="analyte_per_titrant",
        description="Moles of analyte that one mole of titrant consumes: electrons of the titrant over electrons of "
        "the analyte, 1 for iron(II) with cerium(IV), 5 with permanganate; a third is written 0.3333 and "
        "taken exactly.",
    )
    then: tuple[FurtherStep, ...] = Field(
        default=(),
        description="What follows at further equivalence points of the same titration, in the order of the points: "
        "iron(II) behind tin(II), chloride behind iodide. None without this key.",
    )

    @property
    def analytes(self) -> tuple[str, ...]:
        """Return what is determined, in order of the equivalence points."""
        return (self.analyte, *(step.analyte for step in self.then))

    @property
    def ratios(self) -> tuple[float, ...]:
        """Return mol of analyte per mol of titrant for each step: the table's exact ones where it knows them."""
        known = self.known
        if known is not None:
            return tuple(step.analyte_per_titrant for step in known.steps)
        return (self.stated_ratio, *(step.stated_ratio for step in self.then))

    @property
    def analyte_per_titrant(self) -> float:
        """Return the ratio of the first step."""
        return self.ratios[0]

    @property
    def named(self) -> str:
        """Return the reaction in words: "tin(II) and iron(II) with cerium(IV)"."""
        return _named(self.analytes, self.titrant)

    @property
    def known(self) -> KnownReaction | None:
        """Return the table's entry, or None for a reaction that this version does not know."""
        for reaction in REACTIONS:
            if (reaction.analytes, reaction.titrant) == (self.analytes, self.titrant):
                return reaction
        return None

    def findings(self) -> Iterable[Finding]:
        """Refuse reactions that are not known, and ratios that contradict the table."""
        known = self.known
        if known is None:
            yield self._unknown()
            return
        stated = [self.stated_ratio, *(step.stated_ratio for step in self.then)]
        for number, (step, ratio) in enumerate(zip(known.steps, stated, strict=True)):
            if not math.isclose(ratio, step.analyte_per_titrant, rel_tol=FOUR_DIGITS):
                at: tuple[str | int, ...] = ("then", number - 1) if number else ()
                yield Finding(
                    (*at, "analyte_per_titrant"),
                    f"expected {step.analyte_per_titrant:.4g} mol of {step.analyte} per mol of {self.titrant} "
                    f"({_WHY[known.family]}), got {ratio:g}",
                )

    def _unknown(self) -> Finding:
        """Name the reactions that come nearest: of the same first analyte, else of the same titrant, else all."""
        same_first = [known for known in REACTIONS if known.analytes[0] == self.analyte]
        same_titrant = [known for known in REACTIONS if known.titrant == self.titrant]
        near = [known for known in same_first if known.titrant == self.titrant]
        listed = "; ".join(
            _named(known.analytes, known.titrant) for known in near or same_first or same_titrant or REACTIONS
        )
        wrong = "then" if self.then and near else "titrant" if same_first and not near else "analyte"
        return Finding((wrong,), f"expected a reaction that this version knows ({listed}), got {self.named}")


def _named(analytes: Sequence[str], titrant: str) -> str:
    return f"{' and '.join(analytes)} with {titrant}"
