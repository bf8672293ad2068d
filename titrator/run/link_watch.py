"""A lost link as the driver deals with it: the board is looked for, and what was found is put on record."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from titrator.bench.bench import Bench
from titrator.bench.bounds import Bounds
from titrator.bench.errors import BenchError, LinkError, PositionLostError
from titrator.bench.joining import Joined
from titrator.record.journal import Journal


def session_fields(joined: Joined) -> dict[str, Any]:
    """A session as the journal tells of it: all that a later process needs to go on."""
    ended = joined.ended
    return {
        "session": f"{joined.session:08x}",
        "boot": f"{joined.boot:08x}",
        "steps": joined.steps,
        "home": joined.home,
        "base_ms": joined.base_ms,
        "counting_since": f"{joined.counting_since:08x}",
        "within_on_board": joined.within_on_board,
        "baseline": [f"{joined.baseline[0]:08x}", joined.baseline[1]],
        "reset": joined.reset,
        "within_steps": joined.within,
        "ended": None if ended is None else {"dose": ended.dose, "steps": ended.position, "reason": ended.reason},
    }


def uncertain_fields(why: str, bounds: Bounds, step_mL: float) -> dict[str, Any]:
    """An uncertain volume as the journal tells of it."""
    return {
        "why": why,
        "low_mL": bounds.low * step_mL,
        "high_mL": bounds.high * step_mL,
        "low_steps": bounds.low,
        "high_steps": bounds.high,
    }


MOST_LOSSES: Final = 50
"""A link that is found again so often without a single point in between is as good as none."""


class LinkWatch:
    """Whether the link is lost, and the search for the board. `lost` is why and since when, or None."""

    def __init__(self, bench: Bench, journal: Journal, new_session: Callable[[], int]) -> None:
        self._bench = bench
        self._journal = journal
        self._new_session = new_session
        self._since_s = 0.0
        self._losses = 0
        self.lost: BenchError | None = None
        self.bounds: Bounds | None = None
        """What is certain of the volume, once it is not certain any more."""

    def concerns(self, error: BenchError) -> bool:
        """Whether `error` is one of the link, or leaves open what became of a motion: then the board has to tell."""
        return isinstance(error, LinkError) or self._bench.motions.unknown

    def lose(self, error: BenchError) -> None:
        """The link failed so. JournalError when that cannot be recorded; it is known all the same."""
        self._bench.lost(error)
        if self.lost is None:
            self._losses += 1
            self.lost, self._since_s = error, self._bench.now_s
            self._journal.write("link", self._since_s, {"state": "lost", "why": str(error)})

    def doubt(self, why: str, bounds: Bounds, t_s: float) -> None:
        """The volume may not be certain any more: the record says so. JournalError; it is known all the same."""
        self.bounds = bounds
        if not bounds.certain:
            fields = uncertain_fields(why, bounds, self._bench.rig.burette.step_mL)
            self._journal.write("uncertain", t_s, fields, durable=True)

    def holds(self) -> None:
        """A point was logged: the link is good enough."""
        self._losses = 0

    def look(self, pause_s: float) -> Joined | None:
        """Look for the board once; how the run goes on, or None where it is not there yet.

        PositionLostError when the run is over; JournalError.
        """
        bench = self._bench
        if self._losses > MOST_LOSSES:
            raise self.give_up(f"the link was lost {self._losses} times without a point in between: {self.lost}")
        try:
            joined = bench.rejoin(self._new_session())
        except PositionLostError:
            raise
        except BenchError as error:
            bench.lost(error)
            if bench.now_s - self._since_s >= bench.rig.link.returns_within_s:
                raise self._not_coming_back(error) from error
            bench.pause(pause_s)
            return None
        self.lost = None
        self._journal.write("session", joined.t_s, session_fields(joined), durable=True)
        return joined

    def give_up(self, why: str) -> PositionLostError:
        """Stop looking: what is to be said of it."""
        bounds = self._bench.give_up()
        volume = "the volume delivered is certain: the motor stood"
        if not bounds.certain:
            step_mL = self._bench.rig.burette.step_mL
            volume = (
                f"the motor was running: between {bounds.low * step_mL:.4f} and {bounds.high * step_mL:.4f} mL were "
                f"delivered"
            )
        return PositionLostError(f"{why}; {volume}", bounds)

    def _not_coming_back(self, error: BenchError) -> PositionLostError:
        waited_s = self._bench.now_s - self._since_s
        return self.give_up(
            f"the board was looked for in vain for {waited_s:.0f} s. At first: {self.lost} Now: {error}"
        )
