"""Equal additions, as by hand with a burette."""

from __future__ import annotations

from titrator.control.increments.base import PointByPoint, Step
from titrator.control.point import Point


class Fixed(PointByPoint):
    """Adds `step_mL` each time, whatever the curve does."""

    def __init__(self, step_mL: float) -> None:
        if not step_mL > 0.0:
            raise ValueError(f"the fixed addition must be greater than 0 mL, got {step_mL!r} mL")
        self._step_mL = step_mL

    def add_point(self, point: Point) -> None:
        """A fixed rule learns nothing."""

    def next_step(self) -> Step:
        return Step(self._step_mL)
