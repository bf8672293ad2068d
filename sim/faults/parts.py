"""The parts of a simulated world that a fault reaches into."""

from dataclasses import dataclass, field
from random import Random

from sim.burette import SimulatedBurette
from sim.cell import SimulatedCell
from sim.noise import NoiseSource


@dataclass(slots=True)
class Parts:
    """Cell and burette as they are, the seed, and what comes on top of the cell's potential at the amplifier's input.

    A fault strikes at `now_us`; each call of `random` gives a stream of its own.
    """

    cell: SimulatedCell
    burette: SimulatedBurette
    seed: int
    added: list[NoiseSource] = field(default_factory=list)
    now_us: int = 0
    _streams: int = 0

    def random(self) -> Random:
        """The next stream of this world's faults."""
        self._streams += 1
        return Random(f"{self.seed}/fault {self._streams}")

    @property
    def now_s(self) -> float:
        """The time at which a fault strikes, in s as the cell counts them."""
        return self.now_us * 1e-6
