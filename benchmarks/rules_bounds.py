"""Bounds of an equivalence volume: Cramér and Rao's for given readings, and the least one for so many readings.

The information of readings at the volumes V_i is  sum g gᵀ / (sdV² + (V'(E) sdE)²) + priors,  with g the derivatives of
V(E) to the equivalence volumes and to the constants of the curve, which have the weak priors of the evaluation. The
curve is the true one of a simulated cell: the model of the evaluation, its constants fitted to noiseless readings of
the cell at rest.

The least bound of N readings is minimised over their places, which keep GAP_mL. `Located`: three places before each
point are given, because something must find the jump first; the other N less three (two points: N less six) are free.
With two points the sum of both variances is minimised.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from random import Random

import numpy as np
from rules_cases import Case, Files, files

from titrator.evaluate import model_fit
from titrator.evaluate.model_fit import FitData
from titrator.evaluate.models import Start
from titrator.evaluate.whole_fit import fit_whole
from titrator.run.course import rig_fields
from titrator.run.expectations import expectation_of

BURETTE_mL = 0.001
READING_mV = 0.08
GAP_mL = 0.004
LOCATED_mL = (-1.6, -0.2, -0.025)
"""Three places that are given, from the equivalence volume. Volumes, the same for every cell."""
REST_S = 1e6
STARTS = 30
NEAR_TO_FAR = (math.log(0.002), math.log(12.0))
"""ln of mL between which a start places its readings, on either side of a point."""
SWEEPS = 40
CENTRAL_SEEDS = 5
"""The least bound of a cell is the root mean square of those of so many draws."""

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class TrueCurve:
    """A curve as the evaluation models it: `points` equivalence volumes first among the parameters `x`.

    `volume_mL` and `signal` (rising) tabulate it; `misfit_mL` is the largest distance of the cell's own readings within
    0.3 mL of a point from it.
    """

    start: Start
    x: Array
    points: int
    volume_mL: Array
    signal: Array
    misfit_mL: float = 0.0

    @property
    def points_mL(self) -> Array:
        """The equivalence volumes."""
        return self.x[: self.points]

    def at(self, volume_mL: Array) -> Array:
        """The rising signal at volumes."""
        return np.interp(volume_mL, self.volume_mL, self.signal)

    def gradient(self, signal: Array) -> Array:
        """dV/dx at a given signal, shape (n, p)."""
        return model_fit._jacobian(self.start, self.x, _data(signal, signal))

    def inverse_slope(self, signal: Array, reach_mV: Array | float) -> Array:
        """|dV/dE| in mL/mV as the chord over ± `reach_mV`."""
        model = self.start.model
        rise = model.volume_mL(signal + reach_mV, self.x) - model.volume_mL(signal - reach_mV, self.x)
        return np.abs(rise) / (2.0 * reach_mV)

    @property
    def prior(self) -> Array:
        """Information that is there beforehand, shape (p, p)."""
        return np.diag(np.where(np.isfinite(self.start.prior_sd), self.start.prior_sd**-2.0, 0.0))


def _data(volume_mL: Array, signal: Array) -> FitData:
    some = np.zeros(len(volume_mL))
    return FitData(volume_mL, signal, some + BURETTE_mL, some + READING_mV, some)


def tabulated(start: Start, x: Array, points: int, ends: tuple[float, float], misfit_mL: float = 0.0) -> TrueCurve:
    """The curve of a model between two signals."""
    low, high = ends
    signal = np.linspace(low, high, 20 * max(400, round(high - low)) + 1)
    volume_mL = start.model.volume_mL(signal, x)
    rises = np.maximum.accumulate(volume_mL)
    return TrueCurve(start, x, points, rises, signal, misfit_mL)


def places_mL(points_mL: Sequence[float], most_mL: float) -> Array:
    """Volumes about equivalence points, dense near them, from a hundredth of the first to `most_mL`."""
    reach = np.concatenate([np.arange(0.0, 0.06, 0.0005), np.geomspace(0.06, most_mL, 220)])
    around = np.concatenate([point_mL + side * reach for point_mL in points_mL for side in (-1.0, 1.0)])
    return np.unique(around[(around > 0.01 * points_mL[0]) & (around < most_mL)])


def exact_signal(told: Files, seed: int, volume_mL: Array) -> Array:
    """Potentials of the cell of a seed at rest at rising volumes as *indicated*, in mV, without noise and drift.

    A burette without error: what is delivered is what is indicated.
    """
    cell, _ = told.drawn(seed)
    cell.surroundings.air = 0.0
    potentials = []
    for place_mL in volume_mL:
        for _ in range(2):  # mixed by the end of the first, come to rest by the end of the second
            cell.advance(cell.t_s + REST_S, float(place_mL))
        potentials.append(cell.electrode.read_mV(0.0))
    return np.array(potentials)


@cache
def true_curve(case: Case, seed: int) -> TrueCurve:
    """The curve of a seed of a case, in mL as delivered. ArithmeticError where no model describes it."""
    told = files(case)
    known = expectation_of(told.method, rig_fields(told.rig)["burette"]).known
    assert known is not None
    points_mL = told.drawn(seed)[1].equivalence_points_delivered_mL[: told.points]
    most_mL = told.method.ends_when.volume_above_mL
    volume_mL = places_mL(points_mL, most_mL)[::4]
    signal = known.sign * exact_signal(told, seed, volume_mL)
    found = fit_whole(known, _data(volume_mL, signal), points_mL)
    if isinstance(found, str):  # the reason why there is no fit
        raise ArithmeticError(  # noqa: TRY004
            f"{case.name}, seed {seed}: expected a model of its noiseless curve, got none: {found}"
        )
    fit, start = found
    near = np.min(np.abs(volume_mL[:, None] - np.array(points_mL)), axis=1) < 0.3
    misfit_mL = float(np.max(np.abs(start.model.volume_mL(signal, fit.x) - volume_mL)[near]))
    return tabulated(start, fit.x, told.points, (float(signal[0]), float(signal[-1])), misfit_mL)


def deviations_mL(information: Array, points: int) -> Array:
    """Standard deviations of the first `points` parameters under an information matrix, in mL."""
    unit = 1.0 / np.sqrt(np.diag(information))
    inverse = np.linalg.inv(information * np.outer(unit, unit)) * np.outer(unit, unit)
    return np.sqrt(np.diag(inverse)[:points])


def cramer_rao_mL(curve: TrueCurve, volume_mL: Array, sd_mV: Array, burette_mL: float = BURETTE_mL) -> Array:
    """The bound of each equivalence volume for readings at volumes, with their standard deviations, in mL."""
    signal = curve.at(volume_mL)
    variance = burette_mL**2 + (curve.inverse_slope(signal, 2.0 * sd_mV) * sd_mV) ** 2
    g = curve.gradient(signal) / np.sqrt(variance)[:, None]
    return deviations_mL(g.T @ g + curve.prior, curve.points)


@dataclass(frozen=True, eq=False)
class Design:
    """Where N readings tell most: places in mL from the curve's beginning, and the bound of each point in mL."""

    places_mL: Array
    bounds_mL: Array


def least_bound(
    curve: TrueCurve, count: int, located_mL: Sequence[float] = LOCATED_mL, *, most_mL: float = 24.5
) -> Design:
    """The least bound of `count` readings, those at `located_mL` before each point among them.

    Places are exchanged one by one for the best of a fine grid until none moves, from STARTS starts.
    """
    grid_mL = places_mL(curve.points_mL, most_mL)
    given_mL = [point_mL + each for point_mL in curve.points_mL for each in located_mL]
    free = count - len(given_mL)
    if free < len(curve.points_mL):
        raise ValueError(f"{len(given_mL)} places are given: at least one more for each point expected, {count} came")
    weighed = _weighed(curve)
    given, candidates = weighed(np.array(given_mL)), weighed(grid_mL)
    fixed = given.T @ given + curve.prior
    # In units in which the matrices are well conditioned.
    unit = 1.0 / np.sqrt(np.diag(fixed + candidates.T @ candidates))
    search = _Search(grid_mL, candidates * unit, fixed * np.outer(unit, unit), given_mL, unit[: curve.points] ** 2)
    random = Random(f"least bound/{count}")
    best = min((search.run(random, free, curve.points_mL) for _ in range(STARTS)), key=lambda each: each[0])
    taken = candidates[best[1]]
    bounds = deviations_mL(fixed + taken.T @ taken, curve.points)
    return Design(np.sort(np.concatenate([given_mL, grid_mL[best[1]]])), bounds)


def _weighed(curve: TrueCurve) -> Callable[[Array], Array]:
    def weighed(volume_mL: Array) -> Array:
        signal = curve.at(volume_mL)
        slope = curve.inverse_slope(signal, 0.01)
        return curve.gradient(signal) / np.sqrt(BURETTE_mL**2 + (slope * READING_mV) ** 2)[:, None]

    return weighed


class _Search:
    """Exchange of places on a grid; `rows` are their weighted gradients, `worth` turns scaled variances into mL²."""

    def __init__(self, grid_mL: Array, rows: Array, fixed: Array, given_mL: Sequence[float], worth: Array) -> None:
        self._grid_mL, self._rows, self._fixed, self._worth = grid_mL, rows, fixed, worth
        self._given_mL = given_mL

    def run(self, random: Random, free: int, points_mL: Array) -> tuple[float, list[int]]:
        """(sum of variances, rows taken) from one random start about the points."""
        taken: list[int] = []
        while len(taken) < free:
            away_mL = random.choice((-1.0, 1.0)) * math.exp(random.uniform(*NEAR_TO_FAR))
            aim_mL = points_mL[len(taken) % len(points_mL)] + away_mL
            allowed = np.flatnonzero(self._allowed(taken))
            taken.append(int(allowed[np.argmin(np.abs(self._grid_mL[allowed] - aim_mL))]))
        last = np.inf
        for _ in range(SWEEPS):
            for k in range(free):
                others = taken[:k] + taken[k + 1 :]
                variances = self._with_each(others)
                variances[~self._allowed(others)] = np.inf
                taken[k] = int(np.argmin(variances))
                value = float(variances[taken[k]])
            if value > last * (1.0 - 1e-6):
                break
            last = value
        return value, taken

    def _allowed(self, taken: Sequence[int]) -> Array:
        apart = np.ones(len(self._grid_mL), dtype=bool)
        for at_mL in (*self._given_mL, *self._grid_mL[list(taken)]):
            apart &= np.abs(self._grid_mL - at_mL) >= GAP_mL - 1e-9
        return apart

    def _with_each(self, others: Sequence[int]) -> Array:
        """Sum of the variances with each candidate joined (Sherman and Morrison)."""
        rows = self._rows[list(others)]
        inverse = np.linalg.inv(self._fixed + rows.T @ rows)
        moved = self._rows @ inverse
        gain = 1.0 + np.einsum("ij,ij->i", moved, self._rows)
        k = len(self._worth)
        after = np.diag(inverse)[:k] - moved[:, :k] ** 2 / gain[:, None]
        return after @ self._worth


@cache
def located_bound_mL(case: Case, count: int) -> tuple[float, ...]:
    """Bloc of a case: the least bound of each point for so many readings, root mean square over some draws."""
    each = [least_bound(true_curve(case, seed), count).bounds_mL for seed in range(1, CENTRAL_SEEDS + 1)]
    return tuple(np.sqrt(np.mean(np.square(each), axis=0)))
