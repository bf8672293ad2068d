"""Rises that are no titration, as curves of their own: where one of them describes the readings, no point is seen.

A branch is a straight line with a logarithm of the volume (what a titration far from its point, a blank or a drift
show). On it stands one of

    broken line     a straight rise between two bends: a loose contact, an amplifier at its limit, a ramp with a kink
    late approach   a sharp beginning and an exponential end: a filter, a bubble, a coated electrode
    soft limit      a hyperbolic tangent: an amplifier that saturates

An equivalence point bends otherwise: its branches follow the logarithm of what is left, convex before it and concave
behind, and that none of these curves can do at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from titrator.evaluate.curve import FloatArray

DESCRIBED = 1.5
"""An artefact describes the readings where their rms residual is below so many standard deviations."""
FEWEST_FREE = 2
"""Readings beyond the parameters that such a description needs."""
FEWEST_BENT = 15
"""From so many readings on the branch may bend by a square term too."""
GRID, SECOND = 80, 16
"""Places along the curve at which bends are tried first, and those of them at which a second bend may follow."""
LOOKED_AT = 100
"""Of a longer curve so many readings, evenly chosen, are looked at: shapes as coarse as these need no more."""
STARTS, MOST_STEPS, FARTHEST = 8, 30, 4.0
"""From so many of them the best place is sought, each at another place; in how many steps, and how long at most."""
NUDGE = 1e-4
"""Step of the differences, in the scale of place and width."""

Shape = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]
"""Columns (k) of a shape at volumes (n,): places and widths (m, 1) give an array (m, n, k)."""


@dataclass(frozen=True, slots=True)
class Artefact:
    """What describes the readings, in words, and its rms residual in standard deviations."""

    name: str
    misfit: float


def _broken(volume_mL: FloatArray, low: FloatArray, width: FloatArray) -> FloatArray:
    share = np.clip((volume_mL - low) / width, 0.0, 1.0)
    return np.stack([share, np.maximum(volume_mL - low - width, 0.0)], axis=-1)


def _late(volume_mL: FloatArray, low: FloatArray, width: FloatArray) -> FloatArray:
    behind = np.maximum(volume_mL - low, 0.0)
    begun = (volume_mL > low).astype(np.float64)
    return np.stack([begun, np.exp(-behind / width) * begun], axis=-1)


def _soft(volume_mL: FloatArray, low: FloatArray, width: FloatArray) -> FloatArray:
    return np.tanh((volume_mL - low) / width)[..., None]


SHAPES: dict[str, Shape] = {
    "a straight rise between two levels": _broken,
    "a sudden beginning with a slow approach to a level": _late,
    "a soft limit at either end": _soft,
}


def artefact_of(
    volume_mL: FloatArray, signal: FloatArray, sd_signal: FloatArray, within: float = DESCRIBED
) -> Artefact | None:
    """Return the artefact that describes the readings (arrays (n,) at rising volumes) best, or None.

    `within`: largest rms residual in standard deviations.
    """
    if len(volume_mL) > LOOKED_AT:
        few = np.linspace(0, len(volume_mL) - 1, LOOKED_AT).astype(int)
        volume_mL, signal, sd_signal = volume_mL[few], signal[few], sd_signal[few]
    count = len(volume_mL)
    span = float(volume_mL[-1] - volume_mL[0])
    first = float(volume_mL[0]) if volume_mL[0] > 0.0 else 0.02 * span
    from_start = volume_mL - volume_mL[0] + min(first, 0.3 * span)
    columns_of_branch = [np.ones(count), volume_mL, np.log(from_start)]
    if count >= FEWEST_BENT:
        columns_of_branch.append(((volume_mL - volume_mL[0]) / span) ** 2)
    branch = np.stack(columns_of_branch, axis=1)
    root = 1.0 / np.maximum(sd_signal, 1e-9)
    best: Artefact | None = None
    for name, shape in SHAPES.items():
        columns = branch.shape[1] + shape(volume_mL[:1], np.zeros(1), np.ones(1)).shape[-1]
        free = count - columns - 2
        if free < FEWEST_FREE:
            continue
        misfit = float(np.sqrt(_least(volume_mL, signal, root, branch, shape) / free))
        if misfit <= within and (best is None or misfit < best.misfit):
            best = Artefact(name, misfit)
    return best


class _Trial:
    """A shape on a branch: residuals at many places and widths at once, its heights and the branch's being linear."""

    def __init__(
        self, volume_mL: FloatArray, signal: FloatArray, root: FloatArray, branch: FloatArray, shape: Shape
    ) -> None:
        """Take what the branch can describe off the signal once: only the shape's own heights are left."""
        self._volume_mL, self._root, self._shape = volume_mL, root[:, None], shape
        self._base = np.linalg.qr(branch * self._root)[0]
        self._target = self._without_branch(signal[:, None] * self._root)

    def _without_branch(self, columns: FloatArray) -> FloatArray:
        return np.asarray(columns - self._base @ (self._base.T @ columns), dtype=np.float64)

    def residual(self, places: FloatArray) -> FloatArray:
        """Return residuals (m, n) in standard deviations at m places and logarithms of widths (m, 2)."""
        columns = self._shape(self._volume_mL, places[:, :1], np.exp(places[:, 1:]))
        columns = self._without_branch(columns * self._root)
        turned = np.swapaxes(columns, 1, 2)
        square = turned @ columns
        size = np.trace(square, axis1=1, axis2=2)[:, None, None] + 1e-300
        height = np.linalg.solve(square + 1e-12 * size * np.eye(columns.shape[2]), turned @ self._target)
        return np.asarray((self._target - columns @ height)[:, :, 0], dtype=np.float64)


def _least(volume_mL: FloatArray, signal: FloatArray, root: FloatArray, branch: FloatArray, shape: Shape) -> float:
    """Return the least weighted sum of squares of a shape, over its place and width (heights are linear)."""
    span, step, last = float(volume_mL[-1] - volume_mL[0]), float(np.min(np.diff(volume_mL))), len(volume_mL) - 1
    # bends lie at readings and between them, where one that begins on one side of a reading cannot pass it
    rows = np.linspace(0.0, last, min(4 * last + 1, GRID))
    thinned = np.unique(np.interp(rows, np.arange(last + 1), volume_mL))
    second = thinned[:: max(1, len(thinned) // SECOND)]
    widths = np.geomspace(max(0.3 * step, 1e-3 * span), span, 9)
    pairs = [(k, width) for k, at in enumerate(thinned) for width in (*widths, *(second[second > at] - at))]
    number = np.array([k for k, _ in pairs])
    places = np.stack([thinned[number], np.log([width for _, width in pairs])], axis=1)
    trial = _Trial(volume_mL, signal, root, branch, shape)
    cost = np.sum(trial.residual(places) ** 2, axis=1)
    low = np.array([volume_mL[0] - span, np.log(1e-4 * span)])
    high = np.array([volume_mL[-1] + span, np.log(10.0 * span)])
    return _descended(trial, places[_apart(cost, number)], np.array([0.02 * span, 0.2]), (low, high))


def _descended(trial: _Trial, places: FloatArray, scale: FloatArray, limits: tuple[FloatArray, FloatArray]) -> float:
    """Return the least sum of squares to which damped steps (Levenberg, Marquardt) lead from several places at once."""
    residual = trial.residual(places)
    cost, damping = np.sum(residual**2, axis=1), np.full(len(places), 1e-2)
    nudges = NUDGE * np.concatenate([-np.eye(2), np.eye(2)])
    for _ in range(MOST_STEPS):
        # central differences, for a bend at a reading moves in one direction only
        moved = (places[None] + nudges[:, None] * scale).reshape(-1, 2)
        back, ahead = trial.residual(moved).reshape(2, 2, len(places), -1)
        slope = ((ahead - back) / (2.0 * NUDGE)).transpose(1, 2, 0)
        turned = np.swapaxes(slope, 1, 2)
        square, fall = turned @ slope, turned @ residual[:, :, None]
        size = np.trace(square, axis1=1, axis2=2) + 1e-300
        step = np.linalg.solve(square + (damping * size)[:, None, None] * np.eye(2), -fall)[:, :, 0]
        tried = np.clip(places + np.clip(step, -FARTHEST, FARTHEST) * scale, *limits)
        found = trial.residual(tried)
        now = np.sum(found**2, axis=1)
        better = now < cost
        places, residual = np.where(better[:, None], tried, places), np.where(better[:, None], found, residual)
        settled = np.all(~better | (cost - now < 1e-4 * cost)) and np.all(damping[~better] > 1.0)
        cost, damping = np.where(better, now, cost), np.clip(damping * np.where(better, 0.2, 5.0), 1e-9, 1e6)
        if settled:
            break
    return float(np.min(cost))


def _apart(cost: FloatArray, number: np.ndarray) -> list[int]:
    """Return the STARTS best trials of which no two stand at one place (counted by `number`)."""
    order = np.argsort(cost, kind="stable")
    _, first = np.unique(number[order], return_index=True)
    return [int(order[k]) for k in sorted(first)[:STARTS]]
