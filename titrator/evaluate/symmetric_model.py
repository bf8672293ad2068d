"""1:1 precipitation, or strong acid with strong base: a jump that is symmetric but for dilution.

Charge (or mass) balance with V0 mL in the vessel: c_T (V - Ve) = (V0 + V) (x^-1 - x) sqrt(K), x the ion's concentration
over sqrt(K). With the half width q = 2 (V0 + Ve) sqrt(K)/c_T and k = Ve/(V0 + Ve),

    V(E) = Ve + u / (1 - k u / Ve),    u = q sinh((E - Eeq)/s).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.models import Parameter, Start, bounded_exp, median_or, start_of
from titrator.evaluate.redox_model import SLOPE_25C_mV

KNOWN_DILUTION_SD = 0.03
"""With the liquid of the start known: 10 mL of rinsing on 60 mL move k by that much (common practice)."""
LEAST_DENOMINATOR = 0.05
"""The titrant's own concentration is a pole of V(E); a search is kept this far from it."""


def natural_slope(unit: SignalUnit) -> float:
    """Return the change of a signal for a factor e in concentration at 25 °C: RT/F in mV, or 1/ln 10 of a p scale."""
    return SLOPE_25C_mV if unit == "mV" else 1.0 / np.log(10.0)


def sinh(exponent: FloatArray) -> FloatArray:
    """Return the hyperbolic sine of clipped exponents."""
    return np.asarray((bounded_exp(exponent) - bounded_exp(-exponent)) / 2.0, dtype=np.float64)


def dilution_of(jump_mL: float, vessel_mL: float | None) -> Parameter:
    """Return the start of k = Ve/(V0 + Ve): from the liquid at the start where it is known, rinsing allowed for."""
    if vessel_mL is None:
        return Parameter(0.3, -0.1, 1.05, prior_sd=0.3)
    return Parameter(jump_mL / (vessel_mL + jump_mL), -0.1, 1.05, prior_sd=KNOWN_DILUTION_SD)


@dataclass(frozen=True, slots=True)
class SymmetricModel:
    """Parameters Ve (mL), Eeq and s (the signal's unit), ln q (q in mL) and k = Ve/(V0 + Ve)."""

    unit: SignalUnit = "mV"

    @property
    def name(self) -> str:
        return "symmetric"

    @property
    def parameters(self) -> tuple[str, ...]:
        return ("equivalence_volume_mL", "equivalence_signal", "slope", "ln_half_width_mL", "dilution_share")

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"equivalence_signal"})

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        reach = np.exp(min(x[3], 50.0)) * sinh((signal - x[1]) / x[2])
        scale = max(abs(x[0]), 1e-9)
        return np.asarray(x[0] + reach / np.maximum(1.0 - x[4] * reach / scale, LEAST_DENOMINATOR), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return np.asarray(np.abs(self.volume_mL(signal, x) - x[0]), dtype=np.float64)

    def start(self, volume_mL: FloatArray, signal: FloatArray, jump_mL: float, expectation: Expectation) -> Start:
        """Return a start from the data beside a jump (rising signal)."""
        slope = natural_slope(self.unit)
        slope_sd = 0.25 * slope
        if self.unit == "mV" and expectation.slope_mV:
            slope = expectation.slope_mV
            known = expectation.slope_sd_mV if expectation.model == "symmetric" else None
            slope_sd = known or 0.25 * slope
        span = max(float(np.ptp(signal)), slope)
        middle = float(np.interp(jump_mL, volume_mL, signal))
        with np.errstate(all="ignore"):
            widths = np.log(2.0 * np.abs(volume_mL - jump_mL)) - np.abs(signal - middle) / slope
            width = median_or(widths, np.log(0.01))
        lines = [
            Parameter(jump_mL, float(np.min(volume_mL)), float(np.max(volume_mL))),
            Parameter(middle, float(np.min(signal)) - span, float(np.max(signal)) + span, prior_sd=span),
            Parameter(slope, 0.3 * slope, 4.0 * slope, prior_sd=slope_sd),
            Parameter(width, -45.0, 10.0, prior_sd=15.0),
            dilution_of(jump_mL, expectation.vessel_mL),
        ]
        return start_of(self, lines)
