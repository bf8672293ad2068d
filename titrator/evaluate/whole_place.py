"""One fit for all points that a method seeks, where the method knows the reaction and the fit is good."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from titrator.evaluate.choice import Stretch, gap_of
from titrator.evaluate.competing import GOOD_MISFIT, Fitted
from titrator.evaluate.curve import SignalUnit
from titrator.evaluate.model_fit import Fit, FitData
from titrator.evaluate.models import Start
from titrator.evaluate.whole_curve import Known
from titrator.evaluate.whole_fit import fit_whole, points, start_seen_from

FAR_OFF = 5.0
"""A constant this many prior standard deviations from its table belongs to another substance than the method's."""
FEWEST_READINGS = 8
"""From fewer readings a fit of so many parameters says little."""


@dataclass(frozen=True, eq=False)
class WholeFits:
    """A fit for each point, in order, or `reason` why the points are placed one by one."""

    each: tuple[Fitted, ...] = ()
    reason: str = ""


def whole_fits(known: Known | None, data: FitData, stretches: Sequence[Stretch], sign: int) -> WholeFits:
    """Fit the whole curve (rising signal) and return what it says of each stretch; none unless it describes them all.

    A fit describes a stretch where its residuals there are no more than GOOD_MISFIT times as large as stated, and its
    point lies in or beside the gap of the jump; its constants must be those of the method's substances.
    """
    if known is None:
        return WholeFits(reason="the reaction is not known")
    unit: SignalUnit = stretches[0].unit
    told = known if unit == known.unit else replace(known, unit=unit, offset=None)
    if len(stretches) != told.points or sign != told.sign:
        return WholeFits(reason="the curve is not the one that the method expects")
    rows = data.volume_mL > 0.0
    used = FitData(*(getattr(data, name)[rows] for name in FitData.__dataclass_fields__))
    if len(used.volume_mL) < FEWEST_READINGS:
        return WholeFits(reason=f"{len(used.volume_mL)} readings are too few")
    guesses = [float(np.mean(each.data.volume_mL[each.jump.steepest : each.jump.steepest + 2])) for each in stretches]
    found = fit_whole(told, used, guesses)
    if isinstance(found, str):
        return WholeFits(reason=found)
    fit, start = found
    strange = _strange(fit, start)
    if strange:
        return WholeFits(reason=strange)
    fits = []
    for number, (stretch, one) in enumerate(zip(stretches, points(fit, told.points).each, strict=True)):
        own = stretch.data.volume_mL[stretch.bare :]
        inside = (used.volume_mL >= own[0]) & (used.volume_mL <= own[-1])
        seen = replace(one, residual=one.residual[inside], weight=one.weight[inside])
        fitted = Fitted(seen, start_seen_from(start, number) if number else start)
        if fitted.misfit > GOOD_MISFIT:
            told_of = f"its residuals at point {number + 1} are {fitted.misfit:.1f} times as large as stated"
            return WholeFits(reason=told_of)
        if not gap_of(stretch).holds(one.equivalence_volume_mL, beyond=0.5):
            return WholeFits(reason=f"it places point {number + 1} beside its jump")
        fits.append(fitted)
    return WholeFits(tuple(fits))


def _strange(fit: Fit, start: Start) -> str:
    """Say which constant lies far from its table, if one does.

    Not what an electrode's own scale moves (potentials are told of instead), nor a share that was converted.
    """
    for k, name in enumerate(fit.model.parameters):
        sd = float(start.prior_sd[k])
        if not np.isfinite(sd) or name in fit.model.signal_parameters or "share" in name:
            continue
        if abs(fit.x[k] - start.prior_mean[k]) > FAR_OFF * sd:
            return (
                f"{name.replace('_', ' ')} would be {fit.x[k]:.4g}, {start.prior_mean[k]:.4g} is expected (u {sd:.2g})"
            )
    return ""
