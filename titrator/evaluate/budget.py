"""The uncertainty budget of any measurement model by the GUM (JCGM 100:2008, 5.1.2, 5.2.2, G.4).

First order: u² = Σ (c u)² + 2 ΣΣ c_i c_j u_i u_j r_ij. Sources that formulas share by name need no r; a declared r is
for inputs that were measured together (5.2.3). Effective degrees of freedom by Welch and Satterthwaite; inputs
correlated with each other enter it as one component, as their scatter was seen in the same observations.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.measurement import Model, Part, model_of
from titrator.evaluate.propagation import (
    BudgetLine,
    CorrelationLine,
    Propagated,
    coverage_factor,
    effective_dof,
)
from titrator.evaluate.sensitivity import sensitivities

Correlations = Mapping[tuple[str, str], float]
_NONE: Correlations = {}


def groups(model: Model, correlations: Correlations) -> list[list[str]]:
    """Return the names of the inputs in groups that declared correlations join, single inputs alone.

    Raises ValueError for a name that is no input, an r outside -1 to 1, or correlations that cannot hold together.
    """
    names = [each.name for each in model.quantities]
    group_of = {name: [name] for name in names}
    for (first, second), r in correlations.items():
        for name in (first, second):
            if name not in group_of:
                raise ValueError(f"correlation of {name!r}: an input of the model expected, it has {', '.join(names)}")
        if (second, first) in correlations and first != second:
            raise ValueError(f"correlation of {first!r} with {second!r}: one figure expected for both orders, two came")
        if first == second or not -1.0 <= r <= 1.0:
            raise ValueError(f"correlation of {first!r} with {second!r}: two inputs and -1 to 1 expected, {r!r} came")
        if group_of[first] is not group_of[second]:
            merged = group_of[first] + group_of[second]
            group_of.update(dict.fromkeys(merged, merged))
    found = list({id(each): each for each in group_of.values()}.values())
    for each in found:
        if len(each) > 1 and float(np.linalg.eigvalsh(matrix(each, correlations))[0]) < -1e-9:
            raise ValueError(f"correlations of {', '.join(each)}: they contradict each other; measure them anew")
    return found


def matrix(names: list[str], correlations: Correlations) -> FloatArray:
    """Return the correlation matrix of a group."""
    found = np.eye(len(names))
    for (first, second), r in correlations.items():
        if first in names:
            i, j = names.index(first), names.index(second)
            found[i, j] = found[j, i] = r
    return found


def budget(measured: Part, correlations: Correlations = _NONE) -> Propagated:
    """Return value, u, degrees of freedom, k, U at 95 % and one line for each source of a measurement model.

    Raises ValueError where the model has no finite value or slope, or where correlations are wrong (see groups).
    """
    model = model_of(measured)
    joined_groups = groups(model, correlations)
    found = sensitivities(model)
    contributions = {each.name: found[each.name].value * each.u for each in model.quantities}
    # In parts of the largest, so that no unit is too small or too large for a fourth power.
    scale = max((abs(part) for part in contributions.values()), default=0.0) or 1.0
    signed = {name: part / scale for name, part in contributions.items()}
    crossed = {(a, b): 2.0 * r * signed[a] * signed[b] for (a, b), r in correlations.items() if r != 0.0}
    variance = max(0.0, math.fsum([*(part**2 for part in signed.values()), *crossed.values()]))
    u = scale * math.sqrt(variance)
    if not math.isfinite(u):
        raise ValueError("a finite standard uncertainty expected of the result, an input makes it infinite")
    dofs = {each.name: each.dof for each in model.quantities}
    components = [(_joint(group, signed, crossed), min(dofs[name] for name in group)) for group in joined_groups]
    dof = effective_dof(components) if variance > 0.0 else math.inf
    lines = tuple(
        BudgetLine(
            each.name,
            each.value,
            each.u,
            each.unit,
            each.distribution,
            each.dof,
            found[each.name].value,
            abs(contributions[each.name]),
            signed[each.name] ** 2 / variance if variance > 0.0 else 0.0,
        )
        for each in model.quantities
    )
    joint = tuple(
        CorrelationLine(first, second, correlations[first, second], part / variance if variance > 0.0 else 0.0)
        for (first, second), part in crossed.items()
    )
    return Propagated(model.value, u, dof, coverage_factor(dof), lines, joint)


def _joint(group: list[str], signed: Mapping[str, float], crossed: Mapping[tuple[str, str], float]) -> float:
    """Return the contribution of a group of correlated inputs as a whole."""
    own = [signed[name] ** 2 for name in group]
    return math.sqrt(max(0.0, math.fsum([*own, *(part for pair, part in crossed.items() if pair[0] in group)])))
