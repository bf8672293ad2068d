"""Propagation of distributions by the Monte Carlo method (JCGM 101:2008, clause 7), seeded, in an adaptive number.

Trials run in blocks of 10 000 until value, u and both ends of the interval are stable (7.9.4): twice the standard
deviation of their means over the blocks, divided by √blocks, is within the tolerance asked for; or until the most
trials allowed. Each source draws from a stream of its own name.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from titrator.evaluate.budget import Correlations, groups, matrix
from titrator.evaluate.curve import FloatArray
from titrator.evaluate.measurement import Model, Part, model_of
from titrator.evaluate.propagation import COVERAGE
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.standard_draws import standard_draws

IntervalKind = Literal["symmetric", "shortest"]
BLOCK = 10_000
_NONE: Correlations = {}


@dataclass(frozen=True, slots=True)
class Simulated:
    """Mean and standard deviation of the result's distribution, its 95 % interval, and what the draw was.

    `kind`: "symmetric" leaves 2.5 % of the probability on each side, "shortest" is the narrowest. `tolerance` (in the
    result's unit): twice the standard error of the least certain of value, u and the two ends; `ends_tolerance`: of the
    ends alone (u has no finite scatter where a source was seen in three readings). `stable`: the first is within what
    was asked for.
    """

    value: float
    u: float
    interval_95: tuple[float, float]
    kind: IntervalKind
    trials: int
    seed: int | str
    tolerance: float
    ends_tolerance: float
    stable: bool

    def scaled(self, factor: float) -> Simulated:
        """Return the same draws told in another unit, `factor` (above 0) times as many."""
        low, high = self.interval_95
        return replace(
            self,
            value=factor * self.value,
            u=factor * self.u,
            interval_95=(factor * low, factor * high),
            tolerance=factor * self.tolerance,
            ends_tolerance=factor * self.ends_tolerance,
        )


def interval(sorted_values: FloatArray, kind: IntervalKind, coverage: float = COVERAGE) -> tuple[float, float]:
    """Return the coverage interval of sorted draws (JCGM 101, 7.7)."""
    trials = len(sorted_values)
    inside = int(coverage * trials + 0.5)
    if kind == "symmetric":
        start = (trials - inside + 1) // 2 - 1
    else:
        start = int(np.argmin(sorted_values[inside:] - sorted_values[: trials - inside]))
    start = max(start, 0)
    return float(sorted_values[start]), float(sorted_values[min(start + inside, trials - 1)])


def _arranged(values: FloatArray, kind: IntervalKind) -> FloatArray:
    """Return the values in order as far as interval() looks: all of them only for the shortest one."""
    if kind == "shortest":
        return np.sort(values)
    trials = len(values)
    inside = int(COVERAGE * trials + 0.5)
    start = max((trials - inside + 1) // 2 - 1, 0)
    return np.partition(values, (start, min(start + inside, trials - 1)))


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """Return half a unit in the last of `digits` significant digits of u (JCGM 101, 7.9.2); 0 for u = 0."""
    if u <= 0.0:
        return 0.0
    exponent = math.floor(math.log10(u)) - digits + 1
    # 0.0998 has two digits 0.10: rounding may carry into the next power of ten.
    if round(u / 10.0**exponent) >= 10**digits:
        exponent += 1
    return 0.5 * 10.0**exponent


Streams = list[tuple[list[Quantity], list[np.random.Generator], FloatArray | None]]


def _draw(model: Model, seeds: Streams, seed: int | str, block: int) -> FloatArray:
    """Return one block of results; correlated groups share the scale of their common degrees of freedom."""
    values: dict[str, FloatArray] = {}
    for members, streams, root in seeds:
        if root is None:
            values[members[0].name] = standard_draws(members[0], seed, block, BLOCK)
            continue
        normal = root @ np.vstack([stream.standard_normal(BLOCK) for stream in streams])
        dof = min(each.dof for each in members)
        scale = np.sqrt(dof / streams[0].chisquare(dof, BLOCK)) if math.isfinite(dof) else np.ones(BLOCK)
        for each, row in zip(members, normal, strict=True):
            values[each.name] = each.value + each.u * row * scale
    return np.broadcast_to(np.asarray(model.function(values), dtype=np.float64), (BLOCK,))


def _streams(model: Model, correlations: Correlations, seed: int | str) -> Streams:
    """Return each group with its streams and, where correlated, the root of its correlation matrix."""
    by_name = {each.name: each for each in model.quantities}
    found: Streams = []
    for group in groups(model, correlations):
        members = [by_name[name] for name in group]
        root = None
        if len(group) > 1:
            for each in members:
                if each.distribution not in ("normal", "t"):
                    raise ValueError(f"{each.name}: normal or t expected of a correlated input, {each.distribution}")
            weights, vectors = np.linalg.eigh(matrix(group, correlations))
            root = vectors * np.sqrt(np.clip(weights, 0.0, None))
        streams = [] if root is None else [each.stream(seed) for each in members]
        found.append((members, streams, root))
    return found


def simulate(
    measured: Part,
    *,
    seed: int | str,
    correlations: Correlations = _NONE,
    kind: IntervalKind = "symmetric",
    tolerance: float | None = None,
    most_trials: int = 1_000_000,
) -> Simulated:
    """Return the distribution of the result.

    `tolerance` None: a fifth of half a unit of the second digit of u, found on the way; 0: the most trials. Raises
    ValueError for less than two blocks (20 000 trials), or where the model gives no number for some draws.
    """
    if most_trials < 2 * BLOCK:
        raise ValueError(f"{2 * BLOCK} trials or more expected, {most_trials} came")
    model = model_of(measured)
    streams = _streams(model, correlations, seed)
    blocks: list[FloatArray] = []
    told: list[tuple[float, float, float, float]] = []
    reached = ends = math.inf
    while (len(blocks) + 1) * BLOCK <= most_trials:
        with np.errstate(all="ignore"):
            block = _arranged(_draw(model, streams, seed, len(blocks)), kind)
        if not np.isfinite(block).all():
            raise ValueError(
                "a finite result expected for every draw, some have none: an input's distribution reaches a value "
                "that the model cannot take (a volume or mass through zero?)"
            )
        blocks.append(block)
        told.append((float(block.mean()), float(block.std(ddof=1)), *interval(block, kind)))
        if len(told) >= 2:
            errors = 2.0 * np.std(told, axis=0, ddof=1) / math.sqrt(len(told))
            reached, ends = float(np.max(errors)), float(np.max(errors[2:]))
            asked = tolerance if tolerance is not None else numerical_tolerance(float(np.mean(told, axis=0)[1])) / 5.0
            if reached <= asked:
                break
    every = _arranged(np.concatenate(blocks), kind)
    u = float(every.std(ddof=1))
    asked = tolerance if tolerance is not None else numerical_tolerance(u) / 5.0
    return Simulated(
        float(every.mean()), u, interval(every, kind), kind, len(every), seed, reached, ends, stable=reached <= asked
    )
