"""Runs whose volumes are written down beforehand: the fine pass of a hand practice, and an oracle that knows the cell.

They go through the bench without a wire, as the runs of rules do, but through no controller. What ends a wait is a
judge: the product's settling detector by its drift criterion, or one that looks at the simulated cell.
"""

import copy
import math
from collections.abc import Sequence
from typing import NamedTuple, Protocol

from rules_bounds import BURETTE_mL, LOCATED_mL, READING_mV, TrueCurve, least_bound
from rules_cases import Files

from sim.unframed import UnframedBoard
from titrator.bench.events import ReadingBlock
from titrator.bench.frameless import FramelessBench
from titrator.bench.simulated import open_unframed
from titrator.control.point import Point
from titrator.control.settling import SettlingDetector, SettlingSettings
from titrator.run.rehearsal import stated_values

AVERAGED = 10
"""Readings that the oracle averages."""
WORTH = 0.3
"""What the oracle lets lack near the jump: this share of the burette's error."""
BEHIND_mL = (0.025, 0.2)
"""Beside the places that are given before each point the oracle is given these behind it, so that the evaluation sees
a jump wherever the optimal places lie."""
READINGS_A_POINT = 10
BEYOND = 1.2
"""The oracle's places end here, in parts of the last equivalence volume: as far as the floor goes."""


class Scripted(NamedTuple):
    """A run that is over."""

    points: tuple[Point, ...]
    duration_s: float
    additions: int
    truth: dict[str, object]


class Judge(Protocol):
    """Ends a wait."""

    def begin(self, t_s: float, volume_mL: float) -> None:
        """An addition is over."""

    def add(self, t_s: float, potential_mV: float) -> Point | None:
        """One reading; the point once there is one."""


class ByDrift:
    """A reading counts once its drift is below the limit given its own error, or the longest wait is over."""

    def __init__(self, settings: SettlingSettings) -> None:
        self._detector = SettlingDetector(settings)
        self._volume_mL = 0.0

    def begin(self, t_s: float, volume_mL: float) -> None:
        self._detector.begin(t_s)
        self._volume_mL = volume_mL

    def add(self, t_s: float, potential_mV: float) -> Point | None:
        settled = self._detector.add(t_s, potential_mV)
        if settled is None:
            return None
        return Point(number=0, t_s=t_s, volume_mL=self._volume_mL, **settled._asdict())


class ByTruth:
    """Waits until the true remainder is small, and averages from then on."""

    def __init__(self, told: Files, curve: TrueCurve, board: UnframedBoard) -> None:
        self._told, self._curve, self._board = told, curve, board
        self._end_mV = self._enough_mV = self._began_s = self._volume_mL = 0.0
        self._readings: list[float] = []

    def begin(self, t_s: float, volume_mL: float) -> None:
        rest = copy.deepcopy(self._cell)
        rest.surroundings.air = 0.0
        rest.advance(max(t_s, rest.t_s), self._board._burette.delivered_mL(self._board.now_us))
        for part in (300.0, 1000.0, 3000.0):
            rest.advance(rest.t_s + part, rest.delivered_mL)
        self._end_mV = rest.electrode.read_mV(0.0)
        signal = self._curve.at([rest.delivered_mL])
        slope = float(self._curve.inverse_slope(signal, 0.01)[0])
        self._enough_mV = max(READING_mV, WORTH * BURETTE_mL / max(slope, 1e-9))
        self._began_s, self._volume_mL = t_s, volume_mL
        self._readings = []

    def add(self, t_s: float, potential_mV: float) -> Point | None:
        # The cell stands at the newest reading of the block, half a second on at most.
        lacking_mV = abs(self._cell.electrode.read_mV(0.0) - self._end_mV)
        if not self._readings and lacking_mV > self._enough_mV:
            return None
        self._readings.append(potential_mV)
        if len(self._readings) < AVERAGED:
            return None
        step_mV = self._told.rig.amplifier.step_mV
        return Point(
            number=0,
            t_s=t_s,
            volume_mL=self._volume_mL,
            potential_mV=sum(self._readings) / AVERAGED,
            sd_mV=math.sqrt((self._told.noise_mV**2 + step_mV**2 / 12.0) / AVERAGED),
            drift_mV_per_s=0.0,
            drift_sd_mV_per_s=0.0,
            remainder_bound_mV=lacking_mV,
            lacking_mV=0.0,
            lacking_sd_mV=0.0,
            settled=True,
            waited_s=t_s - self._began_s,
            readings=AVERAGED,
        )

    @property
    def _cell(self):
        return self._board._world.board.cell


def opened(told: Files, seed: int) -> UnframedBoard:
    """The board of a seed."""
    return open_unframed(told.rig, told.cell_path, stated_values(told.method), seed, told.case.faults)


def run_through(told: Files, board: UnframedBoard, volumes_mL: Sequence[float], judge: Judge) -> Scripted:
    """Deliver to each volume in turn (as indicated, rising) and wait there."""
    bench = FramelessBench(board, told.rig, told.method.ends_when.volume_above_mL)
    bench.start_readings()
    began_s = now_s = bench.board_s
    points: list[Point] = []
    for dose, volume_mL in enumerate(volumes_mL, start=1):
        bench.move_to(dose, volume_mL)
        point, arrived_s = None, math.inf
        while point is None:
            for item in bench.wait(1.0):
                if not isinstance(item, ReadingBlock):
                    arrived_s = item.t_s
                    judge.begin(arrived_s, item.volume_mL)
                    continue
                for t_s, potential_mV in zip(item.t_s, item.potential_mV, strict=True):
                    if point is None and t_s >= arrived_s:
                        point = judge.add(t_s, potential_mV)
                        now_s = t_s
        points.append(point._replace(number=dose))
    return Scripted(tuple(points), now_s - began_s, len(points), board.truth())


def oracle(told: Files, seed: int, curve: TrueCurve) -> Scripted:
    """A run of somebody who knows the cell: optimal places, waits until the true remainder is small."""
    board = opened(told, seed)
    calibration = board.truth()["drawn"]["burette_calibration"]
    given_mL = (*LOCATED_mL, *BEHIND_mL)
    held_mL = (told.method.ends_when.volume_above_mL - told.rig.burette.step_mL) * (1.0 + calibration)
    most_mL = min(BEYOND * float(curve.points_mL[-1]), held_mL)
    design = least_bound(curve, READINGS_A_POINT * curve.points, given_mL, most_mL=most_mL)
    volumes_mL = [float(each) / (1.0 + calibration) for each in design.places_mL]
    return run_through(told, board, volumes_mL, ByTruth(told, curve, board))
