"""Equal additions, as by hand with a burette."""

from __future__ import annotations

from titrator.control.increments.base import Step
from titrator.control.point import Passing, Point
from titrator.control.settling import Enough


class Fixed:
    """Adds `step_mL` each time, whatever the curve does."""

    def __init__(self, step_mL: float) -> None:
        if not step_mL > 0.0:
            raise ValueError(f"the fixed addition must be greater than 0 mL, got {step_mL!r} mL")
        self._step_mL = step_mL

    @property
    def enough(self) -> str | None:
        """A fixed rule leaves the end to the ends."""
        return None

    @property
    def seeks_more(self) -> bool:
        """See `enough`."""
        return False

    @property
    def initial(self) -> Enough | None:
        """The initial reading is waited for as any other."""
        return None

    def add_point(self, point: Point) -> None:
        """A fixed rule learns nothing."""

    def add_passing(self, passing: Passing) -> None:
        """Nor from this."""

    def next_step(self) -> Step:
        return Step(self._step_mL)
