"""A metal titrated with EDTA and followed by an electrode of another one, a trace of whose complex is in the vessel.

The electrode sees free copper, which EDTA lets free as far as it is scarce. Mass balances with V0 mL in the vessel,
y = V/Ve, k' = Ve/V0, t = (V0 + V)/V0 = 1 + k' y, K Y the free EDTA times the metal's constant (K Y = bound/free metal)
and g = exp((E - E1)/s) of the rising signal:

    K Y = g/t - d,        y = K Y/(1 + K Y) + g exp((E1 - E2)/s).

d is the constant of the metal over that of copper: what the metal itself takes of the trace's EDTA. E1 is the signal
where half of the metal is bound, E2 that of equal amounts of complex and excess. Both together are a quadratic equation
in y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.models import Parameter, Start, bounded_exp, median_or, start_of
from titrator.evaluate.symmetric_model import dilution_of, natural_slope

LN_TAKEN, LN_TAKEN_SD = -4.0, 8.0
"""ln d: constants of metals with EDTA lie up to ten orders below copper's; ammonia, which binds copper more than most,
turns that round (textbooks' tables)."""


def _half_bound(signal: FloatArray, passed: FloatArray, slope: float) -> tuple[float, float]:
    """Return E1 and ln d that make E - s ln(K Y + d) of the readings before the jump most nearly one number."""
    best = (np.inf, median_or(signal, 0.0), LN_TAKEN)
    for ln_taken in (-12.0, -6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0):
        places = signal - slope * np.log(passed + np.exp(ln_taken))
        scatter = float(np.std(places)) if len(places) else np.inf
        if scatter < best[0]:
            best = (scatter, median_or(places, 0.0), ln_taken)
    return best[1], best[2]


@dataclass(frozen=True, slots=True)
class ExchangeModel:
    """Parameters Ve (mL), E1, E2, s (the signal's unit), ln d and k = Ve/(V0 + Ve)."""

    unit: SignalUnit = "mV"

    @property
    def name(self) -> str:
        return "exchange"

    @property
    def parameters(self) -> tuple[str, ...]:
        return (
            "equivalence_volume_mL",
            "half_bound_signal",
            "double_volume_signal",
            "slope",
            "ln_taken_share",
            "dilution_share",
        )

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"half_bound_signal", "double_volume_signal"})

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        g = bounded_exp((signal - x[1]) / x[3])
        excess = bounded_exp((signal - x[2]) / x[3])
        d = float(np.exp(min(x[4], 30.0)))
        share = np.clip(x[5], -0.5, 0.95)
        k = share / (1.0 - share)
        a = (1.0 - d) * k
        b = g + (1.0 - d) - a * excess + d * k
        c = -excess * (g + 1.0 - d) - g + d
        root = np.sqrt(np.maximum(b**2 - 4.0 * a * c, 0.0))
        return np.asarray(x[0] * -2.0 * c / np.maximum(b + root, 1e-12), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return np.asarray(np.abs(self.volume_mL(signal, x) - x[0]), dtype=np.float64)

    def start(self, volume_mL: FloatArray, signal: FloatArray, jump_mL: float, expectation: Expectation) -> Start:
        """Return a start from the data beside a jump (rising signal)."""
        slope, slope_sd = natural_slope(self.unit) / 2.0, 0.025 * natural_slope(self.unit)
        if self.unit == "mV" and expectation.slope_mV:
            slope, slope_sd = expectation.slope_mV, expectation.slope_sd_mV or slope_sd
        span = max(float(np.ptp(signal)), slope)
        below, above = volume_mL < jump_mL, volume_mL > jump_mL
        with np.errstate(all="ignore"):
            inside = below & (volume_mL > 0.05 * jump_mL)
            passed = (volume_mL / (jump_mL - volume_mL))[inside]
            half, ln_taken = _half_bound(signal[inside], passed, slope)
            excess = np.where(above, volume_mL / jump_mL - 1.0, np.nan)
            double = median_or(signal - slope * np.log(excess), float(np.max(signal)))
        low, high = float(np.min(signal)) - span - 8.0 * slope, float(np.max(signal)) + span + 8.0 * slope
        lines = [
            Parameter(jump_mL, float(np.min(volume_mL)), float(np.max(volume_mL))),
            Parameter(half, low - 15.0 * slope, high, prior_sd=5.0 * span + 15.0 * slope),
            Parameter(double, low, high, prior_sd=5.0 * span),
            Parameter(slope, 0.4 * slope, 4.0 * slope, prior_sd=slope_sd),
            Parameter(ln_taken, -40.0, 15.0, prior_sd=LN_TAKEN_SD, prior_mean=LN_TAKEN),
            dilution_of(jump_mL, expectation.vessel_mL),
        ]
        return start_of(self, lines)
