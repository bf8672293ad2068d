"""The ways of placing one equivalence point, side by side, and which of them is reported."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from titrator.evaluate.choice import Choice, Stretch, choose
from titrator.evaluate.competing import Fitted, best_fit
from titrator.evaluate.curve import FloatArray
from titrator.evaluate.derivative import first_derivative, grouped, largest_slope
from titrator.evaluate.diagnostics import Diagnostic, of_fit
from titrator.evaluate.evaluation import EquivalencePoint, FitParameter, FittedModel, Way, with_calibration
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.gran_way import gran_way
from titrator.evaluate.inflection_said import PointInflection, inflection_beside
from titrator.evaluate.model_fit import HUBER_LIMIT, PASSED_OVER, FitData
from titrator.evaluate.second_derivative import Zero, zero_of_second_derivative
from titrator.evaluate.smooth_derivative import inflection, largest_smooth, smooth_derivative, steepest_reading

LINE_READINGS = 600
"""How many points of a fitted curve are kept for drawing."""
AGREEMENT = 2.5
"""Ways further apart than this many times their combined standard uncertainty disagree."""

LINES_AGREE = 4.0
"""Gran's lines further from the reported value than this many combined standard uncertainties are worth a sentence."""
LEAST, LEAST_SLOW = 0.5, 0.25
"""Shares of its Nernst slope that the branch before a jump shows at least, and that of a slow couple."""


@dataclass(frozen=True, slots=True)
class Placed:
    """One equivalence point with everything that was said about it; `doubt` where it can only be an estimate."""

    point: EquivalencePoint
    ways: tuple[Way, ...]
    model: FittedModel | None
    warnings: tuple[str, ...]
    doubt: str = ""
    diagnostics: tuple[Diagnostic, ...] = ()
    inflection: PointInflection | None = None

    def numbered(self, number: int) -> Placed:
        """Return the same with another number of the point."""
        model = None if self.model is None else replace(self.model, point=number)
        return replace(
            self,
            ways=tuple(replace(way, point=number) for way in self.ways),
            model=model,
            diagnostics=tuple(replace(each, point=number) for each in self.diagnostics),
            inflection=None if self.inflection is None else replace(self.inflection, point=number),
        )


def _derivative_ways(stretch: Stretch, stated_sd_mL: float | None) -> tuple[tuple[float, float], Zero | str]:
    """Return the place of the steepest secant with its u, and the zero of the second derivative or its reason.

    `stated_sd_mL`: what the volumes are uncertain by, where somebody states it. Readings a few times that apart leave
    open which secant is the steepest, and so where the second derivative is to be looked at.
    """
    data, jump = stretch.data, stretch.jump
    size = 1 if jump.spread <= 3 else jump.spread // 2
    volume, signal = grouped(data.volume_mL, size), grouped(data.signal, size)
    sd = grouped(data.sd_signal, size) / math.sqrt(size)
    bound = grouped(data.remainder_bound, size)
    derivative = first_derivative(volume, signal, sd)
    certain = replace(derivative, slope=derivative.slope - (bound[1:] + bound[:-1]) / derivative.width_mL)
    first, last = jump.before // size, max(jump.before // size, min(jump.behind // size, len(volume) - 1) - 1)
    steepest = first + int(np.argmax(certain.slope[first : last + 1]))
    sd_volume = float(np.median(data.sd_volume_mL)) / math.sqrt(size)
    zero = zero_of_second_derivative(derivative, steepest, sd, sd_volume)
    if size > 1 and np.all(data.remainder_bound <= data.sd_signal):
        return _smoothed_ways(stretch, zero)
    steep = largest_slope(certain, first, last, stated_sd_mL or 0.0)
    if stated_sd_mL is not None and isinstance(zero, Zero):
        zero = Zero(zero.volume_mL, max(zero.u_mL, steep[1]))
    return steep, zero


def _smoothed_ways(stretch: Stretch, zero: Zero | str) -> tuple[tuple[float, float], Zero | str]:
    """Return the same of a jump that only many intervals together show: by local polynomials.

    Of the two zeros of the second derivative the more certain one is taken.
    """
    data, jump = stretch.data, stretch.jump
    derivative = smooth_derivative(data.volume_mL, data.signal, data.sd_signal)
    steepest = steepest_reading(derivative, jump.before, jump.behind)
    sd = np.hypot(data.sd_signal, derivative.slope * data.sd_volume_mL)
    turn = inflection(data.volume_mL, data.signal, sd, steepest, jump.behind - jump.before + 1)
    if turn is not None and not (isinstance(zero, Zero) and zero.u_mL <= turn[1]):
        zero = Zero(*turn)
    return largest_smooth(derivative, jump.before, jump.behind), zero


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
                max(1.0, fit.scale) * math.sqrt(max(0.0, float(fit.covariance[k, k]))),
                sign * float(start.prior_mean[k]) if known else None,
                float(start.prior_sd[k]) if known else None,
            )
        )
    stray = np.flatnonzero(fit.weight < PASSED_OVER)
    outliers = tuple(float(used[k]) for k in stray)
    signal = np.linspace(np.min(stretch.data.signal), np.max(stretch.data.signal), LINE_READINGS)
    volume = fit.model.volume_mL(signal, fit.x)
    shown = (volume >= stretch.data.volume_mL[0]) & (volume <= stretch.data.volume_mL[-1])
    line = tuple(zip(volume[shown].tolist(), (stretch.sign * signal[shown]).tolist(), strict=True))
    return FittedModel(fit.model.name, stretch.number, tuple(parameters), fitted.misfit, outliers, line)


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


def _lines_elsewhere(gran: Way, chosen: Choice) -> list[str]:
    """Return a warning where Gran's lines meet away from the reported value."""
    if gran.volume_mL is None or gran.u_mL is None:
        return []
    if abs(gran.volume_mL - chosen.volume_mL) <= LINES_AGREE * math.hypot(gran.u_mL, chosen.u_mL):
        return []
    told = (
        f"Gran's lines meet at {gran.volume_mL:.4f} mL (u {gran.u_mL:.4f}), away from the {chosen.volume_mL:.4f} mL "
        "reported: a side reaction on one of the branches, or readings at the jump that had not settled"
    )
    return [told]


def _with_what_is_left_out(chosen: Choice, half_width: float) -> Choice:
    """Return the value with what its model leaves out, as a relative half width, in its uncertainty and interval."""
    if not half_width:
        return chosen
    u = math.hypot(chosen.u_mL, chosen.volume_mL * half_width / math.sqrt(3.0))
    low, high = (chosen.volume_mL + (end - chosen.volume_mL) * u / chosen.u_mL for end in chosen.interval_95_mL)
    return replace(chosen, u_mL=u, interval_95_mL=(low, high))


def _least_before(expectation: Expectation, unit: str) -> float | None:
    """Return what the branch before a jump changes by at least for each e-fold of what is left (mV), or None."""
    if expectation.slope_mV is None or unit != "mV" or expectation.model in (None, "exchange"):
        return None
    electrons = expectation.analyte_electrons if expectation.model == "redox" else 1
    return (LEAST_SLOW if expectation.own_slopes else LEAST) * expectation.slope_mV / electrons


def _left_out(stretch: Stretch, expectation: Expectation, *, whole: bool) -> float:
    """Return what the model in use leaves out at this point, as a relative half width."""
    if not whole or expectation.known is None:
        return expectation.left_out_half_width
    left_out = expectation.known.left_out
    return left_out[stretch.number - 1] if stretch.number <= len(left_out) else 0.0


def place(stretch: Stretch, expectation: Expectation, whole: Fitted | None = None, start_mL: float = 0.0) -> Placed:
    """Place the equivalence point of one jump by every way and say which is reported and why.

    `whole`: what a fit of the whole curve says of this point, where there is one; else the jump is fitted by itself.
    `start_mL`: the equivalence point before this one.
    """
    data = stretch.data
    steep, zero = _derivative_ways(stretch, expectation.sd_volume_mL)
    jump_mL = zero.volume_mL if isinstance(zero, Zero) else steep[0]
    fitted_rows = slice(stretch.bare, None)
    used = FitData(*(getattr(data, name)[fitted_rows] for name in FitData.__dataclass_fields__))
    fitted = best_fit(used, jump_mL, stretch.unit, expectation) if whole is None else whole
    least = _least_before(expectation, stretch.unit)
    chosen = choose(stretch, fitted, zero, steep, stated=expectation.model is not None, before_at_least=least)
    chosen = _with_what_is_left_out(chosen, _left_out(stretch, expectation, whole=whole is not None))
    by_fit = chosen.way == "model-fit"
    ways = [
        Way("model-fit", stretch.number, fitted.fit.equivalence_volume_mL, fitted.fit.u_mL)
        if fitted.fit is not None
        else Way("model-fit", stretch.number, reason=fitted.reason),
        Way("second-derivative", stretch.number, zero.volume_mL, zero.u_mL)
        if isinstance(zero, Zero)
        else Way("second-derivative", stretch.number, reason=zero),
        Way("first-derivative", stretch.number, steep[0], float(steep[1])),
    ]
    gran = gran_way(stretch, expectation, start_mL, chosen.volume_mL)
    point = EquivalencePoint(
        volume_mL=chosen.volume_mL,
        u_random_mL=float(chosen.u_mL),
        dof=chosen.dof,
        interval_95_mL=(float(chosen.interval_95_mL[0]), float(chosen.interval_95_mL[1])),
        signal=stretch.sign * _signal_at(fitted if by_fit else Fitted(None, None), stretch, chosen.volume_mL),
        signal_unit=stretch.unit,
        found_by=chosen.way,
        u_mL=with_calibration(float(chosen.u_mL), chosen.volume_mL, expectation.calibration_half_width),
    )
    model = _described(fitted, stretch, used.volume_mL)
    warnings = list(chosen.warnings)
    if model is not None and model.outliers_mL and by_fit:
        places = ", ".join(f"{each:g}" for each in model.outliers_mL)
        warnings.append(
            f"readings at {places} mL lie more than {HUBER_LIMIT / PASSED_OVER:g} standard deviations off the model: "
            "they were given less weight"
        )
    # Where a second ion cuts the jump off, the steepest place is the break and not the point: no contradiction.
    cut_off = by_fit and expectation.model == "symmetric" and expectation.next_step
    if not cut_off:
        warnings += _disagreement(ways) + _lines_elsewhere(gran, chosen)
    return Placed(
        point,
        (*ways, gran),
        model,
        tuple(warnings),
        chosen.doubt,
        of_fit(stretch, fitted, used, expectation, by_fit=by_fit),
        inflection_beside(stretch, fitted, expectation) if by_fit else None,
    )
