"""What is certain of a count of steps."""

from typing import NamedTuple


class Bounds(NamedTuple):
    """What was delivered since the run began, in steps: no less than `low`, no more than `high`."""

    low: int
    high: int

    @property
    def certain(self) -> bool:
        """Whether it is one number."""
        return self.low == self.high

    def widened(self, steps: int) -> "Bounds":
        """So many steps less certain at both ends; nothing is ever less than nothing."""
        return Bounds(max(0, self.low - steps), self.high + steps)
