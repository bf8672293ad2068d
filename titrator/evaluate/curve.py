"""A titration curve as plain arrays: what every way of finding an equivalence point works on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, Protocol, Self, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
SignalUnit = Literal["mV", "pH", "pX"]

SIGNAL_NAMES: dict[SignalUnit, str] = {"mV": "Potential", "pH": "pH", "pX": "pX"}


TAIL_MISFIT, REST_mV = 0.25, 0.1
"""Share of what a settling curve says is lacking that may be wrong near its end, and the most that this makes: the tail
is taken as first order and is not quite.

Simulated: near the jump 0.34 mV are lacking, the estimate is 0.01 mV off on average; a coated electrode has two tails.
"""
LAW_SHARE = 0.03
"""The same for what is forecast from far off its end (common practice of fitting decays; no source)."""


class CurveError(ValueError):
    """Arrays that are not a curve. The text says what was expected and what came."""


class LoggedPoint(Protocol):
    """What a curve needs of a logged point of a run (volumes in mL, potentials in mV)."""

    @property
    def volume_mL(self) -> float: ...
    @property
    def potential_mV(self) -> float: ...
    @property
    def sd_mV(self) -> float: ...
    @property
    def remainder_bound_mV(self) -> float: ...
    @property
    def lacking_mV(self) -> float: ...
    @property
    def lacking_sd_mV(self) -> float: ...
    @property
    def settled(self) -> bool: ...


def _column(name: str, values: ArrayLike, length: int | None) -> FloatArray:
    column = np.array(values, dtype=np.float64)
    if column.ndim != 1 or (length is not None and len(column) != length):
        expected = "one dimension" if length is None else f"{length} values in one dimension, as many as volumes"
        raise CurveError(f"{name}: {expected} expected, an array of shape {column.shape} came")
    if not np.all(np.isfinite(column)):
        row = int(np.argmin(np.isfinite(column)))
        raise CurveError(f"{name}: finite numbers expected, {column[row]} came at index {row}")
    column.setflags(write=False)
    return column


@dataclass(frozen=True, eq=False)
class Curve:
    """Readings of one titration, in the order in which they were taken.

    `volume_mL`, `signal`: shape (n,), the signal in `signal_unit` (potentials in mV). `sd_signal` (n,): standard
    deviation of each reading by its noise, in the signal's unit, or None where nobody knows it. `settled` (n,): False
    where the longest wait ended a reading. `remainder_bound` (n,): bound of what the reading still lacked, or None.
    `lacking`, `sd_lacking` (n,): what it lacked by its own settling curve (to be added), or None.
    Raises CurveError for arrays of other shapes, numbers that are not finite or an unknown unit.
    """

    volume_mL: FloatArray
    signal: FloatArray
    signal_unit: SignalUnit
    sd_signal: FloatArray | None = None
    settled: BoolArray | None = None
    remainder_bound: FloatArray | None = None
    lacking: FloatArray | None = None
    sd_lacking: FloatArray | None = None

    def __post_init__(self) -> None:
        """Check shapes and values once, so that no way of evaluation has to."""
        if self.signal_unit not in get_args(SignalUnit):
            raise CurveError(f"signal_unit: one of {get_args(SignalUnit)} expected, {self.signal_unit!r} came")
        volume = _column("volume_mL", self.volume_mL, None)
        length = len(volume)
        object.__setattr__(self, "volume_mL", volume)
        object.__setattr__(self, "signal", _column("signal", self.signal, length))
        for name in ("sd_signal", "remainder_bound", "lacking", "sd_lacking"):
            given = getattr(self, name)
            if given is None:
                continue
            column = _column(name, given, length)
            if name != "lacking" and np.any(column < 0):
                raise CurveError(f"{name}: values >= 0 expected, {column.min()} came")
            object.__setattr__(self, name, column)
        settled = np.ones(length, bool) if self.settled is None else np.array(self.settled, dtype=bool)
        if settled.shape != (length,):
            raise CurveError(f"settled: {length} values expected, an array of shape {settled.shape} came")
        settled.setflags(write=False)
        object.__setattr__(self, "settled", settled)

    @classmethod
    def from_points(cls, points: Iterable[LoggedPoint]) -> Self:
        """Return the curve of a run's logged points (potentials in mV)."""
        logged: Sequence[LoggedPoint] = list(points)
        return cls(
            volume_mL=np.array([point.volume_mL for point in logged], dtype=np.float64),
            signal=np.array([point.potential_mV for point in logged], dtype=np.float64),
            signal_unit="mV",
            sd_signal=np.array([point.sd_mV for point in logged], dtype=np.float64),
            settled=np.array([point.settled for point in logged], dtype=bool),
            remainder_bound=np.array([point.remainder_bound_mV for point in logged], dtype=np.float64),
            lacking=np.array([point.lacking_mV for point in logged], dtype=np.float64),
            sd_lacking=np.array([point.lacking_sd_mV for point in logged], dtype=np.float64),
        )

    def __len__(self) -> int:
        """Return the number of readings."""
        return len(self.volume_mL)

    @property
    def not_settled(self) -> BoolArray:
        """Readings logged at the longest wait, shape (n,)."""
        assert self.settled is not None
        return ~self.settled

    @property
    def steps_back(self) -> int:
        """How many readings stand at a smaller volume than the one before them."""
        return int(np.count_nonzero(np.diff(self.volume_mL) < 0))

    @property
    def repeats(self) -> int:
        """How many readings stand at a volume that another reading has already."""
        return len(self) - len(np.unique(self.volume_mL))

    def chosen(self, rows: NDArray[np.intp] | BoolArray) -> Curve:
        """Return the curve of some rows, given as indices or as a mask."""
        assert self.settled is not None
        return replace(
            self,
            volume_mL=self.volume_mL[rows],
            signal=self.signal[rows],
            sd_signal=None if self.sd_signal is None else self.sd_signal[rows],
            settled=self.settled[rows],
            remainder_bound=None if self.remainder_bound is None else self.remainder_bound[rows],
            lacking=None if self.lacking is None else self.lacking[rows],
            sd_lacking=None if self.sd_lacking is None else self.sd_lacking[rows],
        )

    def at_rest(self) -> Curve:
        """Return the readings as they would have come to rest, where the settling curves tell; the rest as it is.

        What a reading lacked is the same way and nearly the same size all along a jump, so that no number of readings
        averages it out. By what its law may err is left as the bound, in the same direction for all; the noise of its
        estimate joins that of the reading. A reading that the longest wait ended keeps its own bound.
        """
        if self.lacking is None or self.sd_lacking is None:
            return self
        lacking = np.abs(self.lacking)
        left = np.minimum(TAIL_MISFIT * lacking, REST_mV) + LAW_SHARE * lacking
        sd = self.sd_signal
        if sd is not None:
            sd = np.where(self.not_settled, sd, np.hypot(sd, self.sd_lacking))
        if self.remainder_bound is not None:
            left = np.where(self.not_settled, self.remainder_bound, np.minimum(self.remainder_bound, left))
        at_rest = self.signal + self.lacking
        return replace(self, signal=at_rest, sd_signal=sd, remainder_bound=left, lacking=None, sd_lacking=None)

    def in_order(self) -> Curve:
        """Return the readings by rising volume; those at one volume become their mean (equal weights)."""
        order = np.argsort(self.volume_mL, kind="stable")
        ordered = self.chosen(order)
        if ordered.repeats == 0:
            return ordered
        volume, first, count = np.unique(ordered.volume_mL, return_index=True, return_counts=True)

        def mean(column: FloatArray) -> FloatArray:
            return np.asarray(np.add.reduceat(column / np.repeat(count, count), first), dtype=np.float64)

        assert ordered.settled is not None
        sd, bound, lacking = ordered.sd_signal, ordered.remainder_bound, ordered.lacking
        return Curve(
            volume_mL=volume,
            signal=mean(ordered.signal),
            signal_unit=self.signal_unit,
            sd_signal=None if sd is None else np.sqrt(mean(sd**2) / count),
            settled=np.logical_and.reduceat(ordered.settled, first),
            remainder_bound=None if bound is None else np.maximum.reduceat(bound, first),
            lacking=None if lacking is None else mean(lacking),
            sd_lacking=None if ordered.sd_lacking is None else np.maximum.reduceat(ordered.sd_lacking, first),
        )
