"""When the burette may be primed: over waste only, by somebody's word, and never with a sample in place."""

from __future__ import annotations

import enum

from titrator.control.plan import PrimingSettings

OVER_WASTE = (
    "Is the tip over a waste vessel with no sample under it, and does the supply tube dip into the titrant, free of "
    "bubbles?"
)
IN_PLACE = "Are tube and tip free of bubbles, and is the tip in place in the sample now?"


class Next(enum.Enum):
    """What a run that is held, or begins, has to do next."""

    ASK_OVER_WASTE = "ask, over waste"
    PRIME = "prime"
    ASK_IN_PLACE = "ask, in place"
    MEASURE = "measure"


class Priming:
    """Remembers which of the two questions was answered; forgets the first one when the priming is broken off."""

    def __init__(self, settings: PrimingSettings | None) -> None:
        self._due = settings is not None
        self._over_waste = False
        self._in_place = settings is None

    @property
    def next(self) -> Next:
        """What comes next."""
        if self._due:
            return Next.PRIME if self._over_waste else Next.ASK_OVER_WASTE
        return Next.MEASURE if self._in_place else Next.ASK_IN_PLACE

    def confirmed(self, text: str) -> None:
        """Somebody answered yes to a question."""
        if text == OVER_WASTE and self._due:
            self._over_waste = True
        elif text == IN_PLACE and not self._due:
            self._in_place = True

    def broken_off(self) -> None:
        """The tip may have been moved since: the question is put again before anything runs."""
        self._over_waste = False

    def done(self) -> None:
        """The purge is delivered. It is never repeated in this run, for now a sample comes."""
        self._due = self._over_waste = False
