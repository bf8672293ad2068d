"""A cell whose curve was recorded: whatever titrant does there, the curve tells it, and nothing is known of amounts."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from sim.cell import SimulatedCell
from sim.contents import Contents
from sim.electrode import Electrode
from sim.noise import white
from sim.response import ResponseLaw
from sim.stirring import Stirring
from sim.world import Hardware, World, build_board


@dataclass(frozen=True, slots=True)
class RecordedCurve:
    """A curve at rest: potentials in mV at rising volumes in mL, straight between, level beyond its ends.

    `scale_mL`: volume of its last equivalence point. Lags of the electrode and of mixing in s, both first order, and
    the noise of a reading in mV are the same all along. ValueError for volumes that do not rise.
    """

    volume_mL: Sequence[float]
    potential_mV: Sequence[float]
    scale_mL: float
    response_s: float
    mixing_s: float
    noise_mV: float
    fill_mL: float
    temperature_C: float

    def __post_init__(self) -> None:
        """Refuse what is no curve."""
        volumes = list(self.volume_mL)
        if len(volumes) < 2 or len(volumes) != len(self.potential_mV) or any(map(_not_below, volumes, volumes[1:])):
            raise ValueError(f"two or more rising volumes with a potential each were expected, {len(volumes)} came")


def _not_below(one: float, next_one: float) -> bool:
    return not one < next_one


class DeliveredChemistry:
    """Of a protocol `sim.contents.Chemistry` whose curve depends on what was delivered and on nothing else."""

    def __init__(self) -> None:
        """Nothing is delivered yet."""
        self._delivered_mL = 0.0

    def add_titrant(self, contents: Contents, volume_mL: float) -> None:
        """Put titrant in."""
        self._delivered_mL += volume_mL
        contents.volume_mL += volume_mL

    def age(self, contents: Contents, passed_s: float) -> bool:
        """Nothing changes by itself."""
        del contents, passed_s
        return False


class RecordedChemistry(DeliveredChemistry):
    """The protocol `sim.contents.Chemistry` for a recorded curve."""

    def __init__(self, curve: RecordedCurve) -> None:
        super().__init__()
        self._volumes, self._potentials = list(curve.volume_mL), list(curve.potential_mV)
        self._scale_mL = curve.scale_mL

    @property
    def scale_mol(self) -> float:
        """Nobody knows the titrant: counted as 1 mol/L."""
        return self._scale_mL / 1000.0

    @property
    def scale_mL(self) -> float:
        """Volume of the last equivalence point, in mL."""
        return self._scale_mL

    def rest(self, contents: Contents) -> tuple[float, float]:
        """(potential in mV, poise); the lag is the same everywhere, so the poise has no meaning."""
        del contents
        volumes, potentials = self._volumes, self._potentials
        at = min(max(self._delivered_mL, volumes[0]), volumes[-1])
        right = min(max(bisect_right(volumes, at), 1), len(volumes) - 1)
        share = (at - volumes[right - 1]) / (volumes[right] - volumes[right - 1])
        return potentials[right - 1] + share * (potentials[right] - potentials[right - 1]), 1.0


def recorded_world(curve: RecordedCurve, hardware: Hardware, seed: int) -> World:
    """The curve in the place of a cell, behind a burette and a board as of `hardware`; it knows no truth of its own."""
    cell = SimulatedCell(
        Contents(curve.fill_mL, curve.temperature_C),
        RecordedChemistry(curve),
        Electrode(ResponseLaw(curve.response_s, 0.0, 1.0, 1.0)),
        Stirring(curve.mixing_s),
        noise=(white(curve.noise_mV, Random(f"{seed}/noise 0")),),
    )
    return World(build_board(cell, hardware, seed), None, cell.contents)
