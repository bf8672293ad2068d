"""Redox curves of any electrons, with several analytes in one curve; couples of several atoms in one species too.

One atom on either side: the balance of electrons over the titrant's gives

    V(E) = N(E) (1 + e_T),   a_j = 1/(1 + exp(-z_j (E - E_j)/s_j)),   e_T = exp(z_T (E - E_T)/s_T)

(an oxidising titrant; a reducing one has the same form in -E). A slow couple has a slope of its own and a wide
potential, because an electrode does not follow it. H+ is taken as constant: dichromate and permanganate use it up, and
their branch moves by a few mV, within what the prior of a slow couple leaves open.

Several atoms in one species (dichromate 2, triiodide 3, tetrathionate 2; u base units): with C base units per litre and
q = exp(z (E - E0)/s) the reduced form r solves u q r^u + r = C, which for u = 2 and 3 is explicit (quadratic; Cardano);
C depends on the dilution, so that V is the root of a balance, found by Newton's steps.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.models import Parameter, bounded_exp
from titrator.evaluate.whole_curve import PRIOR, Known, nearest_distance_mL, steps_used, volume_names

WHOLE_REDOX = "whole redox"
"""Name of the model in a report."""
SLOW_DISTANCE = 100.0
"""On the branch of a slow couple an electrode follows no law that could be relied on: a reading there counts as if it
lay so many times further from the point: the model is believed to 5 % of the distance where elsewhere to 0.05 %."""
NEWTON_STEPS = 12
CONVERGED = 1e-9
"""A Newton step below this share of the volume is the last: its square is left."""
FARTHEST_mL = 1e6


@dataclass(frozen=True, slots=True)
class RedoxCurve:
    """Parameters: volumes (mL), potentials of the analytes and of the titrant (mV), slope, own slopes, share r.

    `electrons` and `slow` of the couples in order, the titrant's last; of a reducing titrant the potentials are
    negative, as the signal is. `steps` may be more than `points`: analytes behind the last point that is sought.
    """

    points: int
    electrons: tuple[int, ...]
    slow: tuple[bool, ...]

    @property
    def name(self) -> str:
        return WHOLE_REDOX

    @property
    def parameters(self) -> tuple[str, ...]:
        return (
            *volume_names(self.points),
            *(f"analyte_potential_{k}" if k > 1 else "analyte_potential" for k in range(1, self.points + 1)),
            "titrant_potential",
            "slope",
            *(f"own_slope_{k}" for k, slow in enumerate(self.slow, start=1) if slow),
            "converted_share",
        )

    @property
    def signal_parameters(self) -> frozenset[str]:
        return frozenset(name for name in self.parameters if "potential" in name)

    def exponents(self, signal: FloatArray, x: FloatArray) -> list[FloatArray]:
        """z (E - E_k)/s_k of each couple."""
        count = len(self.electrons)
        own = iter(x[self.points + count + 1 : -1])
        slopes = [next(own) if slow else x[self.points + count] for slow in self.slow]
        return [z * (signal - x[self.points + k]) / slopes[k] for k, z in enumerate(self.electrons)]

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        *analytes, titrant = self.exponents(signal, x)
        used = [1.0 / (1.0 + bounded_exp(-each)) for each in analytes]
        return np.asarray(steps_used(x, self.points, x[-1], used) * (1.0 + bounded_exp(titrant)), dtype=np.float64)

    def beyond_mL(self, signal: FloatArray, x: FloatArray, volume_mL: float) -> FloatArray:
        """V(E) less the equivalence volume nearest to `volume_mL`, with all digits where the jump is steep."""
        *analytes, titrant = self.exponents(signal, x)
        point = int(np.argmin(np.abs(x[: self.points] - volume_mL)))
        lacking = np.zeros_like(signal)
        for k, exponent in enumerate(analytes):
            amount = x[0] * (1.0 + x[-1]) if k == 0 else x[k] - x[k - 1]
            side = -1.0 if k <= point else 1.0
            lacking = lacking + side * amount / (1.0 + bounded_exp(-side * exponent))
        excess = bounded_exp(titrant)
        return np.asarray(lacking * (1.0 + excess) + x[point] * excess, dtype=np.float64)

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return self.distance_of(self.volume_mL(signal, x), x)

    def distance_of(self, volume_mL: FloatArray, x: FloatArray) -> FloatArray:
        """How far volumes lie from the nearest equivalence point, on the branch of a slow couple SLOW_DISTANCE times.

        The branch of couple k lies between the points k - 1 and k, that of the titrant behind the last one.
        """
        distance = nearest_distance_mL(volume_mL, x[: self.points])
        if not any(self.slow):
            return distance
        branch = np.searchsorted(x[: self.points], volume_mL)
        times = np.where(self.slow, SLOW_DISTANCE, 1.0)
        return np.asarray(distance * times[branch], dtype=np.float64)

    def lines(self, known: Known, signal: FloatArray) -> list[Parameter]:
        """The parameters behind the volumes."""
        del signal
        return redox_lines(known, self.points, self.slow)


def redox_lines(known: Known, points: int, slow: tuple[bool, ...]) -> list[Parameter]:
    """Potentials, slope, own slopes and converted share, with their priors."""
    lines = []
    for couple in known.couples[:points] + known.couples[-1:]:
        at, sd = known.sign * couple.potential.value, couple.potential.sd
        lines.append(Parameter(at, at - 10.0 * sd - 100.0, at + 10.0 * sd + 100.0, prior_sd=sd))
    slope = known.slope_of()
    if any(slow):
        slope = Parameter(slope.value, slope.lower, slope.upper, prior_sd=PRIOR.beside_slow * slope.value)
    own = Parameter(slope.value, 0.2 * slope.value, 4.0 * slope.value, prior_sd=PRIOR.own_slope * slope.value)
    return [*lines, slope, *(own for each in slow if each), Parameter(0.0, -0.5, 5.0, prior_sd=PRIOR.converted)]


@dataclass(frozen=True, slots=True)
class AtomsCurve:
    """The same where the titrant's or the analyte's species hold several atoms; one analyte.

    Parameters as RedoxCurve, and ln of what there is of the reduced form over what is known of it (iodide, which is
    put in by the spoon and takes part in the potential by its third power).

    `oxidant`: whether the titrant oxidises. `units` of analyte and titrant. `reduced_vessel_mol_per_L` and
    `reduced_titrant_mol_per_L` are what is there of the reduced form of the couple of several atoms (iodide).
    """

    redox: RedoxCurve
    oxidant: bool
    units: tuple[int, int]
    vessel_mL: float
    titrant_mol_per_L: float
    reduced_vessel_mol_per_L: float = 0.0
    reduced_titrant_mol_per_L: float = 0.0

    @property
    def name(self) -> str:
        return self.redox.name

    @property
    def points(self) -> int:
        return 1

    @property
    def parameters(self) -> tuple[str, ...]:
        return (*self.redox.parameters, "reduced_form_share")

    @property
    def signal_parameters(self) -> frozenset[str]:
        return self.redox.signal_parameters

    def lines(self, known: Known, signal: FloatArray) -> list[Parameter]:
        """The parameters behind the volumes."""
        del signal
        brought = self.reduced_vessel_mol_per_L > 0.0 or self.reduced_titrant_mol_per_L > 0.0
        sd = PRIOR.log_reduced_form if brought else 1e-3
        return [*redox_lines(known, 1, self.redox.slow), Parameter(0.0, -6.0 * sd, 6.0 * sd, prior_sd=sd)]

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return self.redox.distance_of(self.volume_mL(signal, x), x)

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        x, times = x[:-1], math.exp(x[-1])
        analyte, titrant = self.redox.exponents(signal, x)
        share = 1.0 / (1.0 + bounded_exp(-analyte))
        volume = np.maximum(x[0] * ((1.0 + x[-1]) * share - x[-1]), 1e-6 * abs(x[0]))
        for _ in range(NEWTON_STEPS):
            excess, slope = self._balance(volume, analyte, titrant, x, times)
            step = np.clip(excess / np.maximum(slope, 1e-9), -0.5 * volume - 0.5 * x[0], 9.0 * volume + 9.0 * x[0])
            volume = np.clip(volume - step, -0.9 * self.vessel_mL, FARTHEST_mL)
            if np.all(np.abs(step) <= CONVERGED * (np.abs(volume) + abs(x[0]))):
                break
        return np.asarray(volume, dtype=np.float64)

    def _balance(
        self, volume: FloatArray, analyte: FloatArray, titrant: FloatArray, x: FloatArray, times: float
    ) -> tuple[FloatArray, FloatArray]:
        """(titrant used - analyte used, its slope in V), in mL of titrant; `times` the reduced form that is known."""
        whole, c_T = self.vessel_mL + volume, self.titrant_mol_per_L
        held = np.maximum(volume, 0.0)
        u = self.units[1]
        if self.oxidant:
            extra0 = times * self.reduced_vessel_mol_per_L * self.vessel_mL
            extra1 = times * self.reduced_titrant_mol_per_L
            total, rate = extra0 + (extra1 + u * c_T) * held, extra1 + u * c_T
            reduced, slope = _reduced(titrant, total, rate, whole, u)
            used, used_slope = (reduced - extra0 - extra1 * held) / (u * c_T), (slope - extra1) / (u * c_T)
        else:  # the signal is -E: a reductant's exponents are those of its reduced share
            reduced, slope = _reduced(-titrant, c_T * held, c_T, whole, u)
            used, used_slope = held - reduced / c_T, 1.0 - slope / c_T
        used = np.where(volume > 0.0, used, volume)
        used_slope = np.where(volume > 0.0, used_slope, 1.0)
        if self.units[0] == 1 or self.oxidant:
            share = 1.0 / (1.0 + bounded_exp(-analyte))
            return used - x[0] * ((1.0 + x[-1]) * share - x[-1]), used_slope
        units, per = self.units[0], self._analyte_per_titrant
        amount = x[0] * (1.0 + x[-1]) * c_T * per * units + times * self.reduced_vessel_mol_per_L * self.vessel_mL
        left, left_slope = _reduced(-analyte, np.full_like(volume, amount), 0.0, whole, units)
        oxidised, oxidised_slope = (amount - left) / units, -left_slope / units
        taken = x[0] * (1.0 + x[-1]) - oxidised / (per * c_T) - x[0] * x[-1]
        return used - taken, used_slope + oxidised_slope / (per * c_T)

    @property
    def _analyte_per_titrant(self) -> float:
        """Mol of the analyte's oxidised form that a mol of reductant uses up."""
        electrons = self.redox.electrons
        return electrons[1] / self.units[1] / electrons[0]


def _reduced(
    exponent: FloatArray, total: FloatArray, rate: float, whole_mL: FloatArray, units: int
) -> tuple[FloatArray, FloatArray]:
    """(amount of the reduced form, its slope in V) of `total` base units (mmol, rising by `rate` a mL) in `whole_mL`.

    The root r of u q r^u + r = C, q the exponential.
    """
    concentration = np.maximum(total, 1e-15) / whole_mL
    q = bounded_exp(exponent)
    if units == 1:
        r, per_c = concentration / (1.0 + q), 1.0 / (1.0 + q)
    elif units == 2:
        r = 2.0 * concentration / (1.0 + np.sqrt(1.0 + 8.0 * q * concentration))
        per_c = 1.0 / (1.0 + 4.0 * q * r)
    else:
        root = np.sqrt(q)
        r = 2.0 / (3.0 * root) * np.sinh(np.arcsinh(4.5 * concentration * root) / 3.0)
        per_c = 1.0 / (1.0 + 9.0 * q * r**2)
    return r * whole_mL, r + (rate - concentration) * per_c


def redox_curve(known: Known) -> RedoxCurve | AtomsCurve:
    """The model of a redox reaction; ValueError where several analytes meet couples of several atoms."""
    couples = known.couples[: known.points] + known.couples[-1:]
    slow = tuple(couple.slow for couple in couples)
    model = RedoxCurve(known.points, tuple(couple.electrons for couple in couples), slow)
    units = tuple(couple.units for couple in couples)
    if all(each == 1 for each in units):
        return model
    if known.points > 1:
        raise ValueError("one analyte expected beside couples of several atoms in one species")
    return AtomsCurve(
        model,
        known.reaction.rising,
        (units[0], units[-1]),
        known.vessel_mL,
        known.titrant_mol_per_L,
        known.reduced_mol_per_L,
        known.reduced_titrant_mol_per_L,
    )
