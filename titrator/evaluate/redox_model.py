"""Redox titration: the volume as a closed function of the potential.

Electron balance, one couple on either side (homonuclear): with the oxidised share of the analyte
a(E) = 1/(1 + exp(-zA (E - EA)/s)) and the reduced share of the titrant b(E) = 1/(1 + exp(zT (E - ET)/s)),

    V(E) = Ve [(1 + r) a - r] / b,

r moles of the analyte's product per mole of analyte being there before the titration. For r = 0 and one electron each
this is V = Ve (1 + e2)/(1 + e1). A burette that did not begin at 0 looks like a negative r, so r takes it up.
A falling curve (a reducing titrant) has the same form in -E.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.models import Parameter, Start, between_jumps, bounded_exp, median_or, start_of

SLOPE_25C_mV = 25.693
"""RT/F at 25 °C in mV (CODATA 2018)."""


def converted_share(volume_mL: FloatArray, jump_mL: float, previous_step: bool, sd: float) -> Parameter:
    """Return the start of r; the volume of a step before looks like a negative r, of which nothing more is known."""
    if not previous_step:
        return Parameter(0.0, -0.98, 5.0, prior_sd=sd)
    before = 0.95 * float(np.min(volume_mL)) / max(jump_mL, 1e-9)
    return Parameter(-min(0.95, before), -0.98, 5.0, prior_sd=0.3)


@dataclass(frozen=True, slots=True)
class RedoxModel:
    """Parameters Ve (mL), EA, ET (mV), one slope s = RT/F for both couples (mV) or one for each, and r.

    With `own_slopes` each branch has its own (an electrode does not follow a slow couple). With `next_step` another
    analyte is used up behind the point instead of titrant being left: ET is its potential, W (mL, last of the
    parameters) the volume it takes, and V(E) = Ve [(1 + r) a - r] + W a_next.
    """

    analyte_electrons: int = 1
    titrant_electrons: int = 1
    own_slopes: bool = False
    next_step: bool = False

    @property
    def name(self) -> str:
        return "redox"

    @property
    def parameters(self) -> tuple[str, ...]:
        slopes = ("analyte_slope", "titrant_slope") if self.own_slopes else ("slope",)
        behind = ("next_volume_mL",) if self.next_step else ()
        second = "next_potential" if self.next_step else "titrant_potential"
        return ("equivalence_volume_mL", "analyte_potential", second, *slopes, "converted_share", *behind)

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"analyte_potential", "titrant_potential", "next_potential"})

    def _exponentials(self, signal: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return e1 = exp(-zA (E - EA)/s) and e2 = exp(zT (E - ET)/s)."""
        analyte_slope, titrant_slope = (x[3], x[4]) if self.own_slopes else (x[3], x[3])
        return (
            bounded_exp(-self.analyte_electrons * (signal - x[1]) / analyte_slope),
            bounded_exp(self.titrant_electrons * (signal - x[2]) / titrant_slope),
        )

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        e1, e2 = self._exponentials(signal, x)
        if self.next_step:
            own = x[0] * (1.0 - (1.0 + x[-2]) * e1 / (1.0 + e1))
            return np.asarray(own + x[-1] * e2 / (1.0 + e2), dtype=np.float64)
        share = x[-1]
        return np.asarray(x[0] * (1.0 + e2) * (1.0 - (1.0 + share) * e1 / (1.0 + e1)), dtype=np.float64)

    def beyond_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        """V(E) less the equivalence volume, with all digits where the jump is steep (no next step)."""
        e1, e2 = self._exponentials(signal, x)
        share = x[-1]
        return np.asarray(x[0] * (e2 - e1 * (1.0 + share + share * e2)) / (1.0 + e1), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        e1, e2 = self._exponentials(signal, x)
        if self.next_step:
            return np.asarray(x[0] * e1 / (1.0 + e1) + x[-1] * e2 / (1.0 + e2), dtype=np.float64)
        return np.asarray(x[0] * (e1 / (1.0 + e1) + e2), dtype=np.float64)

    def start(self, volume_mL: FloatArray, signal: FloatArray, jump_mL: float, expectation: Expectation) -> Start:
        """Return a start from the data beside a jump (rising signal in mV) and from what the method expects.

        Potentials of `expectation` are those of the rising signal.
        """
        slope = expectation.slope_mV or SLOPE_25C_mV
        span = max(float(np.ptp(signal)), 1.0)
        below, above = volume_mL < jump_mL, volume_mL > jump_mL
        with np.errstate(all="ignore"):
            passed = np.where(below & (volume_mL > 0), volume_mL / (jump_mL - volume_mL), np.nan)
            analyte = median_or(signal - slope / self.analyte_electrons * np.log(passed), float(np.min(signal)))
            excess = np.where(above, volume_mL / jump_mL - 1.0, np.nan)
            titrant = median_or(signal - slope / self.titrant_electrons * np.log(excess), float(np.max(signal)))
        known = (expectation.analyte_potential_mV, expectation.titrant_potential_mV)
        sds = (expectation.analyte_potential_sd_mV, expectation.titrant_potential_sd_mV)
        lines = [between_jumps(volume_mL, jump_mL, others=self.next_step)]
        for found, prior, sd in zip((analyte, titrant), known, sds, strict=True):
            low, high = float(np.min(signal)) - span - 300.0, float(np.max(signal)) + span + 300.0
            if prior is None:
                lines.append(Parameter(found, low, high, prior_sd=5.0 * span))
            else:
                lines.append(Parameter(prior, min(low, prior - 10 * sd), max(high, prior + 10 * sd), prior_sd=sd))
        slope_sd = expectation.slope_sd_mV or 3.0
        if self.own_slopes:
            sds_of_slopes = (expectation.analyte_slope_sd_mV, expectation.titrant_slope_sd_mV)
            lines += [Parameter(slope, 0.1 * slope, 4.0 * slope, prior_sd=each or slope_sd) for each in sds_of_slopes]
        else:
            lines.append(Parameter(slope, 0.4 * slope, 1.6 * slope, prior_sd=slope_sd))
        share_sd = expectation.oxidised_share_sd if expectation.model == "redox" else 0.5
        lines.append(converted_share(volume_mL, jump_mL, expectation.previous_step, share_sd))
        if self.next_step:
            room = max(float(np.max(volume_mL)) - jump_mL, 1e-3)
            lines.append(Parameter(1.3 * room, 0.2 * room, 50.0 * room, prior_sd=3.0 * room))
        return start_of(self, lines)
