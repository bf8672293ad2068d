"""EDTA with one metal: by an electrode of the metal itself, or by a copper electrode and a trace of the copper complex.

Its own electrode shows M: with K the conditional constant, V = (Ve - V0 M/c_T)/(b + M/c_T), b = K M/(1 + K M). A
membrane levels off: it shows M and a little more.

The copper electrode shows the free copper m_Cu that its complex leaves; with n of copper and the constant K_Cu, free
EDTA is Y = (n/(W m_Cu) - 1)/K_Cu in W = V0 + V. Put into the balance of EDTA,

    c_T V = Y W - m_Cu W + Ve c_T K Y/(1 + K Y),

that is a quadratic equation in W.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.models import Parameter, bounded_exp
from titrator.evaluate.whole_curve import PRIOR, Known, nearest_distance_mL, volume_names

NO_FLOOR = -28.0
"""Where the search begins: far below anything that readings show, so that they alone raise it."""
SOFT = 0.02
"""How sharply a reading that is all floor is cut to no metal: only so that a search feels it."""


def _above_floor(share: FloatArray) -> FloatArray:
    """1 - share for shares below 1, and a little more than nothing above."""
    left = np.maximum((1.0 - share) / SOFT, -40.0)
    return np.asarray(SOFT * np.where(left > 30.0, left, np.log1p(np.exp(np.minimum(left, 30.0)))), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class MetalCurve:
    """Parameters: Ve (mL), signal at 1 mol/L of the metal, slope, V0 (mL), log10 K'', ln of the membrane's floor.

    The rising signal is the negative potential (or pM): it falls with the metal.
    """

    titrant_mol_per_L: float

    @property
    def name(self) -> str:
        return "whole EDTA"

    @property
    def points(self) -> int:
        return 1

    @property
    def parameters(self) -> tuple[str, ...]:
        return (*volume_names(1), "electrode_signal", "slope", "vessel_mL", "log_K_conditional", "ln_levelling_share")

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"electrode_signal"})

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        c_T = self.titrant_mol_per_L
        shown = bounded_exp(-(signal - x[1]) / x[2]) / c_T
        metal = shown * _above_floor(np.exp(min(x[5], 0.0)) * abs(x[0]) / x[3] / shown)
        strength = metal * c_T * 10.0 ** min(x[4], 60.0)
        bound = strength / (1.0 + strength)
        below = np.maximum(bound + metal, 1e-9)
        return np.asarray((x[0] - x[3] * metal) / below, dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return nearest_distance_mL(self.volume_mL(signal, x), x[:1])

    def lines(self, known: Known, signal: FloatArray) -> list[Parameter]:
        """The parameters behind the volume."""
        log_K = known.log_K[0]
        return [
            known.offset_of(signal, 0.05),
            known.slope_of(2 if known.unit == "mV" else 1),
            known.vessel(),
            Parameter(log_K, log_K - 6.0, log_K + 6.0, prior_sd=PRIOR.log_K_conditional),
            Parameter(NO_FLOOR, -60.0, -1.0, prior_sd=PRIOR.floor_sd, prior_mean=PRIOR.floor),
        ]


@dataclass(frozen=True, slots=True)
class CopperTraceCurve:
    """Parameters: Ve (mL), signal at 1 mol/L of copper, slope, V0 (mL), log10 K'' of the metal and of copper."""

    titrant_mol_per_L: float
    trace_mol: float

    @property
    def name(self) -> str:
        return "whole EDTA by a trace of copper"

    @property
    def points(self) -> int:
        return 1

    @property
    def parameters(self) -> tuple[str, ...]:
        names = ("electrode_signal", "slope", "vessel_mL", "log_K_conditional", "log_K_copper")
        return (*volume_names(1), *names)

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"electrode_signal"})

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        c_T, vessel = self.titrant_mol_per_L, x[3]
        copper = bounded_exp(-(signal - x[1]) / x[2])  # mol/L; amounts below in mmol, volumes in mL
        constant, of_copper = 10.0 ** min(x[4], 60.0), 10.0 ** min(x[5], 60.0)
        trace, metal = 1000.0 * self.trace_mol, x[0] * c_T
        least = 1.0 / of_copper
        ratio = constant / of_copper
        bound = trace / (of_copper * copper)  # Y W = bound - least W
        strength = ratio * trace / copper  # K bound
        # [c_T (W - V0) - bound + (least + copper) W] [(1 - ratio) W + strength] = metal (strength - ratio W)
        slope, constant_part = c_T + least + copper, c_T * vessel + bound
        a = slope * (1.0 - ratio)
        b = slope * strength - constant_part * (1.0 - ratio) + metal * ratio
        c = -(constant_part + metal) * strength
        root = np.sqrt(np.maximum(b**2 - 4.0 * a * c, 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            whole = np.where(b > 0.0, -2.0 * c / (b + root), (root - b) / (2.0 * a))
        return np.asarray(np.clip(np.nan_to_num(whole, nan=1e9) - vessel, -1e9, 1e9), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return nearest_distance_mL(self.volume_mL(signal, x), x[:1])

    def lines(self, known: Known, signal: FloatArray) -> list[Parameter]:
        """The parameters behind the volume."""
        constants = [
            Parameter(each, each - 6.0, each + 6.0, prior_sd=PRIOR.log_K_conditional) for each in known.log_K[:2]
        ]
        return [
            known.offset_of(signal, 0.05),
            known.slope_of(2 if known.unit == "mV" else 1),
            known.vessel(),
            *constants,
        ]


def edta_curve(known: Known) -> MetalCurve | CopperTraceCurve:
    """The model of a titration with EDTA. Raises ValueError without conditional constants."""
    wanted = 2 if known.copper_trace else 1
    if len(known.log_K) < wanted:
        raise ValueError(f"log_K: {wanted} conditional constants expected, {len(known.log_K)} came")
    if known.copper_trace:
        return CopperTraceCurve(known.titrant_mol_per_L, known.trace_mol)
    return MetalCurve(known.titrant_mol_per_L)
