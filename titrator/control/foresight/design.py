"""Where the next reading tells most about the equivalence point per second of waiting.

A reading at a place of the curve removes, from the variance of the point, (cᵀg)²/(σ² + gᵀCg): C the covariance of the
unknowns, g how the volume there depends on them, c = C·(how the point does), σ the reading's own error there (optimal
design by steps, common practice). What it costs is the delivery, mixing, and the electrode's way to the new potential.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from titrator.control.foresight.estimate import MISFIT, Datum, Estimate
from titrator.control.foresight.law import Place

OVERHEAD_S = 25.0
"""Counted for each reading beside its time: a reading more is a position of the burette more."""
LEAST_WAIT_S = 2.5
"""Readings behind mixing from which a tail can be told at all."""
FORESIGHT = 6.0
"""A tail is forecast from about so many times the error that the forecast may have."""
MIXINGS = 2.0
WHOLE_S = 200.0
"""About the time of a run before its last reading."""
_HALVINGS = 50
_SPAN_mV = 2000.0


class Costs(NamedTuple):
    """What a reading costs: seconds of mixing, the electrode's response (s), delivery (mL/s), and its noise (mV)."""

    mixing_s: float
    response_s: float
    speed_mL_per_s: float
    noise_mV: float


class Prospect(NamedTuple):
    """A place to go to: its volume, the expected potential (rising), the error (mV) that serves, gain and cost (s)."""

    volume_mL: float
    y_mV: float
    enough_mV: float
    gain: float
    cost_s: float

    @property
    def gain_per_s(self) -> float:
        """What counts while more readings follow."""
        return self.gain / self.cost_s

    @property
    def left(self) -> float:
        """What counts at the last reading: the share of the variance that is left, times the time of the whole run.

        That product stays the same where readings are only repeated (derived).
        """
        return (1.0 - self.gain) * (WHOLE_S + self.cost_s)


def potential_at(estimate: Estimate, volume_mL: float, near_mV: float) -> tuple[float, Place]:
    """The potential where the law has `volume_mL`, sought around `near_mV` by halving; and the curve there."""
    amounts, lines = estimate.amounts_mL(), estimate.lines()
    law = estimate.law
    low, high = near_mV - _SPAN_mV, near_mV + _SPAN_mV
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if law.volume_mL(middle, amounts, *lines) < volume_mL:
            low = middle
        else:
            high = middle
    y_mV = 0.5 * (low + high)
    return y_mV, law.place(y_mV, amounts, *lines)


@dataclass(frozen=True, slots=True)
class Design:
    """What the estimate knows of equivalence point `number` (from 0) while the plunger rests at `here`."""

    estimate: Estimate
    number: int
    here: Datum
    costs: Costs
    covariance: list[list[float]]

    def with_anchor(self, distance_mL: float, needs_mV: float) -> Design:
        """The same, once a reading `distance_mL` behind the point has told the branch there."""
        volume_mL = self.estimate.points_mL()[self.number] + distance_mL
        gradient, own, _ = self._reading(volume_mL, needs_mV)
        towards = _times(self.covariance, gradient)
        factor = 1.0 / (own + _dot(gradient, towards))
        known = [
            [c - factor * ti * tj for c, tj in zip(row, towards, strict=True)]
            for row, ti in zip(self.covariance, towards, strict=True)
        ]
        return Design(self.estimate, self.number, self.here, self.costs, known)

    def prospect(self, volume_mL: float, needs_mV: float) -> Prospect:
        """What a reading at `volume_mL`, waited for until it errs by `needs_mV`, would tell, and what it costs."""
        gradient, own, y_mV = self._reading(volume_mL, needs_mV)
        point = self.estimate.point_gradient(self.number)
        towards = _times(self.covariance, point)
        shared = _dot(gradient, towards)
        gain = shared * shared / (own + _dot(gradient, _times(self.covariance, gradient))) / _dot(point, towards)
        return Prospect(volume_mL, y_mV, needs_mV, gain, self._cost_s(volume_mL, y_mV, needs_mV))

    def _reading(self, volume_mL: float, needs_mV: float) -> tuple[list[float], float, float]:
        """(gradient, variance of the reading's own errors in mL², potential) of a reading at a volume."""
        estimate = self.estimate
        y_mV, place = potential_at(estimate, volume_mL, self.here.y_mV)
        gradient = estimate.gradient(Datum(volume_mL, y_mV, needs_mV), place, estimate.amounts_mL(), estimate.lines())
        distance_mL = abs(volume_mL - estimate.points_mL()[self.number])
        share = min(1.0, distance_mL / estimate.amounts_mL()[self.number])
        chord = place.slope_mL_per_mV * math.hypot(needs_mV, estimate.before.along_mV * share)
        away = MISFIT * distance_mL
        return gradient, estimate.before.volume_sd_mL**2 + chord * chord + away * away, y_mV

    def _cost_s(self, volume_mL: float, y_mV: float, needs_mV: float) -> float:
        costs = self.costs
        settling = costs.response_s * math.log1p(abs(y_mV - self.here.y_mV) / (FORESIGHT * needs_mV))
        travel = (volume_mL - self.here.volume_mL) / costs.speed_mL_per_s
        return OVERHEAD_S + travel + MIXINGS * costs.mixing_s + max(LEAST_WAIT_S, settling)


def _dot(one: list[float], other: list[float]) -> float:
    return sum([a * b for a, b in zip(one, other, strict=True)])


def _times(matrix: list[list[float]], vector: list[float]) -> list[float]:
    return [_dot(row, vector) for row in matrix]
