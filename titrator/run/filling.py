"""Which titrant stands in the rig: checked before a run on a bench, primed where asked for, and remembered."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from titrator.bench.memory import (
    PURGE_DEAD_VOLUMES,
    HeldTitrant,
    RigMemoryError,
    check_titrant,
    forget,
    held,
    memory_path,
    remember,
)
from titrator.bench.refill import priming_travel_mL
from titrator.bench.rig import Rig
from titrator.control.plan import PrimingSettings
from titrator.control.priming import IN_PLACE
from titrator.control.states import State
from titrator.method import Method
from titrator.run.errand_times import priming_settings
from titrator.run.standing import Standing


@dataclass(frozen=True, slots=True)
class Filling:
    """What is known of the rig's titrant before a run, and what has to be remembered in its course.

    `holds` is what the rig remembered; `stated` is whether nothing was remembered and the method was taken at its word.
    """

    path: Path
    titrant: HeldTitrant
    holds: HeldTitrant | None
    stated: bool
    priming: PrimingSettings | None
    priming_mL: float

    def fields(self) -> dict[str, Any]:
        """For the journal: what the rig was taken to hold, and how that is known."""
        primed_mL = self.priming.purge_mL if self.priming is not None else 0.0
        known = "primed now" if self.priming is not None else "stated by the method" if self.stated else "remembered"
        before = None if self.holds is None else str(self.holds)
        return {
            "titrant": str(self.titrant),
            "known": known,
            "held_before": before,
            "purge_mL": primed_mL,
            "empty_first": self.priming is not None and self.priming.empty_first,
        }

    def begun(self) -> None:
        """The run begins. RigMemoryError when the rig's memory cannot be written."""
        if self.priming is None:
            remember(self.path, self.titrant)

    def entered(self, state: State) -> None:
        """Before the first drop of a purge the old titrant is forgotten: a purge that breaks off leaves a mixture."""
        if state is State.PRIMING:
            forget(self.path)

    def stands(self, standing: Standing) -> None:
        """Once it is asked whether the tip is in place again, the purge is delivered: the new titrant is in."""
        question = standing.question
        if self.priming is not None and question is not None and question.text == IN_PLACE:
            remember(self.path, self.titrant)


def filling_of(method: Method, rig: Rig, rig_path: Path, *, prime: bool) -> Filling:
    """What stands in the rig before a run of `method`. RigMemoryError when it is another titrant and is not primed.

    A rig that remembers nothing at all, as a new one, is taken to hold what the method says: somebody has just
    acknowledged that everything is in place.
    """
    titrant = HeldTitrant(method.reaction.titrant, method.titrant.concentration.value_mol_per_L, method.medium.name)
    path = memory_path(rig, rig_path)
    holds = held(path)
    stated = not path.exists()
    if not prime:
        if not stated:
            _check(path, titrant, rig)
        return Filling(path, titrant, holds, stated, None, 0.0)
    burette = rig.burette
    if not burette.refills or not burette.dead_volume_mL:
        wanted = "fills itself (burette.refills)" if not burette.refills else "states its dead volume"
        raise RigMemoryError(
            f'--prime: expected a rig whose burette {wanted}, got that of "{rig.name}". Next: prime by hand, tip over '
            "waste, or complete the rig file"
        )
    purge_mL = PURGE_DEAD_VOLUMES * burette.dead_volume_mL
    empty_first = not stated and (holds is None or not titrant.same_as(holds))
    priming = priming_settings(burette, purge_mL, empty_first=empty_first)
    travel_mL = priming_travel_mL(burette.stroke_mL, purge_mL, empty_first=empty_first)
    return Filling(path, titrant, holds, stated, priming, travel_mL)


def _check(path: Path, titrant: HeldTitrant, rig: Rig) -> None:
    try:
        check_titrant(path, titrant, rig, 0.0)
    except RigMemoryError as error:
        how = (
            "`--prime` does it"
            if rig.burette.refills
            else f"this burette is filled by hand: empty it, rinse it and its tube, then delete {path}"
        )
        raise RigMemoryError(f"{error}; {how}") from error
