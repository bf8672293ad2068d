"""A free ion that a titrant binds one to one, followed by an electrode of that ion (EDTA), or iodine that is reduced.

Mass balances with V0 mL in the vessel, K the constant of the complex, x the free ion: what titrant leaves is all the
electrode sees before the point, the complex and the excess behind it. With e1 = exp(-(E - E1)/s1) = x V0/n and
e2 = exp((E - E2)/s2) = 1/(K x) of the rising signal, and k = Ve/(V0 + Ve),

    V(E) = Ve (1 - e1)(1 + e2) / (1 + e1 (1 + e2) k/(1 - k)).

E1 is the signal of the solution before any titrant, E2 that of equal amounts of complex and excess. One slope (s1 = s2)
for an ion electrode, whose membrane levels off: it shows x and a little more, so that e1 is less by d, and e2 grows as
1/e1 does. For iodine with excess iodide the left branch is the same; the right one is another couple with a slope of
its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.models import Parameter, Start, bounded_exp, median_or, start_of
from titrator.evaluate.symmetric_model import LEAST_DENOMINATOR, dilution_of, natural_slope

LN_LEVELLING, LN_LEVELLING_SD = -16.0, 6.0
"""What a membrane shows where no ion is, as a logarithm of its share of the ion at the start: from micromoles of
millimoles to nothing (common practice)."""


@dataclass(frozen=True, slots=True)
class ComplexationModel:
    """Parameters Ve (mL), E1, E2, s (the signal's unit), what the membrane shows of nothing, and k = Ve/(V0 + Ve).

    With `own_slopes` a slope for each branch, and no membrane.
    """

    unit: SignalUnit = "mV"
    own_slopes: bool = False

    @property
    def name(self) -> str:
        return "complexation"

    @property
    def parameters(self) -> tuple[str, ...]:
        slopes = ("analyte_slope", "titrant_slope") if self.own_slopes else ("slope", "ln_levelling_share")
        return ("equivalence_volume_mL", "initial_signal", "double_volume_signal", *slopes, "dilution_share")

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"initial_signal", "double_volume_signal"})

    def _exponentials(self, signal: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        e1 = bounded_exp(-(signal - x[1]) / x[3])
        if self.own_slopes:
            return e1, bounded_exp((signal - x[2]) / x[4])
        free = np.maximum(e1 - np.exp(min(x[4], 0.0)), 1e-3 * e1)
        return free, bounded_exp((signal - x[2]) / x[3]) * e1 / free

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        e1, e2 = self._exponentials(signal, x)
        share = np.clip(x[-1], -0.5, 0.95)
        below = 1.0 + e1 * (1.0 + e2) * share / (1.0 - share)
        return np.asarray(x[0] * (1.0 - e1) * (1.0 + e2) / np.maximum(below, LEAST_DENOMINATOR), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return np.asarray(np.abs(self.volume_mL(signal, x) - x[0]), dtype=np.float64)

    def start(self, volume_mL: FloatArray, signal: FloatArray, jump_mL: float, expectation: Expectation) -> Start:
        """Return a start from the data beside a jump (rising signal)."""
        natural = natural_slope(self.unit) / 2.0
        slope = expectation.slope_mV if self.unit == "mV" and expectation.slope_mV else natural
        slope_sd = expectation.slope_sd_mV if self.unit == "mV" and expectation.slope_sd_mV else 0.05 * slope
        span = max(float(np.ptp(signal)), slope)
        below, above = volume_mL < jump_mL, volume_mL > jump_mL
        with np.errstate(all="ignore"):
            left = np.where(below, 1.0 - volume_mL / jump_mL, np.nan)
            first = median_or(signal + slope * np.log(left), float(np.min(signal)))
            excess = np.where(above, volume_mL / jump_mL - 1.0, np.nan)
            second = median_or(signal - slope * np.log(excess), float(np.max(signal)))
        low, high = float(np.min(signal)) - span - 8.0 * slope, float(np.max(signal)) + span + 8.0 * slope
        if self.own_slopes:
            sds = (expectation.analyte_slope_sd_mV or slope_sd, expectation.titrant_slope_sd_mV or slope_sd)
            slopes = [Parameter(slope, 0.1 * slope, 4.0 * slope, prior_sd=sd) for sd in sds]
        else:
            slopes = [Parameter(slope, 0.4 * slope, 4.0 * slope, prior_sd=slope_sd)]
            slopes.append(Parameter(LN_LEVELLING, -40.0, -1.0, prior_sd=LN_LEVELLING_SD))
        lines = [
            Parameter(jump_mL, float(np.min(volume_mL)), float(np.max(volume_mL))),
            Parameter(first, low, high, prior_sd=5.0 * span),
            Parameter(second, low, high, prior_sd=5.0 * span),
            *slopes,
            dilution_of(jump_mL, expectation.vessel_mL),
        ]
        return start_of(self, lines)
