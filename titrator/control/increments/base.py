"""The interface of every increment rule, and what those share that wait for every point."""

from __future__ import annotations

from typing import NamedTuple, Protocol

from titrator.control.point import Passing, Point
from titrator.control.settling import Enough


class Step(NamedTuple):
    """What comes next: an addition in mL; what serves as its reading (None: a settled one only).

    `passing`: it is not waited for at all, more follows at once.
    """

    addition_mL: float
    enough: Enough | None = None
    passing: bool = False


class Ahead(NamedTuple):
    """What a rule means to do before it has all it seeks: so many readings at rest, about the last jump at `jump_mL`.

    `jump_mL` is None once that jump is behind.
    """

    jump_mL: float | None
    readings: int


class IncrementRule(Protocol):
    """Chooses the next addition. Memory is bounded: a rule keeps what it needs, not the whole curve."""

    @property
    def enough(self) -> str | None:
        """Why the rule has all it sought, as a sentence; None while it has not, or leaves that to the ends."""

    @property
    def seeks_more(self) -> bool:
        """True while the rule itself says when there are enough points."""

    @property
    def initial(self) -> Enough | None:
        """What serves as the initial reading: as `Step.enough`."""

    @property
    def ahead(self) -> Ahead | None:
        """What is still to come, for display only; None where the rule does not foresee it."""

    def add_point(self, point: Point) -> None:
        """Learn a logged point. Points come in order of volume."""

    def add_passing(self, passing: Passing) -> None:
        """Learn what was read while titrant ran in."""

    def next_step(self) -> Step:
        """The next addition, greater than zero. The controller holds it within the limits of the run."""


class PointByPoint:
    """Of a rule that waits for every point and leaves the end to the ends."""

    @property
    def enough(self) -> str | None:
        return None

    @property
    def seeks_more(self) -> bool:
        return False

    @property
    def initial(self) -> Enough | None:
        return None

    @property
    def ahead(self) -> Ahead | None:
        return None

    def add_passing(self, passing: Passing) -> None:
        """Nothing passes."""
