"""The interface of every increment rule."""

from __future__ import annotations

from typing import Protocol

from titrator.control.point import Point


class IncrementRule(Protocol):
    """Chooses the next addition. Memory is bounded: a rule keeps what it needs, not the whole curve."""

    def add_point(self, point: Point) -> None:
        """Learn a logged point. Points come in order of volume."""

    def next_addition_mL(self) -> float:
        """The next addition in mL, greater than zero. The controller holds it within the limits of the run."""
