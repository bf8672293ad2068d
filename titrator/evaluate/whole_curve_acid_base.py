"""Acids with a strong base, bases with a strong acid, all their steps in one curve, activity coefficients included.

With the mean number of protons that the analyte's pool has given (taken) n(y), y = ln [H+], and w = [H+] - [OH-],

    base:  V = (N - V0 w/c_T)/(h + w/c_T)        acid:  V = (N + V0 w/c_T)/(1 - w/c_T)

N follows from n for the pools of the table: two points share one pool (phosphate, carbonate), the second point's step
being all of it. h is below 1 where the base holds carbonate, which takes up protons again on its way. A metal that
hydrolyses behind the point (iron(II) beside free acid) takes base as MOH+ and as a solid hydroxide; the balance with
the solid is another straight line in V, and the larger root holds. Iron(III) is found as acid: no curve tells it.

pH is an activity. The constants are thermodynamic and corrected by Davies's equation at the ionic strength along the
curve, which follows from V itself: a first V at the strength of the titrant, then two better ones. Carbon dioxide is
taken to stay in the vessel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from titrator.chemistry.acids import ABOVE_PH_7, ACIDS, IRON_II, Acid
from titrator.chemistry.activity import DAVIES_UP_TO_MOL_PER_L
from titrator.chemistry.water import debye_huckel_A, pKw
from titrator.evaluate.curve import FloatArray
from titrator.evaluate.models import Parameter
from titrator.evaluate.whole_curve import (
    LEAST_DENOMINATOR,
    PRIOR,
    Known,
    nearest_distance_mL,
    steps_used,
    volume_names,
)

LN_10 = float(np.log(10.0))
NEUTRAL_PH = 7.0
ROUNDS = 4
"""How often V is computed, each time at the ionic strength that the one before leads to."""
LEAST_LN, MOST_LN = -80.0, 7.0
"""ln [H+] is kept between these: no solution is outside."""


@dataclass(frozen=True, slots=True)
class AcidBaseCurve:
    """Parameters: volumes (mL), signal at pH 7, slope, V0 (mL), pKw, the pKa, then as there are r, carbonate, metal.

    `acid` is the analyte's pool (None: free H+ or OH-), `at_once` how many of its protons go at one point. `davies_A`
    is 0 where constants are to be taken as they stand. `salt_mol_per_L`: 1:1 salt in the vessel beside the analyte.
    `idle`: points at which carbonate of the base has taken up one proton only, the other one being idle: their volumes
    are larger by that share.
    """

    points: int
    with_base: bool
    acid: Acid | None
    at_once: int
    titrant_mol_per_L: float
    davies_A: float
    salt_mol_per_L: float
    carbonate: bool
    metal: bool
    idle: tuple[bool, ...] = ()
    carbonic_pK: tuple[float, float] = (6.352, 10.329)

    @property
    def name(self) -> str:
        return "whole acid-base"

    @property
    def parameters(self) -> tuple[str, ...]:
        acid = [f"pKa_{k}" for k in range(1, len(self.acid.pKa) + 1)] if self.acid else []
        share = ["converted_share"] if self.acid and self.points == 1 else []
        carbonate = ["carbonate_share"] if self.carbonate else []
        metal = ["ln_metal_mL", "log_hydrolysis", "log_hydroxide"] if self.metal else []
        known = ("neutral_signal", "slope", "vessel_mL", "pKw")
        return (*volume_names(self.points), *known, *acid, *share, *carbonate, *metal)

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset({"neutral_signal"})

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        p = self.points
        sign = 1.0 if self.with_base else -1.0
        ln_activity = -LN_10 * NEUTRAL_PH - sign * (signal - x[p]) / x[p + 1]
        strength = np.full(signal.shape, self.salt_mol_per_L + 0.5 * self.titrant_mol_per_L)
        volume, last = signal, None
        for _ in range(ROUNDS if self.davies_A else 1):
            tried = strength
            root = np.sqrt(np.minimum(strength, DAVIES_UP_TO_MOL_PER_L))
            g = LN_10 * self.davies_A * (root / (1.0 + root) - 0.3 * root**2)
            volume, found = self._volume(np.clip(ln_activity + g, LEAST_LN, MOST_LN), g, x)
            strength, last = _secant(tried, found, last), (tried, found)
        return volume

    def _volume(self, y: FloatArray, g: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(V, ionic strength) at y = ln [H+] and the medium's g."""
        p, c_T = self.points, self.titrant_mol_per_L
        vessel = x[p + 2]
        hydrogen = np.exp(y)
        hydroxide = np.exp(-LN_10 * x[p + 3] + 2.0 * g - y)
        w = (hydrogen - hydroxide) / c_T * (1.0 if self.with_base else -1.0)
        rest = x[p + 4 :]
        bound, squares, share = np.zeros_like(y), np.zeros_like(y), 0.0
        if self.acid is not None:
            size = len(self.acid.pKa)
            bound, squares = protons_bound(y, g, self.acid.charge, rest[:size])
            rest = rest[size:]
            if self.points == 1:
                share, rest = float(rest[0]), rest[1:]
        used = np.ones_like(y)
        if self.carbonate:
            carbonic, _ = protons_bound(y, g, 0, self.carbonic_pK)
            used, x = 1.0 - rest[0] * (1.0 - carbonic / 2.0), x.copy()
            for k, idle in enumerate(self.idle):
                x[k] *= 1.0 - 0.5 * rest[0] * idle
            rest = rest[1:]
        needed = self._needed(x, bound, share)
        volume = (needed - vessel * w) / np.maximum(used + w, LEAST_DENOMINATOR)
        metal_mL = 0.0
        if self.metal:
            volume, metal_mL = self._beside_metal(y, g, (needed, vessel, used, w), rest)
        precipitated = np.clip((volume - needed) / 2.0, 0.0, metal_mL)
        ions = self._ions(x, volume, squares, share) + 6.0 * metal_mL - 4.0 * precipitated
        whole = np.maximum(vessel + volume, 0.1 * vessel)
        salt = self.salt_mol_per_L * vessel / whole
        return volume, np.maximum(salt + 0.5 * (c_T * ions / whole + hydrogen + hydroxide), 0.0)

    def _pool_mL(self, x: FloatArray, share: float) -> float:
        """Amount of the analyte's pool, in mL of titrant."""
        if self.points > 1:
            return float(x[1] - x[0])
        return float(x[0] * (1.0 + share) / self.at_once)

    def _needed(self, x: FloatArray, bound: FloatArray, share: float) -> FloatArray:
        """N: titrant used up by the analyte, in mL."""
        if self.acid is None:
            return np.full(bound.shape, float(x[0]), dtype=np.float64)
        moved = len(self.acid.pKa) - bound if self.with_base else bound
        if self.points > 1:
            return np.asarray(x[0] + (x[1] - x[0]) * (moved - 1.0), dtype=np.float64)
        return steps_used(x, 1, share, [moved / self.at_once])

    def _ions(self, x: FloatArray, volume: FloatArray, squares: FloatArray, share: float) -> FloatArray:
        """Sum of c z² of analyte and counter-ions over the whole vessel, in mL of titrant (H+ and OH- apart)."""
        counter = np.maximum(volume, 0.0)
        if self.acid is None:
            return np.asarray(counter + x[0], dtype=np.float64)
        pool = self._pool_mL(x, share)
        moved = float(pool - x[0]) if self.points > 1 else float(x[0] * share / self.at_once)
        charged = moved if self.with_base else abs(self.acid.charge - len(self.acid.pKa)) * pool - moved
        return np.asarray(counter + pool * squares + abs(charged), dtype=np.float64)

    def _beside_metal(
        self, y: FloatArray, g: FloatArray, terms: tuple[FloatArray, float, FloatArray, FloatArray], rest: FloatArray
    ) -> tuple[FloatArray, float]:
        """(V beside a metal M2+ that binds hydroxide, its amount in mL of titrant)."""
        needed, vessel, used, w = terms
        metal = float(np.exp(min(rest[0], 12.0)))
        hydrolysed = np.exp(np.minimum(LN_10 * rest[1] - 2.0 * g - y, 60.0))
        dissolved = (needed + metal * hydrolysed / (1.0 + hydrolysed) - vessel * w) / np.maximum(
            used + w, LEAST_DENOMINATOR
        )
        free = np.exp(np.clip(LN_10 * rest[2] + 2.0 * g + 2.0 * y, -80.0, 80.0)) / self.titrant_mol_per_L
        lacking = free * (2.0 + hydrolysed)
        solid = (needed + 2.0 * metal - vessel * (w + lacking)) / np.maximum(used + w + lacking, LEAST_DENOMINATOR)
        return np.maximum(dissolved, np.clip(solid, -1e9, 1e9)), metal

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return nearest_distance_mL(self.volume_mL(signal, x), x[: self.points])

    def lines(self, known: Known, signal: FloatArray) -> list[Parameter]:
        """The parameters behind the volumes."""
        del signal
        lines = [self._neutral(known), known.slope_of(), known.vessel()]
        lines.append(_constant(pKw(known.temperature_C), PRIOR.pKw))
        if self.acid is not None:
            lines += [_constant(each.at(known.temperature_C), PRIOR.pKa) for each in self.acid.pKa]
            if self.points == 1:
                lines.append(Parameter(0.0, -0.9, 20.0, prior_sd=PRIOR.converted_acid))
        if self.carbonate:
            lines.append(Parameter(0.0, -0.2, 0.5, prior_sd=known.carbonate_sd))
        if self.metal:
            lines.append(Parameter(float(np.log(known.vessel_mL / 5.0)), -9.0, 9.0, prior_sd=2.0))
            for constant in (IRON_II.hydrolysis[0], IRON_II.hydroxide):
                assert constant is not None
                lines.append(_constant(constant.at(known.temperature_C), PRIOR.log_hydroxide))
        return lines

    def _neutral(self, known: Known) -> Parameter:
        """Where the electrode stands at pH 7 (rising signal)."""
        if known.unit == "mV":
            at, sd = (0.0, 30.0) if known.offset is None else (known.offset.value, known.offset.sd)
        else:
            at, sd = NEUTRAL_PH, PRIOR.pH_of_glass if known.offset is None else known.offset.sd
        at = known.sign * at
        return Parameter(at, at - 20.0 * sd, at + 20.0 * sd, prior_sd=sd)


def _secant(tried: FloatArray, found: FloatArray, last: tuple[FloatArray, FloatArray] | None) -> FloatArray:
    """The ionic strength to try next: where the line through the last two rounds meets itself, or what was found."""
    if last is None:
        return found
    miss, before = found - tried, last[1] - last[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        guess = tried - miss * (tried - last[0]) / (miss - before)
    return np.asarray(np.where((guess > 0.5 * found) & (guess < 2.0 * found), guess, found), dtype=np.float64)


def _constant(value: float, sd: float) -> Parameter:
    return Parameter(value, value - 20.0 * sd, value + 20.0 * sd, prior_sd=sd)


def protons_bound(
    y: FloatArray, g: FloatArray, charge: int, pKa: Sequence[float] | FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(mean protons bound, mean squared charge) of an acid whose full form has `charge`, at y = ln [H+] and g."""
    size = len(pKa)
    exponent, exponents = np.zeros_like(y), [np.zeros_like(y)]
    for bound in range(1, size + 1):  # from the bare form up: the last pKa first
        left = charge - size + bound
        exponent = exponent + LN_10 * pKa[size - bound] - 2.0 * (1.0 - left) * g + y
        exponents.append(exponent)
    stacked = np.stack(exponents)
    weights = np.exp(stacked - np.max(stacked, axis=0))
    weights /= np.sum(weights, axis=0)
    protons = np.arange(size + 1, dtype=np.float64)
    mean, square = protons @ weights, (charge - size + protons) ** 2 @ weights
    return np.asarray(mean, dtype=np.float64), np.asarray(square, dtype=np.float64)


def acid_base_curve(known: Known) -> AcidBaseCurve:
    """The model of an acid-base titration. Raises ValueError for steps that share no pool."""
    steps = known.reaction.steps[: known.points]
    pools = {form: acid for acid in ACIDS for form in acid.forms}
    acids = {pools.get(step.species) for step in steps}
    if len(acids) > 1 or (len(steps) > 1 and None in acids):
        raise ValueError("several points of one acid expected, steps of several acids came")
    (acid,) = acids
    at_once = round(1.0 / steps[0].analyte_per_titrant)
    return AcidBaseCurve(
        points=known.points,
        with_base=not known.reaction.rising,
        acid=acid,
        at_once=at_once,
        titrant_mol_per_L=known.titrant_mol_per_L,
        davies_A=debye_huckel_A(known.temperature_C),
        salt_mol_per_L=known.salt_mol_per_L,
        carbonate=known.carbonate_sd > 0.0,
        metal=known.metal,
        idle=tuple(step.analyte in ABOVE_PH_7 for step in steps),
    )
