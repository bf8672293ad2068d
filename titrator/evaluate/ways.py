"""The ways of placing one equivalence point, side by side, and which of them is reported."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from titrator.evaluate.competing import GOOD_MISFIT, Fitted, best_fit
from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.derivative import first_derivative, grouped, largest_slope
from titrator.evaluate.evaluation import EquivalencePoint, FitParameter, FittedModel, FoundBy, Way, with_calibration
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.jump import Jump
from titrator.evaluate.model_fit import HUBER_LIMIT, FitData
from titrator.evaluate.second_derivative import Zero, zero_of_second_derivative

GAP_SHARE = 0.8
"""The intervals that hold this share of a jump's rise are its gap; with one reading or none in it, it is coarse."""
AGREEMENT = 2.5
"""Ways further apart than this many times their combined standard uncertainty disagree."""


@dataclass(frozen=True, eq=False)
class Stretch:
    """The part of a curve that belongs to one jump: rising signal at rising volumes (arrays of shape (n,)).

    `jump` counts its readings within the stretch, `number` is that of the equivalence point, from 1.
    """

    data: FitData
    jump: Jump
    number: int
    sign: int
    unit: SignalUnit
    bare: int
    """How many readings at its beginning stand at zero titrant: without weight in a fit."""


@dataclass(frozen=True, slots=True)
class Placed:
    """One equivalence point with everything that was said about it."""

    point: EquivalencePoint
    ways: tuple[Way, ...]
    model: FittedModel | None
    warnings: tuple[str, ...]


def gap_of(stretch: Stretch) -> tuple[float, float, int]:
    """Return the volumes between which most of the rise lies, and how many readings stand inside."""
    signal, volume, jump = stretch.data.signal, stretch.data.volume_mL, stretch.jump
    left, right = jump.steepest, jump.steepest + 1
    whole = signal[jump.behind] - signal[jump.before]
    while signal[right] - signal[left] < GAP_SHARE * whole and (left > jump.before or right < jump.behind):
        below = signal[left] - signal[left - 1] if left > jump.before else -np.inf
        above = signal[right + 1] - signal[right] if right < jump.behind else -np.inf
        left, right = (left - 1, right) if below >= above else (left, right + 1)
    return float(volume[left]), float(volume[right]), right - left - 1


def _derivative_ways(stretch: Stretch) -> tuple[tuple[float, float], Zero | str]:
    """Return the place of the steepest secant with its u, and the zero of the second derivative or its reason."""
    data, jump = stretch.data, stretch.jump
    size = 1 if jump.spread <= 3 else jump.spread // 2
    volume, signal = grouped(data.volume_mL, size), grouped(data.signal, size)
    sd = grouped(data.sd_signal, size) / math.sqrt(size)
    derivative = first_derivative(volume, signal, sd)
    first, last = jump.before // size, max(jump.before // size, min(jump.behind // size, len(volume) - 1) - 1)
    steepest = first + int(np.argmax(derivative.slope[first : last + 1]))
    sd_volume = float(np.median(data.sd_volume_mL)) / math.sqrt(size)
    zero = zero_of_second_derivative(derivative, steepest, sd, sd_volume)
    return largest_slope(derivative, first, last), zero


def _described(fitted: Fitted, stretch: Stretch, used: FloatArray) -> FittedModel | None:
    """Return the fit for people: signs of a falling curve restored, expected values beside the found ones."""
    if fitted.fit is None or fitted.start is None:
        return None
    fit, start = fitted.fit, fitted.start
    parameters = []
    for k, name in enumerate(fit.model.parameters):
        sign = stretch.sign if name in fit.model.signal_parameters else 1
        known = bool(np.isfinite(start.prior_sd[k]))
        parameters.append(
            FitParameter(
                name,
                sign * float(fit.x[k]),
                fit.scale * math.sqrt(max(0.0, float(fit.covariance[k, k]))),
                sign * float(start.prior_mean[k]) if known else None,
                float(start.prior_sd[k]) if known else None,
            )
        )
    stray = np.flatnonzero(fit.weight < 0.5)
    outliers = tuple(float(used[k]) for k in stray)
    return FittedModel(fit.model.name, stretch.number, tuple(parameters), fitted.misfit, outliers)


def _signal_at(fitted: Fitted, stretch: Stretch, volume_mL: float) -> float:
    """Return the rising signal at a volume: by the model where there is one, else between the readings."""
    data = stretch.data
    between = float(np.interp(volume_mL, data.volume_mL, data.signal))
    if fitted.fit is None:
        return between
    model, x = fitted.fit.model, fitted.fit.x

    def lacking(signal: float) -> float:
        return float(model.volume_mL(np.array([signal]), x)[0]) - volume_mL

    low, high = float(np.min(data.signal)), float(np.max(data.signal))
    try:
        return float(brentq(lacking, low, high))
    except ValueError:
        return between


def _reported(
    stretch: Stretch, fitted: Fitted, zero: Zero | str, steep: tuple[float, float], known_model: bool
) -> tuple[FoundBy, float, float, float, tuple[float, float], list[str]]:
    """Return way, volume, u, degrees of freedom, interval and warnings of the value to report."""
    low, high, inside = gap_of(stretch)
    fit = fitted.fit
    good = (
        fit is not None
        and fitted.misfit <= GOOD_MISFIT
        and low - 0.5 * (high - low) <= fit.x[0] <= high + 0.5 * (high - low)
    )
    warnings: list[str] = []
    if inside <= 1:
        warnings.append(
            f"coarse: {'one reading lies' if inside else 'no reading lies'} on the jump between {low:g} and "
            f"{high:g} mL; smaller additions there would place the equivalence point better"
        )
    if fit is not None and good and (inside > 1 or known_model):
        value, u = fit.equivalence_volume_mL, math.hypot(fit.u_mL, fitted.u_choice_mL)
        half = fit.half_interval_mL * u / fit.u_mL
        return "model-fit", value, u, fit.dof, (value - half, value + half), warnings
    if fit is not None and not good and inside > 1:
        warnings.append(
            f"the model ({fit.model.name}) does not describe the curve: its residuals are {fitted.misfit:.1f} times as "
            "large as the readings' own uncertainty; the point is placed by derivatives"
        )
    way: FoundBy
    if fit is not None and good and low <= fit.x[0] <= high:
        way, value, u = "model-fit", fit.equivalence_volume_mL, fit.u_mL
    elif isinstance(zero, Zero) and low <= zero.volume_mL <= high:
        way, value, u = "second-derivative", zero.volume_mL, zero.u_mL
    elif low <= steep[0] <= high:
        way, value, u = "first-derivative", steep[0], steep[1]
    else:
        way, value, u = "bracket", (low + high) / 2.0, (high - low) / math.sqrt(12.0)
    interval = (value - 2.0 * u, value + 2.0 * u)
    if inside <= 1:
        u = max(u, (high - low) / math.sqrt(12.0))
        interval = (min(low, value), max(high, value))
    return way, value, u, math.inf, interval, warnings


def _disagreement(ways: list[Way]) -> list[str]:
    """Return a warning for every pair of ways that differ beyond their uncertainties."""
    told = [(way.name, way.volume_mL, way.u_mL) for way in ways if way.volume_mL is not None and way.u_mL is not None]
    warnings = []
    for k, (name, volume, u) in enumerate(told):
        for other, other_volume, other_u in told[k + 1 :]:
            if abs(volume - other_volume) > AGREEMENT * math.hypot(u, other_u):
                warnings.append(
                    f"{name} ({volume:.4f} mL, u {u:.4f}) and {other} ({other_volume:.4f} mL, u {other_u:.4f}) "
                    "disagree beyond their uncertainties"
                )
    return warnings


def place(stretch: Stretch, expectation: Expectation) -> Placed:
    """Place the equivalence point of one jump by every way and say which is reported and why."""
    data = stretch.data
    steep, zero = _derivative_ways(stretch)
    jump_mL = zero.volume_mL if isinstance(zero, Zero) else steep[0]
    fitted_rows = slice(stretch.bare, None)
    used = FitData(*(getattr(data, name)[fitted_rows] for name in FitData.__dataclass_fields__))
    fitted = best_fit(used, jump_mL, stretch.unit, expectation)
    way, value, u, dof, interval, warnings = _reported(stretch, fitted, zero, steep, expectation.model is not None)
    ways = [
        Way("model-fit", stretch.number, fitted.fit.equivalence_volume_mL, fitted.fit.u_mL)
        if fitted.fit is not None
        else Way("model-fit", stretch.number, reason=fitted.reason),
        Way("second-derivative", stretch.number, zero.volume_mL, zero.u_mL)
        if isinstance(zero, Zero)
        else Way("second-derivative", stretch.number, reason=zero),
        Way("first-derivative", stretch.number, steep[0], float(steep[1])),
    ]
    point = EquivalencePoint(
        volume_mL=value,
        u_random_mL=float(u),
        dof=dof,
        interval_95_mL=(float(interval[0]), float(interval[1])),
        signal=stretch.sign * _signal_at(fitted if way == "model-fit" else Fitted(None, None), stretch, value),
        signal_unit=stretch.unit,
        found_by=way,
        u_mL=with_calibration(float(u), value, expectation.calibration_half_width),
    )
    model = _described(fitted, stretch, used.volume_mL)
    if model is not None and model.outliers_mL and way == "model-fit":
        places = ", ".join(f"{each:g}" for each in model.outliers_mL)
        warnings.append(
            f"readings at {places} mL lie more than {2 * HUBER_LIMIT:g} standard deviations off the model: "
            "they were given less weight"
        )
    return Placed(point, tuple(ways), model, (*warnings, *_disagreement(ways)))
