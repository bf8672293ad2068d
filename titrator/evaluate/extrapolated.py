"""Where an unfinished titration would have ended: an estimate, never a result."""

from __future__ import annotations

import numpy as np
from scipy.stats import t as student_t

from titrator.evaluate.competing import data_sd_mL
from titrator.evaluate.curve import Curve, FloatArray
from titrator.evaluate.evaluation import Estimate
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.gran_way import gran_before
from titrator.evaluate.model_fit import FitData, fit
from titrator.evaluate.models import Start
from titrator.evaluate.redox_model import RedoxModel

WORST_RELATIVE_U = 0.2
"""An extrapolation more uncertain than this says nothing."""
FURTHEST = 5.0
"""No further than this many times the volume delivered."""


def extrapolated(ordered: Curve, sd_signal: FloatArray, expectation: Expectation, reason: str) -> tuple[Estimate, ...]:
    """Return where the first branch of a titration stopped too early points to: nothing, or what a fit or a line says.

    A redox method with potentials is fitted; Gran's line serves where the method tells the kind of reaction. The more
    certain comes first. Where several points are sought, one branch says nothing of them.
    """
    if "behind the jump is missing" not in reason or expectation.points_sought not in (None, 1):
        return ()
    told = reason.partition(":")[0]
    by_fit, by_line = _by_fit(ordered, sd_signal, expectation, told), gran_before(ordered, sd_signal, expectation, told)
    found = [each for each in (by_fit, by_line) if each is not None]
    return tuple(sorted(found, key=lambda each: each.u_random_mL))


def _by_fit(ordered: Curve, sd_signal: FloatArray, expectation: Expectation, told: str) -> Estimate | None:
    """Return the equivalence point that the first branch of a redox titration points to, by its model.

    Only a method that states formal potentials (rising curve) allows it: the first branch alone cannot tell how far it
    still goes.
    """
    analyte, titrant, slope = (
        expectation.analyte_potential_mV,
        expectation.titrant_potential_mV,
        expectation.slope_mV,
    )
    if expectation.model != "redox" or ordered.signal_unit != "mV":
        return None
    if analyte is None or titrant is None or slope is None or titrant <= analyte:
        return None
    rows = ordered.volume_mL > 0.0
    part, sd = ordered.chosen(rows), sd_signal[rows]
    if len(part) < 5:
        return None
    share = 1.0 / (1.0 + np.exp(-expectation.analyte_electrons * (part.signal[-1] - analyte) / slope))
    last = float(part.volume_mL[-1])
    guess = float(np.clip(last / share, 1.001 * last, 0.9 * FURTHEST * last))
    model = RedoxModel(expectation.analyte_electrons, expectation.titrant_electrons)
    start = model.start(part.volume_mL, part.signal, guess, expectation)
    upper, lower, x = start.upper.copy(), start.lower.copy(), start.x.copy()
    upper[0], lower[0], x[0] = FURTHEST * last, 0.5 * last, guess
    bound = np.zeros(len(part)) if part.remainder_bound is None else part.remainder_bound
    sd_volume = expectation.sd_volume_mL or 2e-4 * last
    data = FitData(part.volume_mL, part.signal, np.full(len(part), sd_volume), sd, bound)
    wide = Start(model, x, lower, upper, start.prior_mean, start.prior_sd)
    found = fit(wide, data, data_sd_mL(data, guess))
    if isinstance(found, str) or not found.u_mL < WORST_RELATIVE_U * found.x[0]:
        return None
    value, half = found.equivalence_volume_mL, float(student_t.ppf(0.975, min(found.dof, 1e6))) * found.u_mL
    interval = (value - half, value + half)
    return Estimate(value, found.u_mL, interval, "model-fit", "extrapolated: " + told)
