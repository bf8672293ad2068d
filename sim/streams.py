"""Random draws by name: a stream is named after what is drawn, so that one more draw changes nothing elsewhere."""

from random import Random

from sim.cell_ranges import Range


class Streams:
    """The streams of a seed."""

    def __init__(self, seed: int) -> None:
        self._seed = seed

    def stream(self, name: str) -> Random:
        """The stream of that name."""
        return Random(f"{self._seed}/draw {name}")

    def normal(self, name: str, value: float, u: float) -> float:
        """A positive number from a normal distribution."""
        random = self.stream(name)
        drawn = random.gauss(value, u)
        while drawn <= 0.0:  # only where the uncertainty is as large as the value
            drawn = random.gauss(value, u)
        return drawn

    def within(self, name: str, limits: Range) -> float:
        """A number between the limits of a range."""
        return self.stream(name).uniform(*limits.limits)

    def about(self, name: str, value: float, half_width: float) -> float:
        """A number within `half_width` of a value."""
        return self.stream(name).uniform(value - half_width, value + half_width)
