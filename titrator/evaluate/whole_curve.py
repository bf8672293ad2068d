"""One model of a whole curve, all its equivalence points in one fit: what is known beforehand, and which model serves.

The balance of every titration is linear in the volume of titrant, so with the signal given,

    V(y) = [N(y) - (V0/c_T) w(y)] / [h(y) + w(y)/c_T],
    N(y) = V_1 [(1 + r) a_1 - r] + sum over j > 1 of (V_j - V_j-1) a_j

V_j are the equivalence volumes counted from the beginning (mL), a_j the share of step j used up at y, r the share of
the first analyte converted before the titration, h the share of the titrant used, w what the solvent itself holds of
the master (mol/L), V0 and c_T the liquid at the start and the titrant, known from the method. y is the master's
logarithm (electrons, H+, Ag+, metal), which the electrode shows.

Priors are weak on purpose: tables, activity coefficients and medium make the constants uncertain by what `PRIOR` says,
and whatever shifts a constant alike all along a curve is taken up there. The error of c_T in w/c_T is a shift of the
constants too, so c_T is held.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np

from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.reactions import Reaction
from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.models import CurveModel, Parameter

LEAST_DENOMINATOR = 0.02
"""The titrant's own concentration is a pole of V(y); a search is kept this far from it."""


@dataclass(frozen=True, slots=True)
class Prior:
    """A value and its standard deviation, as known before the curve."""

    value: float
    sd: float


class PRIOR:
    """Standard deviations of what is known beforehand, and why."""

    pKa = 0.10
    """Tables agree to 0.02; 5 °C (0.1 for ammonium) and what Davies's equation leaves at 0.5 mol/L make the rest."""
    pKw = 0.06
    """0.03 a degree; the same of the activity coefficients."""
    log_Ksp = 0.15
    """Tables differ by 0.1; activity coefficients lower it by 0.2 at 0.1 mol/L."""
    log_K_conditional = 0.4
    """0.1 pH of the buffer, 0.1 of its ammonia, and the set of constants of EDTA (common practice)."""
    log_hydroxide = 1.0
    """Fresh hydroxides are more soluble than aged ones by a power of ten (common practice)."""
    pH_of_glass = 0.1
    """Two buffers and a junction, in pH (common practice); not calibrated: `Known.offset` says more."""
    vessel = 0.03
    """Rinsing and the drop beside the mark, as a share of the liquid at the start."""
    converted = 0.02
    """Share of a redox analyte converted by air beforehand; of an acid nobody can tell: `converted_acid`."""
    converted_acid = 0.5
    own_slope = 0.3
    """Share of Nernst's slope by which the branch of a slow couple may differ."""
    beside_slow = 0.05
    log_reduced_form = 0.7
    """Iodide, where the method adds it by the spoon or the titrant holds it: within a factor of two."""
    floor, floor_sd = -16.0, 6.0
    """ln of what a membrane shows where no ion is, over the ion at the start."""


@dataclass(frozen=True, slots=True)
class KnownCouple:
    """A redox couple: potential in mV against the reference, electrons, base units, whether it is slow."""

    potential: Prior
    electrons: int
    units: int = 1
    slow: bool = False


@dataclass(frozen=True, slots=True)
class Known:
    """What a method tells of the chemistry of a curve.

    `points`: how many of the reaction's steps the curve holds. `slope` is RT/F as the electrode reaches it, in mV (a p
    scale needs none). `offset` in mV or p: silver's formal potential against the reference; a glass electrode at pH 7;
    a metal-ion electrode at 1 mol/L; None where nobody knows. `couples` of a redox reaction in order, the titrant's
    last. `log_K` conditional constants of the metal and of the trace of copper. `reduced_mol_per_L` and
    `reduced_titrant_mol_per_L`: iodide in the vessel and in the titrant. `carbonate_sd`: share of the base's alkalinity
    that is carbonate; `salt_mol_per_L` a 1:1 salt in the vessel; `metal`: iron(II) is in it. `left_out`: what the model
    leaves out at each point and no curve tells, as a relative half width (rectangular).
    """

    reaction: Reaction
    points: int
    vessel_mL: float
    titrant_mol_per_L: float
    unit: SignalUnit = "mV"
    temperature_C: float = 25.0
    slope: Prior = Prior(0.975 * 25.693, 0.025 / math.sqrt(3.0) * 25.693)
    offset: Prior | None = None
    couples: tuple[KnownCouple, ...] = ()
    log_K: tuple[float, ...] = ()
    trace_mol: float = 1e-5
    copper_trace: bool = False
    reduced_mol_per_L: float = 0.0
    reduced_titrant_mol_per_L: float = 0.0
    carbonate_sd: float = 0.0
    salt_mol_per_L: float = 0.0
    metal: bool = False
    left_out: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what no method could mean; raises ValueError."""
        if not 1 <= self.points <= len(self.reaction.steps):
            raise ValueError(f"points: 1 to {len(self.reaction.steps)} expected, {self.points} came")
        for name in ("vessel_mL", "titrant_mol_per_L"):
            if not 0.0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name}: a finite number above 0 expected, {getattr(self, name)} came")
        if self.reaction.family == "redox" and len(self.couples) != len(self.reaction.steps) + 1:
            raise ValueError(f"couples: one of each step and the titrant's expected, {len(self.couples)} came")

    @property
    def sign(self) -> int:
        """1 where the signal rises with the titrant, else -1: the models see the rising signal, sign times the read."""
        return 1 if self.reaction.rising == (self.unit == "mV") else -1

    def slope_of(self, charge: int = 1) -> Parameter:
        """The change of the signal for a factor e of the master, of an ion of `charge`."""
        if self.unit != "mV":
            return Parameter(1.0 / math.log(10.0), 0.3, 0.6, prior_sd=0.01 / math.log(10.0))
        value, sd = self.slope.value / charge, self.slope.sd / charge
        return Parameter(value, 0.5 * value, 1.6 * value, prior_sd=sd)

    def offset_of(self, signal: FloatArray, p_sd: float) -> Parameter:
        """Where the electrode's scale lies (rising signal): as told, 0 on a p scale, or anywhere."""
        span = max(float(np.ptp(signal)), 1.0)
        if self.offset is None and self.unit == "mV":
            middle = float(np.mean(signal))
            return Parameter(middle, middle - 5.0 * span - 2000.0, middle + 5.0 * span + 2000.0, prior_sd=400.0)
        at, sd = (0.0, p_sd) if self.offset is None else (self.offset.value, self.offset.sd)
        return Parameter(self.sign * at, self.sign * at - 20.0 * sd, self.sign * at + 20.0 * sd, prior_sd=sd)

    def vessel(self) -> Parameter:
        """The liquid at the start, in mL."""
        return Parameter(self.vessel_mL, 0.5 * self.vessel_mL, 2.0 * self.vessel_mL, PRIOR.vessel * self.vessel_mL)

    def nernst_mV(self) -> float:
        """RT/F in mV."""
        return nernst_slope_mV(self.temperature_C)


class WholeCurve(CurveModel, Protocol):
    """A model whose first `points` parameters are the equivalence volumes, counted from the beginning."""

    @property
    def points(self) -> int: ...

    def lines(self, known: Known, signal: FloatArray) -> list[Parameter]:
        """The parameters behind the volumes, for a curve of that (rising) signal."""
        ...


def volume_names(points: int) -> tuple[str, ...]:
    """Names of the equivalence volumes among the parameters."""
    return ("equivalence_volume_mL", *(f"equivalence_volume_{k}_mL" for k in range(2, points + 1)))


def nearest_distance_mL(volume_mL: FloatArray, points_mL: FloatArray) -> FloatArray:
    """How far each volume lies from the nearest equivalence point, in mL, shape of `volume_mL`."""
    return np.asarray(np.min(np.abs(volume_mL[..., None] - points_mL), axis=-1), dtype=np.float64)


def steps_used(x: FloatArray, points: int, share: float, used: Sequence[FloatArray]) -> FloatArray:
    """N(y) in mL of titrant: what the analytes have used, from the cumulative volumes and the shares used of each."""
    total = x[0] * ((1.0 + share) * used[0] - share)
    for k in range(1, points):
        total = total + (x[k] - x[k - 1]) * used[k]
    return np.asarray(total, dtype=np.float64)


def volume_lines(volume_mL: FloatArray, guesses_mL: Sequence[float]) -> list[Parameter]:
    """The equivalence volumes: from the guesses, each between the middles to its neighbours, free of any prior."""
    low, high = float(np.min(volume_mL)), float(np.max(volume_mL))
    ends = [low, *((a + b) / 2.0 for a, b in pairwise(guesses_mL)), high]
    return [Parameter(guess, ends[k], ends[k + 1]) for k, guess in enumerate(guesses_mL)]
