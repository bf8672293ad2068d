"""Silver with one to three halides in one curve: piecewise explicit.

At a given [Ag+] = A each halide k is dissolved, or at K_k/A beside its solid: c_T V = (V0 + V) A + sum over the solids
of n_k - (V0 + V) K_k/A. For every set S of solids that is linear in V,

    V_S = (sum n_k/c_T + V0 t)/(1 - t),   t = (A - sum K_k/A)/c_T,   V = the largest V_S

since a solid is there where it takes up silver at all, so that the balance is the least of the linear ones and its root
the largest of theirs. Pure solids, no mixed crystals. Constants are thermodynamic and corrected by Davies's equation at
the ionic strength of the sodium salts, the nitrate and the titrant's excess, which follows from V.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from titrator.chemistry.activity import DAVIES_UP_TO_MOL_PER_L
from titrator.chemistry.precipitation import HALIDES
from titrator.chemistry.water import debye_huckel_A
from titrator.evaluate.curve import FloatArray
from titrator.evaluate.models import Parameter, bounded_exp
from titrator.evaluate.whole_curve import LEAST_DENOMINATOR, PRIOR, Known, nearest_distance_mL, volume_names

LN_10 = float(np.log(10.0))
ROUNDS = 3
"""How often V is computed, each time at the ionic strength of the one before."""


@dataclass(frozen=True, slots=True)
class SilverCurve:
    """Parameters: volumes (mL), electrode's potential at 1 mol/L (signal's unit), slope, V0 (mL), log10 Ksp of each."""

    points: int
    titrant_mol_per_L: float
    ions: tuple[str, ...]
    davies_A: float = 0.0
    salt_mol_per_L: float = 0.0

    @property
    def name(self) -> str:
        return "whole silver"

    @property
    def parameters(self) -> tuple[str, ...]:
        constants = (f"log_Ksp_{ion.rstrip('-')}" for ion in self.ions)
        return (*volume_names(self.points), "electrode_signal", "slope", "vessel_mL", *constants)

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"electrode_signal"})

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        p = self.points
        volume, vessel = np.full(signal.shape, 0.5 * abs(x[p - 1])), x[p + 2]
        for _ in range(ROUNDS if self.davies_A else 1):
            dissolved_mL = np.maximum(np.clip(volume, 0.0, 1e6), x[p - 1])
            salts = self.salt_mol_per_L * vessel + self.titrant_mol_per_L * dissolved_mL
            strength = salts / (vessel + np.clip(volume, -0.5 * vessel, 1e6))
            root = np.sqrt(np.clip(strength, 0.0, DAVIES_UP_TO_MOL_PER_L))
            volume = self._volume(signal, LN_10 * self.davies_A * (root / (1.0 + root) - 0.3 * root**2), x)
        return volume

    def _volume(self, signal: FloatArray, g: FloatArray, x: FloatArray) -> FloatArray:
        """V at the medium's g."""
        p, c_T = self.points, self.titrant_mol_per_L
        silver = bounded_exp((signal - x[p]) / x[p + 1] + g) / c_T
        vessel = x[p + 2]
        own = np.diff(x[:p], prepend=0.0)
        dissolved = [10.0 ** min(log_K, 20.0) * np.exp(2.0 * g) / c_T**2 / silver for log_K in x[p + 3 :]]
        volume = np.full(signal.shape, -np.inf)
        for count in range(p + 1):
            for solids in combinations(range(p), count):
                # What the solution takes up of silver beside the solids, per mL of it, over c_T.
                taken = silver - sum(dissolved[k] for k in solids)
                above = sum(own[k] for k in solids) + vessel * taken
                volume = np.maximum(volume, above / np.maximum(1.0 - taken, LEAST_DENOMINATOR))
        return np.asarray(np.maximum(volume, -1e9), dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return nearest_distance_mL(self.volume_mL(signal, x), x[: self.points])

    def lines(self, known: Known, signal: FloatArray) -> list[Parameter]:
        """The parameters behind the volumes."""
        lines = [known.offset_of(signal, 0.05), known.slope_of(), known.vessel()]
        for ion in self.ions:
            (halide,) = (each for each in HALIDES if each.ion == ion)
            value = halide.log_Ksp.at(known.temperature_C)
            lines.append(Parameter(value, value - 3.0, value + 3.0, prior_sd=PRIOR.log_Ksp))
        return lines


def silver_curve(known: Known) -> SilverCurve:
    """The model of a titration with silver: every halide of the reaction belongs to it."""
    steps = known.reaction.steps[: known.points]
    return SilverCurve(
        known.points,
        known.titrant_mol_per_L,
        tuple(step.species for step in steps),
        debye_huckel_A(known.temperature_C),
        known.salt_mol_per_L,
    )
