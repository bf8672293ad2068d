"""The fit of a whole curve: volume regressed on the signal, with the burette's own error.

Minimised is  sum (V_i - V(E_i))^2 / [sdV^2 + (D_i sdE_i)^2 + (0.005 d_i)^2] + sum ((x_k - prior_k)/sd_k)^2,
D the chord of V(E) over E ± 2 sdE (the local derivative would call a reading in mid-jump exact whatever its volume),
d the distance from the equivalence point, of which a model is believed to within half a per cent. The weights are
frozen within a solution and renewed between. An outlier loses weight as in Huber's estimator. The covariance is that of
the linearised problem; the interval is scaled by the misfit and widened by Student's t.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import least_squares

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.models import CurveModel, Start
from titrator.evaluate.student import student_quantile

MODEL_MISFIT = 0.005
"""A model's own error, relative to the distance from the equivalence point."""
HUBER_LIMIT = 3.0
"""Residuals beyond this many (scaled) standard deviations lose weight."""
PASSED_OVER = 0.5
"""A reading with less weight than that, twice that limit away, is passed over by a fit."""
ROUNDS = 8
"""Most renewals of the weights."""
STATED_DEGREES = 4.0
"""A small misfit may be luck: the stated uncertainties then count as so many degrees of freedom beside the residuals'.

A misfit above 1 counts by itself. With true stated uncertainties 96.8, 96.2 and 95.5 % of such intervals hold the truth
at 5, 8 and 15 degrees of freedom, with twice the stated ones 95.0 % (computed by us from normal deviates).
"""
NEAR_STEPS, NEAR_ENOUGH = 12, 1e-4
"""Most Gauss-Newton steps without a search, and the step, in joint standard deviations, that ends them."""
WORST_CONDITION = 1e13
"""Normal equations worse conditioned than this are singular for double precision."""


@dataclass(frozen=True, eq=False)
class FitData:
    """What a fit is made of: rising signal and its standard deviations, volumes and theirs; each of shape (n,).

    `sd_signal` holds the noise and the remainder; `remainder_bound` is what the readings may lack together, all in the
    same direction, which no number of readings averages out.
    """

    volume_mL: FloatArray
    signal: FloatArray
    sd_volume_mL: FloatArray
    sd_signal: FloatArray
    remainder_bound: FloatArray


@dataclass(frozen=True, eq=False)
class Fit:
    """A fit that converged.

    `x` (p,) and `covariance` (p, p) follow the model's parameters, the covariance unscaled. `scale` multiplies the
    standard uncertainties by the misfit, `scale_dof` are the degrees of freedom behind it. `u_lag_mL` is what the
    remainders of all readings together may have moved the equivalence volume (standard uncertainty). `residual` (n,)
    is in standard deviations, `weight` (n,) below 1 where a reading was taken for an outlier. `sensitivity` (n, p) are
    the weighted derivatives, `lag` (n,) what each reading may lack, in the same units (weighted standard deviations).
    """

    model: CurveModel
    x: FloatArray
    covariance: FloatArray
    scale: float
    scale_dof: float
    u_lag_mL: float
    residual: FloatArray
    weight: FloatArray
    misfit_mL: float
    sensitivity: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    lag: FloatArray = field(default_factory=lambda: np.zeros(0))

    @property
    def equivalence_volume_mL(self) -> float:
        """The equivalence volume in mL."""
        return float(self.x[0])

    @property
    def stated_u_mL(self) -> float:
        """Standard uncertainty of the equivalence volume in mL as the stated uncertainties give it (unscaled)."""
        return math.hypot(math.sqrt(self.covariance[0, 0]), self.u_lag_mL)

    @property
    def _scatter(self) -> tuple[float, float]:
        """(factor on the stated uncertainty, its degrees of freedom): the misfit's; see STATED_DEGREES."""
        if self.scale >= 1.0:
            return self.scale, self.scale_dof
        dof = STATED_DEGREES + self.scale_dof
        return math.sqrt((STATED_DEGREES + self.scale_dof * self.scale**2) / dof), dof

    @property
    def u_mL(self) -> float:
        """Standard uncertainty of the equivalence volume in mL: scatter as the residuals show it, and lag."""
        return math.hypot(self._scatter[0] * math.sqrt(self.covariance[0, 0]), self.u_lag_mL)

    @property
    def dof(self) -> float:
        """Degrees of freedom of `u_mL` (Welch and Satterthwaite; the lag's bound counts as known)."""
        scale, dof = self._scatter
        scatter = scale * math.sqrt(self.covariance[0, 0])
        return dof * (self.u_mL / scatter) ** 4 if scatter > 0.0 else math.inf

    @property
    def half_interval_mL(self) -> float:
        """Half the width of the 95 % interval in mL: Student's t times the standard uncertainty."""
        return student_quantile(0.975, self.dof) * self.u_mL


def _chord(model: CurveModel, x: FloatArray, data: FitData) -> FloatArray:
    """Return |dV/dE| as the chord over E ± 2 sdE, shape (n,)."""
    reach = 2.0 * np.maximum(data.sd_signal, 1e-9)
    rise = model.volume_mL(data.signal + reach, x) - model.volume_mL(data.signal - reach, x)
    return np.asarray(np.abs(rise) / (2.0 * reach), dtype=np.float64)


def standard_deviation_mL(
    model: CurveModel, x: FloatArray, data: FitData, model_error: float = MODEL_MISFIT
) -> FloatArray:
    """Return the standard deviation of V_i - V(E_i) under the error model, in mL, shape (n,)."""
    variance = data.sd_volume_mL**2 + (_chord(model, x, data) * data.sd_signal) ** 2
    return np.asarray(np.sqrt(variance + (model_error * model.distance_mL(data.signal, x)) ** 2), dtype=np.float64)


def _solve(
    start: Start, x: FloatArray, data: FitData, sd_mL: FloatArray, weight: FloatArray, *, near: bool
) -> FloatArray:
    """Return the parameters that minimise the weighted sum of squares with these weights; `near`: of those before."""
    known = np.isfinite(start.prior_sd)
    root = np.sqrt(weight) / sd_mL
    unit = np.where(known, start.prior_sd, np.maximum(np.abs(start.x) * 1e-2, 1e-6))

    def residuals(z: FloatArray) -> FloatArray:
        trial = z * unit
        data_part = (data.volume_mL - start.model.volume_mL(data.signal, trial)) * root
        prior_part = (trial - start.prior_mean)[known] / start.prior_sd[known]
        return np.concatenate([np.clip(data_part, -1e8, 1e8), prior_part])

    stepped = _stepped(start, x, data, root) if near else None
    if stepped is not None:
        return stepped
    margin = 1e-9 * (start.upper - start.lower)
    begin = np.clip(x, start.lower + margin, start.upper - margin) / unit
    solution = least_squares(
        residuals, begin, bounds=(start.lower / unit, start.upper / unit), x_scale="jac", max_nfev=60, method="trf"
    )
    return np.asarray(solution.x * unit, dtype=np.float64)


def _stepped(start: Start, x: FloatArray, data: FitData, root: FloatArray) -> FloatArray | None:
    """Return the minimum by a few Gauss-Newton steps where it lies near; None where a search must find it.

    The derivatives are those of the first step. Steps count as near as long as each lowers the sum of squares, stays
    within the bounds and is at most a third of the one before.
    """
    known, weight = np.isfinite(start.prior_sd), _prior_weight(start)

    def seen(trial: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        miss = (data.volume_mL - start.model.volume_mL(data.signal, trial)) * root
        off = np.where(known, trial - start.prior_mean, 0.0)
        return miss, weight * off, float(miss @ miss + np.sum(weight * off**2))

    jacobian = _jacobian(start, x, data) * root[:, None]
    information = _information(start, jacobian)
    inverse = _inverted(information)
    if inverse is None:
        return None
    (miss, pull, square), last = seen(x), math.inf
    for _ in range(NEAR_STEPS):
        step = inverse @ (jacobian.T @ miss - pull)
        size = math.sqrt(max(0.0, float(step @ information @ step)))
        trial = x + step
        if not size <= last / 3.0 or np.any(trial <= start.lower) or np.any(trial >= start.upper):
            return None
        miss, pull, now = seen(trial)
        if not now <= square * (1.0 + 1e-9) + 1e-12:
            return None
        x, square, last = trial, now, size
        if size < NEAR_ENOUGH:
            return x
    return None


def _prior_weight(start: Start) -> FloatArray:
    """Return 1/sd² of what is known beforehand of each parameter, 0 where nothing is."""
    return np.asarray(np.where(np.isfinite(start.prior_sd), start.prior_sd**-2.0, 0.0), dtype=np.float64)


def _information(start: Start, jacobian: FloatArray) -> FloatArray:
    """Return the matrix of the normal equations, shape (p, p), for weighted derivatives (n, p)."""
    return np.asarray(jacobian.T @ jacobian + np.diag(_prior_weight(start)), dtype=np.float64)


def _inverted(information: FloatArray) -> FloatArray | None:
    """Return its inverse, scaled on the way; None where it is singular for double precision."""
    unit = 1.0 / np.sqrt(np.maximum(np.diag(information), 1e-300))
    scaled = information * np.outer(unit, unit)
    if not np.all(np.isfinite(scaled)) or np.linalg.cond(scaled) > WORST_CONDITION:
        return None
    return np.asarray(np.linalg.inv(scaled) * np.outer(unit, unit), dtype=np.float64)


def _jacobian(start: Start, x: FloatArray, data: FitData) -> FloatArray:
    """Return dV(E_i)/dx_k by central differences, shape (n, p)."""
    scale = np.where(np.isfinite(start.prior_sd), start.prior_sd, np.maximum(np.abs(x) * 1e-2, 1e-6))
    columns = []
    for k, size in enumerate(scale):
        step = np.zeros_like(x)
        step[k] = 1e-4 * size
        rise = start.model.volume_mL(data.signal, x + step) - start.model.volume_mL(data.signal, x - step)
        columns.append(rise / (2.0 * step[k]))
    return np.stack(columns, axis=1)


def _robust_scale(residual: FloatArray) -> float:
    """Return 1.4826 times the median absolute residual, not below 1: what an outlier is measured by."""
    return max(1.0, 1.4826 * float(np.median(np.abs(residual))))


def fit(start: Start, data: FitData, first_sd_mL: FloatArray, model_error: float = MODEL_MISFIT) -> Fit | str:
    """Fit the model and return it, or the reason why there is no estimate.

    `first_sd_mL` (n,): weights of the first round, from the data's own chords (the start may be far off).
    `model_error`: what the model is believed to, relative to the distance from the equivalence point.
    """
    count, size = len(data.volume_mL), len(start.x)
    known = int(np.count_nonzero(np.isfinite(start.prior_sd)))
    if count + known <= size:
        return f"{size} parameters need more than the {count} readings there are"
    x, sd_mL, weight = start.x, first_sd_mL, np.ones(count)
    with np.errstate(all="ignore"):
        for turn in range(ROUNDS):
            try:
                found = _solve(start, x, data, sd_mL, weight, near=turn > 0)
            except (ValueError, np.linalg.LinAlgError) as error:
                return f"the fit met numbers it could not handle ({error})"
            moved = abs(found[0] - x[0])
            x = found
            sd_mL = standard_deviation_mL(start.model, x, data, model_error)
            residual = (data.volume_mL - start.model.volume_mL(data.signal, x)) / sd_mL
            size_of = np.abs(residual) / _robust_scale(residual)
            weight = np.minimum(1.0, HUBER_LIMIT / np.maximum(size_of, 1e-12))
            if turn >= 2 and moved < 1e-7 * max(1.0, abs(x[0])):
                break
        return _finished(start, x, data, sd_mL, weight)


def _finished(start: Start, x: FloatArray, data: FitData, sd_mL: FloatArray, weight: FloatArray) -> Fit | str:
    """Return covariance and scale at the solution, or the reason why there is none."""
    jacobian = _jacobian(start, x, data) * (np.sqrt(weight) / sd_mL)[:, None]
    inverse = _inverted(_information(start, jacobian))
    if inverse is None:
        return "the readings do not determine the parameters (singular normal equations)"
    if not np.all(np.isfinite(inverse)) or inverse[0, 0] <= 0.0:
        return "the readings do not determine the equivalence volume"
    edge = 1e-6 * (start.upper[0] - start.lower[0])
    if not start.lower[0] + edge < x[0] < start.upper[0] - edge:
        return "the fit ran to the end of the curve: its readings do not bracket an equivalence point"
    residual = (data.volume_mL - start.model.volume_mL(data.signal, x)) / sd_mL
    scale, dof = misfit_scale(inverse, jacobian, residual * np.sqrt(weight))
    lag = np.sqrt(weight) / sd_mL * _chord(start.model, x, data) * data.remainder_bound
    u_lag_mL = lag_of(inverse, jacobian, lag)
    misfit = float(np.sqrt(np.mean(weight * (residual * sd_mL) ** 2)))
    return Fit(start.model, x, inverse, scale, dof, u_lag_mL, residual, weight, misfit, jacobian, lag)


def lag_of(covariance: FloatArray, jacobian: FloatArray, lag: FloatArray, of: int = 0) -> float:
    """Return what the remainders of all readings together may have moved parameter `of` (standard uncertainty)."""
    return abs(float(np.sum((jacobian @ covariance[of]) * lag))) / math.sqrt(3.0)


def misfit_scale(
    covariance: FloatArray, jacobian: FloatArray, residual: FloatArray, of: int = 0
) -> tuple[float, float]:
    """Return the factor on the standard uncertainty of parameter `of` and the degrees of freedom behind it.

    Readings count as much as they move the equivalence volume, so that many good readings far from the jump cannot
    make the few that place it look better than they are (a variance of the sandwich form, with its leverages; degrees
    of freedom by Satterthwaite).
    """
    influence = (jacobian @ covariance[of]) ** 2
    leverage = np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian)
    share = influence * np.maximum(1.0 - leverage, 1e-3)
    total = float(np.sum(share))
    if total <= 0.0:
        return 1.0, 1.0
    dof = max(1.0, total**2 / float(np.sum(share**2)))
    square = float(np.sum(influence * residual**2)) / total
    return float(np.sqrt(square)), dof
