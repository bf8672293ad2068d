"""A weak acid with a strong base (or, falling, a weak base with a strong acid), one proton or several.

Charge balance with n mol of acid in V0 mL: c_T V = n a - (V0 + V) ([H+] - [OH-]), a = Ka/(Ka + [H+]). With
[OH-] - [H+] = 2 sqrt(Kw) sinh(u), u = (E - Ew)/s, q = 2 (V0 + Ve) sqrt(Kw)/c_T and k = Ve/(V0 + Ve),

    V(E) = (Ve [(1 + r) a - r] + W b + (1 - k) q sinh u) / (1 - k q sinh(u)/Ve).

r is the share converted before the titration; a burette that did not begin at 0, or a proton that was neutralised
before, looks like a negative r. An acid of m protons at one point has a as the mean of m such shares, each with its own
Ka: the protons of any acid can be written so (the roots of its binding polynomial). W b, b = Kb/(Kb + [H+]), is the
acid that follows behind the point, where one does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.models import Parameter, Start, between_jumps, bounded_exp, median_or, start_of
from titrator.evaluate.redox_model import converted_share
from titrator.evaluate.symmetric_model import LEAST_DENOMINATOR, dilution_of, natural_slope, sinh

NEUTRAL_PH = 7.0
"""Half of pKw at 25 °C (13.995), rounded: only the centre of a wide prior."""

LN_WIDTH_SD = 0.7
"""What ionic strength and temperature do to the root of the ionic product of water, as a logarithm: half of it doubles
from 20 to 30 °C or in 0.5 mol/L salt (common practice)."""
SHARE_SD = 0.5
"""How much of an acid may be there as its salt: nobody can tell beforehand."""


@dataclass(frozen=True, slots=True)
class AcidModel:
    """Parameters Ve (mL), Ea = pKa, Ew = pKw/2, s (the signal's unit), ln q (q in mL), k and r; then the further ones.

    These are the signals of the other `sites`, and with `next_step` W (mL) and Eb. Of a falling pH curve the model sees
    -pH, so that `Ew` begins at -7.
    """

    unit: SignalUnit = "pH"
    sites: int = 1
    next_step: bool = False

    @property
    def name(self) -> str:
        return "acid"

    @property
    def parameters(self) -> tuple[str, ...]:
        more = tuple(f"half_neutralised_signal_{k}" for k in range(2, self.sites + 1))
        return (
            "equivalence_volume_mL",
            "half_neutralised_signal",
            "neutral_signal",
            "slope",
            "ln_half_width_mL",
            "dilution_share",
            "converted_share",
            *more,
            *(("next_volume_mL", "next_signal") if self.next_step else ()),
        )

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset(name for name in self.parameters if name.endswith("_signal") or "_signal_" in name)

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        sites = (x[1], *x[7 : 6 + self.sites])
        share = sum(1.0 / (1.0 + bounded_exp(-(signal - each) / x[3])) for each in sites) / self.sites
        reach = np.exp(min(x[4], 50.0)) * sinh((signal - x[2]) / x[3])
        scale = max(abs(x[0]), 1e-9)
        above = x[0] * ((1.0 + x[6]) * share - x[6]) + (1.0 - x[5]) * reach
        if self.next_step:
            above = above + x[-2] / (1.0 + bounded_exp(-(signal - x[-1]) / x[3]))
        return np.asarray(above / np.maximum(1.0 - x[5] * reach / scale, LEAST_DENOMINATOR), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return np.asarray(np.abs(self.volume_mL(signal, x) - x[0]), dtype=np.float64)

    def start(self, volume_mL: FloatArray, signal: FloatArray, jump_mL: float, expectation: Expectation) -> Start:
        """Return a start from the data beside a jump (rising signal)."""
        slope, slope_sd = natural_slope(self.unit), 0.1 * natural_slope(self.unit)
        if self.unit == "mV" and expectation.slope_mV:
            slope, slope_sd = expectation.slope_mV, expectation.slope_sd_mV or slope_sd
        span = max(float(np.ptp(signal)), slope)
        below, above = volume_mL < jump_mL, volume_mL > jump_mL
        with np.errstate(all="ignore"):
            passed = np.where(below & (volume_mL > 0), volume_mL / (jump_mL - volume_mL), np.nan)
            half = median_or(signal - slope * np.log(passed), float(np.min(signal)))
            neutral = self._neutral(signal, slope, expectation)
            excess = np.where(above, np.log(2.0 * np.maximum(volume_mL - jump_mL, 1e-12)), np.nan)
            width = median_or(excess - (signal - neutral.value) / slope, np.log(1e-6))
        low, high = float(np.min(signal)) - span, float(np.max(signal)) + span
        lines = [
            between_jumps(volume_mL, jump_mL, others=self.next_step),
            Parameter(half, low, high, prior_sd=5.0 * span),
            neutral,
            Parameter(slope, 0.3 * slope, 4.0 * slope, prior_sd=slope_sd),
            self._half_width(width, jump_mL, expectation),
            dilution_of(jump_mL, expectation.vessel_mL),
            converted_share(volume_mL, jump_mL, expectation.previous_step, SHARE_SD),
        ]
        for k in range(1, self.sites):  # the first half way up, the further ones lower: protons in order of their pKa
            at = float(np.interp(jump_mL * (1.0 - (k + 0.5) / self.sites), volume_mL, signal))
            lines.append(Parameter(at, low, high, prior_sd=5.0 * span))
        if self.next_step:
            room = max(float(np.max(volume_mL)) - jump_mL, 1e-3)
            place = float(np.interp(jump_mL + 0.7 * room, volume_mL, signal))
            lines.append(Parameter(1.3 * room, 0.2 * room, 50.0 * room, prior_sd=3.0 * room))
            lines.append(Parameter(place, low, high, prior_sd=5.0 * span))
        return start_of(self, lines)

    def _half_width(self, found: float, jump_mL: float, expectation: Expectation) -> Parameter:
        """Return ln q: from the titrant and the ionic product of water where these are known."""
        vessel_mL, titrant = expectation.vessel_mL, expectation.titrant_mol_per_L
        if vessel_mL is None or titrant is None:
            return Parameter(found, -45.0, 10.0, prior_sd=15.0)
        known = np.log(2.0 * (vessel_mL + jump_mL) * 10.0**-NEUTRAL_PH / titrant)
        return Parameter(float(known), -45.0, 10.0, prior_sd=LN_WIDTH_SD)

    def _neutral(self, signal: FloatArray, slope: float, expectation: Expectation) -> Parameter:
        """Return where the electrode stands at pH 7: known well of a p scale, less so of a glass electrode in mV."""
        if self.unit != "mV":
            at = float(np.sign(np.median(signal)) or 1.0) * NEUTRAL_PH
            return Parameter(at, at - 6.0 * slope, at + 6.0 * slope + 200.0, prior_sd=0.4 * slope)
        told = expectation.neutral_mV is not None
        at, sd = (float(expectation.neutral_mV or 0.0), expectation.neutral_sd_mV) if told else (0.0, 100.0)
        return Parameter(at, at - 6.0 * slope - 200.0, at + 6.0 * slope + 200.0, prior_sd=sd)
