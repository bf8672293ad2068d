"""The fit of a whole curve with all its equivalence points, and what it says of each of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from titrator.evaluate.competing import data_sd_mL
from titrator.evaluate.curve import FloatArray
from titrator.evaluate.model_fit import Fit, FitData, fit, lag_of, misfit_scale, standard_deviation_mL
from titrator.evaluate.models import CurveModel, Start, start_of
from titrator.evaluate.whole_curve import Known, WholeCurve, volume_lines
from titrator.evaluate.whole_curve_acid_base import acid_base_curve
from titrator.evaluate.whole_curve_edta import edta_curve
from titrator.evaluate.whole_curve_redox import redox_curve
from titrator.evaluate.whole_curve_silver import silver_curve

SCAN, FINER = (-1.0, 1.0), (-2.0, -0.4, 0.4, 2.0)
"""Places at which a constant is tried before the fit, in prior standard deviations; the finer ones where one helped."""
MODEL_ERRORS = (0.0005, 0.001, 0.002, 0.005, 0.01)
"""A model's own error relative to the distance from the nearest point: the least that readings do not contradict."""
CONTRADICTED = 0.02
"""Chance below which a sum of squares is too large for the stated errors."""
FAR_RESIDUAL = 3.0
"""Residuals count no more than this many standard deviations in the search of a start."""


@dataclass(frozen=True, eq=False)
class Points:
    """The equivalence volumes of one fit: volumes (k,), their covariance (k, k) scaled by the misfit, both in mL.

    `each` are the same fits seen from each volume: u, degrees of freedom and interval as of `Fit`.
    """

    volume_mL: FloatArray
    covariance: FloatArray
    each: tuple[Fit, ...]

    def u_difference_mL(self, upper: int, lower: int) -> float:
        """Standard uncertainty of the volume between two points (counted from 0): their errors are not independent."""
        c = self.covariance
        return math.sqrt(max(0.0, c[upper, upper] + c[lower, lower] - 2.0 * c[upper, lower]))


@dataclass(frozen=True, slots=True)
class SeenFrom:
    """A model with its parameters in another order: `order` counts those of the model, the first one first."""

    model: CurveModel
    order: tuple[int, ...]

    @property
    def name(self) -> str:
        return self.model.name

    @property
    def parameters(self) -> tuple[str, ...]:
        return tuple(self.model.parameters[k] for k in self.order)

    @property
    def signal_parameters(self) -> frozenset[str]:
        return self.model.signal_parameters

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return self.model.volume_mL(signal, self._ordered(x))

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        return self.model.distance_mL(signal, self._ordered(x))

    def _ordered(self, x: FloatArray) -> FloatArray:
        back = np.empty_like(x)
        back[list(self.order)] = x
        return back


def start_seen_from(start: Start, of: int) -> Start:
    """The same start with the equivalence volume `of` (from 0) as its first parameter."""
    order = [of, *(k for k in range(len(start.x)) if k != of)]
    arrays = (start.x, start.lower, start.upper, start.prior_mean, start.prior_sd)
    return Start(SeenFrom(start.model, tuple(order)), *(each[order] for each in arrays))


def seen_from(found: Fit, of: int) -> Fit:
    """The same fit with the equivalence volume `of` (from 0) as its first parameter."""
    if of == 0:
        return found
    order = [of, *(k for k in range(len(found.x)) if k != of)]
    covariance = found.covariance[np.ix_(order, order)]
    sensitivity = found.sensitivity[:, order]
    scale, dof = misfit_scale(covariance, sensitivity, found.residual * np.sqrt(found.weight))
    return replace(
        found,
        model=SeenFrom(found.model, tuple(order)),
        x=found.x[order],
        covariance=covariance,
        sensitivity=sensitivity,
        scale=scale,
        scale_dof=dof,
        u_lag_mL=lag_of(covariance, sensitivity, found.lag),
    )


def points(found: Fit, count: int) -> Points:
    """The first `count` parameters of a fit as equivalence points."""
    each = tuple(seen_from(found, k) for k in range(count))
    scales = np.array([one.u_mL / math.sqrt(one.covariance[0, 0]) for one in each])
    covariance = found.covariance[:count, :count] * np.outer(scales, scales)
    return Points(np.array(found.x[:count]), covariance, each)


def whole_curve(known: Known) -> WholeCurve:
    """The model that serves the reaction. Raises ValueError for steps that it does not know."""
    if known.reaction.family == "redox":
        return redox_curve(known)
    if known.reaction.family == "acid-base":
        return acid_base_curve(known)
    return silver_curve(known) if known.reaction.family == "precipitation" else edta_curve(known)


def whole_start(known: Known, volume_mL: FloatArray, signal: FloatArray, guesses_mL: Sequence[float]) -> Start:
    """A start of the fit from guesses of the points (rising order) and from what is known; `signal` rises.

    Raises ValueError where the guesses are not as many as the points sought.
    """
    if len(guesses_mL) != known.points:
        raise ValueError(f"{known.points} guesses of equivalence volumes expected, {len(guesses_mL)} came")
    model = whole_curve(known)
    return start_of(model, [*volume_lines(volume_mL, sorted(guesses_mL)), *model.lines(known, signal)])


def fit_whole(known: Known, data: FitData, guesses_mL: Sequence[float]) -> tuple[Fit, Start] | str:
    """Fit the reaction's model with all points at once, or say why there is no estimate.

    `data` in order of volume, its signal rising (`Known.sign`); `guesses_mL` where derivatives saw the jumps.
    """
    begin = whole_start(known, data.volume_mL, data.signal, guesses_mL)
    first_sd = _first_sd_mL(data, guesses_mL)
    with np.errstate(all="ignore"):
        start = replace(begin, x=_scanned(begin, data, first_sd, known.points))
    found = _with_least_error(start, data, first_sd)
    if isinstance(found, str):
        return found
    for k in range(1, known.points):
        edge = 1e-6 * (start.upper[k] - start.lower[k])
        if not start.lower[k] + edge < found.x[k] < start.upper[k] - edge:
            return f"the fit ran to the end of the stretch of point {k + 1}: its readings do not bracket it"
        if not found.covariance[k, k] > 0.0:
            return f"the readings do not determine the equivalence volume of point {k + 1}"
    return found, start


def _with_least_error(start: Start, data: FitData, first_sd_mL: FloatArray) -> Fit | str:
    """The fit with the least error of the model that the readings do not contradict, or with the largest.

    Which error that will be is read from the residuals of the fit before, so that few fits are made.
    """
    free = max(1, len(data.volume_mL) - len(start.x) + int(np.count_nonzero(np.isfinite(start.prior_sd))) // 2)
    most = float(chi2.isf(CONTRADICTED, free))
    found: Fit | str = "no fit was made"
    rung = 0
    while rung < len(MODEL_ERRORS):
        now = fit(start, data, first_sd_mL, MODEL_ERRORS[rung])
        if isinstance(now, str):
            found, rung = (now if isinstance(found, str) else found), rung + 1
            continue
        found, start = now, replace(start, x=now.x)
        miss = data.volume_mL - now.model.volume_mL(data.signal, now.x)
        squares = [_square(now, data, miss, error) for error in MODEL_ERRORS[rung:]]
        if squares[0] <= most:
            break
        rung += max(1, next((k for k, square in enumerate(squares) if square <= most), len(squares) - 1))
    return found


def _square(found: Fit, data: FitData, miss_mL: FloatArray, model_error: float) -> float:
    """Weighted sum of squares of the residuals under another error of the model."""
    sd_mL = standard_deviation_mL(found.model, found.x, data, model_error)
    return float(np.sum(found.weight * (miss_mL / sd_mL) ** 2))


def _first_sd_mL(data: FitData, guesses_mL: Sequence[float]) -> FloatArray:
    """Weights of the first round: by the data's own chords, the nearest guess being the point."""
    each = [data_sd_mL(data, guess) for guess in guesses_mL]
    return np.asarray(np.min(np.stack(each), axis=0), dtype=np.float64)


def _scanned(start: Start, data: FitData, sd_mL: FloatArray, points: int) -> FloatArray:
    """The start with each constant moved to where the readings like it best, one after the other, twice over."""
    model: WholeCurve = start.model  # type: ignore[assignment]
    x = start.x.copy()
    least = np.maximum(sd_mL, 1e-3 * float(np.ptp(data.volume_mL)))

    def cost(trial: FloatArray) -> float:
        residual = (data.volume_mL - model.volume_mL(data.signal, trial)) / least
        prior = (trial - start.prior_mean)[points:] / start.prior_sd[points:]
        value = float(np.sum(np.minimum(residual**2, FAR_RESIDUAL**2)) + np.sum(prior**2))
        return value if math.isfinite(value) else math.inf

    best = cost(x)
    for _ in range(2):
        for k in range(points, len(x)):
            here, before = x[k], best
            for step in (*SCAN, *FINER):
                if step == FINER[0] and best == before:
                    break
                trial = x.copy()
                trial[k] = min(max(here + step * start.prior_sd[k], start.lower[k]), start.upper[k])
                value = cost(trial)
                if value < best:
                    best, x = value, trial
    return x
