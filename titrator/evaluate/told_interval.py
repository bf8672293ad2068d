"""The 95 % interval of a result, told from the GUM or from a Monte Carlo propagation, at little cost.

validated() asks the draws for a fifth of the tolerance, up to a million of them. Here fifty thousand tell the ends to
some two hundredths of u, and none are made where GUM and Monte Carlo cannot differ by the tolerance (half a unit in u's
second digit): what bounds, few readings and the bend of the formula move an end by is then bounded beforehand
(Cornish and Fisher's expansion to the terms in skewness and kurtosis).
"""

from __future__ import annotations

import math

from titrator.evaluate.budget import budget
from titrator.evaluate.measurement import Model
from titrator.evaluate.monte_carlo import Simulated, numerical_tolerance, simulate
from titrator.evaluate.propagation import Propagated
from titrator.evaluate.validated import Validated, compared

SEED = 1
"""Seed of every result's draws: the same data give the same interval. It is told with the result."""
TRIALS = 50_000
_Z = 1.959963984540054
_EXCESS_KURTOSIS = {"rectangular": -1.2, "triangular": -0.6, "arcsine": -1.5}
_SAFETY = 0.7


def _moved_by_shapes(gum: Propagated) -> float:
    """Return by how much of u the sources' shapes may move an end of the interval off value ± k u."""
    excess = math.fsum(each.share**2 * _EXCESS_KURTOSIS.get(each.distribution, 0.0) for each in gum.budget)
    few = (each for each in gum.budget if each.distribution == "t" and each.share < 0.999)
    by_few = math.fsum(each.share * _Z / max(each.dof - 2.0, 0.5) for each in few)
    return abs(excess) * (_Z**3 - 3.0 * _Z) / 24.0 + by_few


def _moved_by_bend(model: Model, gum: Propagated) -> float:
    """Return by how much of u the formula's bend may move an end."""
    if gum.value == 0.0:
        return math.inf
    relative = gum.u / abs(gum.value)
    skewness_to_end = (_Z**2 - 1.0) / 6.0
    if model.powers is None:
        return relative * (6.0 * skewness_to_end + 1.0)
    powers = [(each.share, model.powers[each.name]) for each in gum.budget if model.powers[each.name] != 0.0]
    skewness = 3.0 * relative * (1.0 - math.fsum(share**2 / power for share, power in powers))
    off_centre = 0.5 * relative * math.fsum(share * (1.0 - 1.0 / power) for share, power in powers)
    return abs(skewness) * skewness_to_end + abs(off_centre)


def told_interval(model: Model, seed: int | str = SEED) -> Validated:
    """Return the budget of a model with the interval to tell; ValueError where it has no finite value or slope."""
    gum = budget(model)
    tolerance = numerical_tolerance(gum.u)
    if gum.u == 0.0 or _moved_by_shapes(gum) + _moved_by_bend(model, gum) <= _SAFETY * tolerance / gum.u:
        return Validated(gum, None, tolerance, (0.0, 0.0), True, None)

    drawn = simulate(model, seed=seed, tolerance=0.0, most_trials=TRIALS)
    return compared(model, gum, drawn, tolerance)


def in_other_unit(told: Validated, model: Model) -> Validated:
    """Return what was told of a result for the same one in another unit, a multiple of it: nothing is drawn anew."""
    gum = budget(model)
    if told.gum.value == 0.0:
        return told_interval(model)
    factor = gum.value / told.gum.value
    drawn: Simulated | None = None if told.simulated is None else told.simulated.scaled(factor)
    if drawn is None:
        return Validated(gum, None, factor * told.tolerance, (0.0, 0.0), True, None)
    return compared(model, gum, drawn, factor * told.tolerance, agree=told.agree)
