"""The section of a cell file that says what reacts with what, and in which medium."""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import Field

from titrator.chemistry.reactions import REACTIONS, WATER, Family, KnownMedium, Reaction, find_reaction
from titrator.files.models import Finding, StrictModel
from titrator.files.schema import one_of
from titrator.files.texts import Text


def _media(*kinds: str) -> list[str]:
    return [medium.name for reaction in REACTIONS for medium in reaction.media if medium.kind in kinds]


class ReactionSection(StrictModel):
    """What reacts with what, in which medium."""

    analyte: Text = Field(
        description="The substance sought, such as iron(II).",
        json_schema_extra=one_of(lambda: [reaction.analytes[0] for reaction in REACTIONS]),
    )
    then: tuple[Text, ...] = Field(
        (), description="Further substances, in order of their equivalence points, such as [iron(II)] behind tin(II)."
    )
    titrant: Text = Field(
        description="The titrant in the burette, such as cerium(IV).",
        json_schema_extra=one_of(lambda: [reaction.titrant for reaction in REACTIONS]),
    )
    acid: Text | None = Field(
        None,
        description="The acid of the medium, such as sulfuric acid; it decides the formal potentials. "
        "`none` for plain water; absent where there is a buffer.",
        json_schema_extra=one_of(lambda: _media("acid", "water")),
    )
    buffer: Text | None = Field(
        None,
        description="The buffer of the medium, such as ammonia buffer (EDTA only).",
        json_schema_extra=one_of(lambda: _media("buffer")),
    )

    @property
    def analytes(self) -> tuple[str, ...]:
        """Return every analyte in order of the equivalence points."""
        return (self.analyte, *self.then)

    @property
    def medium(self) -> str:
        """Return the name of the medium: acid, buffer or none."""
        return self.acid or self.buffer or WATER

    def known(self) -> Reaction:
        """Return the reaction as data."""
        return find_reaction(self.analytes, self.titrant)

    @property
    def family(self) -> Family:
        """Return what kind of titration it is: it decides which further keys are there."""
        return self.known().family

    def findings(self) -> Iterable[Finding]:
        """Yield a reaction or a medium that this version does not know."""
        told = " and ".join(self.analytes)
        try:
            reaction = self.known()
        except KeyError:
            return [self._unknown(told)]
        if self.acid is not None and self.buffer is not None:
            return [Finding(("buffer",), "expected one of acid and buffer, got both")]
        buffers = " or ".join(medium.name for medium in reaction.media if medium.kind == "buffer")
        others = " or ".join(medium.name for medium in reaction.media if medium.kind != "buffer")
        key = "buffer" if buffers else "acid"
        expected = f"{buffers or others} (the media of {told} with {self.titrant} in this version)"
        if self.acid is None and self.buffer is None:
            return [Finding((), f"expected the key {key}: {expected}, got neither acid nor buffer")]
        given = "acid" if self.acid is not None else "buffer"
        if given != key:
            return [Finding((given,), f"expected the key {key}: {expected}, got {given}: {self.medium}")]
        if self.medium not in reaction.acids:
            return [Finding((key,), f"expected {buffers or others}, got {self.medium}")]
        return ()

    def known_medium(self) -> KnownMedium:
        """Return the medium as data."""
        return self.known().medium(self.medium)

    def _unknown(self, told: str) -> Finding:
        known = [r for r in REACTIONS if r.analytes == self.analytes]
        if known:
            titrants = " or ".join(r.titrant for r in known)
            return Finding(("titrant",), f"expected a titrant known for {told} ({titrants}), got {self.titrant}")
        reactions = "; ".join(f"{' and '.join(r.analytes)} with {r.titrant}" for r in REACTIONS)
        text = f"expected a reaction known in this version ({reactions}), got {told} with {self.titrant}"
        return Finding(("analyte",), text)
