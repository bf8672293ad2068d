"""A weak acid with a strong base (or, falling, a weak base with a strong acid), one proton.

Charge balance with n mol of acid in V0 mL: c_T V = n a - (V0 + V) ([H+] - [OH-]), a = Ka/(Ka + [H+]). With
[OH-] - [H+] = 2 sqrt(Kw) sinh(u), u = (E - Ew)/s, q = 2 (V0 + Ve) sqrt(Kw)/c_T and k = Ve/(V0 + Ve),

    V(E) = (Ve [(1 + r) a - r] + (1 - k) q sinh u) / (1 - k q sinh(u)/Ve).

r is the share converted before the titration; a burette that did not begin at 0 looks like a negative r.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.models import Parameter, Start, bounded_exp, median_or, start_of
from titrator.evaluate.symmetric_model import LEAST_DENOMINATOR, natural_slope, sinh

NEUTRAL_PH = 7.0
"""Half of pKw at 25 °C (13.995), rounded: only the centre of a wide prior."""


@dataclass(frozen=True, slots=True)
class AcidModel:
    """Parameters Ve (mL), Ea = pKa, Ew = pKw/2, s (the signal's unit), ln q (q in mL), k and r.

    Of a falling pH curve the model sees -pH, so that `Ew` begins at -7.
    """

    unit: SignalUnit = "pH"

    @property
    def name(self) -> str:
        return "acid"

    @property
    def parameters(self) -> tuple[str, ...]:
        return (
            "equivalence_volume_mL",
            "half_neutralised_signal",
            "neutral_signal",
            "slope",
            "ln_half_width_mL",
            "dilution_share",
            "converted_share",
        )

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"half_neutralised_signal", "neutral_signal"})

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        share = 1.0 / (1.0 + bounded_exp(-(signal - x[1]) / x[3]))
        reach = np.exp(min(x[4], 50.0)) * sinh((signal - x[2]) / x[3])
        scale = max(abs(x[0]), 1e-9)
        above = x[0] * ((1.0 + x[6]) * share - x[6]) + (1.0 - x[5]) * reach
        return np.asarray(above / np.maximum(1.0 - x[5] * reach / scale, LEAST_DENOMINATOR), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return np.asarray(np.abs(self.volume_mL(signal, x) - x[0]), dtype=np.float64)

    def start(self, volume_mL: FloatArray, signal: FloatArray, jump_mL: float, expectation: Expectation) -> Start:
        """Return a start from the data beside a jump (rising signal)."""
        del expectation  # nothing that a method states helps this model yet
        slope = natural_slope(self.unit)
        span = max(float(np.ptp(signal)), slope)
        neutral = float(np.sign(np.median(signal)) or 1.0) * NEUTRAL_PH if self.unit != "mV" else 0.0
        below, above = volume_mL < jump_mL, volume_mL > jump_mL
        with np.errstate(all="ignore"):
            passed = np.where(below & (volume_mL > 0), volume_mL / (jump_mL - volume_mL), np.nan)
            half = median_or(signal - slope * np.log(passed), float(np.min(signal)))
            excess = np.where(above, np.log(2.0 * (volume_mL - jump_mL)), np.nan)
            width = median_or(excess - (signal - neutral) / slope, np.log(1e-6))
        low, high = float(np.min(signal)) - span, float(np.max(signal)) + span
        lines = [
            Parameter(jump_mL, float(np.min(volume_mL)), float(np.max(volume_mL))),
            Parameter(half, low, high, prior_sd=5.0 * span),
            Parameter(
                neutral,
                neutral - 6.0 * slope - 200.0 * (self.unit == "mV"),
                neutral + 6.0 * slope + 200.0,
                prior_sd=0.4 * slope if self.unit != "mV" else 100.0,
            ),
            Parameter(slope, 0.3 * slope, 4.0 * slope, prior_sd=0.1 * slope),
            Parameter(width, -45.0, 10.0, prior_sd=15.0),
            Parameter(0.3, -0.1, 1.05, prior_sd=0.3),
            Parameter(0.0, -0.98, 5.0, prior_sd=0.5),
        ]
        return start_of(self, lines)
