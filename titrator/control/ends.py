"""When is it enough? Each end is one small rule behind one interface; the first that applies ends the run."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from titrator.control.jumps import JumpWatch
from titrator.control.point import Point


class Cause(enum.Enum):
    """Why a run ended, in one word for the record."""

    POINTS = "points"
    VOLUME = "volume"
    POTENTIAL = "potential"
    TIME = "time"
    OPERATOR = "operator"
    ELECTRODE = "electrode"
    BURETTE = "burette"
    LINK = "link"
    TROUBLE = "trouble"


class Ending(NamedTuple):
    """The end of a run: its cause and a sentence a chemist can act on."""

    cause: Cause
    sentence: str


class EndRule(Protocol):
    """Looks at each logged point and says whether the run is to end there."""

    def add_point(self, point: Point) -> Ending | None:
        """The ending that `point` brings about, if any."""


@dataclass(slots=True)
class EnoughPoints:
    """Ends when `points` were logged past the last of `sought` jumps."""

    watch: JumpWatch
    sought: int
    points: int

    def add_point(self, point: Point) -> Ending | None:
        self.watch.add_point(point)
        if self.sought and self.watch.passed >= self.sought and self.watch.points_past_last >= self.points:
            jumps = "the jump" if self.sought == 1 else f"the last of {self.watch.passed} jumps"
            return Ending(Cause.POINTS, f"{self.watch.points_past_last} points logged past {jumps}")
        return None


@dataclass(slots=True)
class VolumeReached:
    """Ends when no further addition of at least `least_mL` fits below `limit_mL`."""

    limit_mL: float
    least_mL: float

    def add_point(self, point: Point) -> Ending | None:
        if self.limit_mL - point.volume_mL < self.least_mL:
            return Ending(
                Cause.VOLUME,
                f"{point.volume_mL:.3f} mL delivered: the limit of {self.limit_mL:g} mL leaves room for no addition",
            )
        return None


@dataclass(slots=True)
class PotentialBeyond:
    """Ends when the potential passed `limit_mV`, in whichever direction that lies from the initial potential."""

    limit_mV: float
    _initial_mV: float | None = None

    def add_point(self, point: Point) -> Ending | None:
        if self._initial_mV is None:
            self._initial_mV = point.potential_mV
            return None
        beyond = (
            point.potential_mV >= self.limit_mV
            if self._initial_mV < self.limit_mV
            else point.potential_mV <= self.limit_mV
        )
        if beyond:
            return Ending(Cause.POTENTIAL, f"{point.potential_mV:.1f} mV is beyond the limit of {self.limit_mV:g} mV")
        return None
