"""A halide with silver while a more soluble one is still to come: the jump is cut off where that begins to fall out.

Mass balances with V0 mL in the vessel: up to the break the curve is that of the first ion alone, behind it that of both
together, and V(E) is the larger of the two (the second precipitates exactly when that is more). With the symmetric
curve's u = q sinh((E - E1)/s), k = Ve/(V0 + Ve), W the volume that the second ion takes and w = u - exp(-(E - E2)/s),
which takes off what of the second ion stays dissolved,

    V(E) = max[ Ve + u/(1 - k u/Ve),  Ve + (W + w)/(1 - k w/Ve) ].

So Ve is the amount of the first ion, not the break, which lies a little before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.models import Parameter, Start, bounded_exp, median_or, start_of
from titrator.evaluate.symmetric_model import LEAST_DENOMINATOR, SymmetricModel, sinh


@dataclass(frozen=True, slots=True)
class MixtureModel:
    """Parameters of the symmetric model, then W (mL) and E2 (the signal's unit)."""

    unit: SignalUnit = "mV"

    @property
    def name(self) -> str:
        return "mixture"

    @property
    def parameters(self) -> tuple[str, ...]:
        return (*SymmetricModel(self.unit).parameters, "next_volume_mL", "next_signal")

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"equivalence_signal", "next_signal"})

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        scale = max(abs(x[0]), 1e-9)
        first = np.exp(min(x[3], 50.0)) * sinh((signal - x[1]) / x[2])
        second = first - bounded_exp(-(signal - x[6]) / x[2])
        alone = first / np.maximum(1.0 - x[4] * first / scale, LEAST_DENOMINATOR)
        both = (x[5] + second) / np.maximum(1.0 - x[4] * second / scale, LEAST_DENOMINATOR)
        return np.asarray(x[0] + np.maximum(alone, both), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return np.asarray(np.abs(self.volume_mL(signal, x) - x[0]), dtype=np.float64)

    def start(self, volume_mL: FloatArray, signal: FloatArray, jump_mL: float, expectation: Expectation) -> Start:
        """Return a start from the data beside a jump (rising signal) that ends before the next jump."""
        alone = SymmetricModel(self.unit).start(volume_mL, signal, jump_mL, expectation)
        slope = float(alone.x[2])
        # The branch behind is nearly straight: half of the next ion is taken at its middle, more or less.
        room = max(float(np.max(volume_mL)) - jump_mL, 1e-3)
        behind = volume_mL > jump_mL
        with np.errstate(all="ignore"):
            left = np.where(behind, jump_mL + 1.3 * room - volume_mL, np.nan)
            place = median_or(signal + slope * np.log(left), float(np.max(signal)))
        span = max(float(np.ptp(signal)), slope)
        lines = [
            Parameter(float(alone.x[k]), float(alone.lower[k]), float(alone.upper[k]), float(alone.prior_sd[k]))
            for k in range(len(alone.x))
        ]
        lines.append(Parameter(1.3 * room, 0.2 * room, 50.0 * room, prior_sd=3.0 * room))
        lines.append(Parameter(place, place - span - 8.0 * slope, place + span + 8.0 * slope, prior_sd=5.0 * span))
        return start_of(self, lines)
