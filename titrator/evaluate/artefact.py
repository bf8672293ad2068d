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
from scipy.optimize import least_squares

from titrator.evaluate.curve import FloatArray

DESCRIBED = 1.5
"""An artefact describes the readings where their rms residual is below so many standard deviations."""
FEWEST_FREE = 2
"""Readings beyond the parameters that such a description needs."""
FEWEST_BENT = 15
"""From so many readings on the branch may bend by a square term too."""
GRID = 24
"""Places along the curve at which bends are tried first."""

Shape = Callable[[FloatArray, float, float], FloatArray]


@dataclass(frozen=True, slots=True)
class Artefact:
    """What describes the readings, in words, and its rms residual in standard deviations."""

    name: str
    misfit: float


def _broken(volume_mL: FloatArray, low: float, width: float) -> FloatArray:
    share = np.clip((volume_mL - low) / width, 0.0, 1.0)
    return np.stack([share, np.maximum(volume_mL - low - width, 0.0)], axis=1)


def _late(volume_mL: FloatArray, low: float, width: float) -> FloatArray:
    behind = np.maximum(volume_mL - low, 0.0)
    return np.stack([(volume_mL > low).astype(np.float64), np.exp(-behind / width) * (volume_mL > low)], axis=1)


def _soft(volume_mL: FloatArray, low: float, width: float) -> FloatArray:
    return np.tanh((volume_mL - low) / width)[:, None]


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
        columns = branch.shape[1] + shape(volume_mL[:1], 0.0, 1.0).shape[1]
        free = count - columns - 2
        if free < FEWEST_FREE:
            continue
        misfit = float(np.sqrt(_least(volume_mL, signal, root, branch, shape) / free))
        if misfit <= within and (best is None or misfit < best.misfit):
            best = Artefact(name, misfit)
    return best


def _least(volume_mL: FloatArray, signal: FloatArray, root: FloatArray, branch: FloatArray, shape: Shape) -> float:
    """Return the least weighted sum of squares of a shape, over its place and width (heights are linear)."""
    target = signal * root

    def residual(place: FloatArray) -> FloatArray:
        basis = np.concatenate([branch, shape(volume_mL, float(place[0]), float(np.exp(place[1])))], axis=1)
        basis = basis * root[:, None]
        height = np.linalg.lstsq(basis, target, rcond=1e-10)[0]
        return np.asarray(target - basis @ height, dtype=np.float64)

    span, step = float(volume_mL[-1] - volume_mL[0]), float(np.min(np.diff(volume_mL)))
    # bends lie anywhere between readings: tried at every one of them, or at as many as GRID of a long curve
    thinned = volume_mL[np.unique(np.linspace(0, len(volume_mL) - 1, GRID).astype(int))]
    widths = np.geomspace(max(0.3 * step, 1e-3 * span), span, 9)
    pairs = [(at, width) for at in thinned for width in (*widths, *(thinned[thinned > at] - at))]
    places = [np.array([at, np.log(width)]) for at, width in pairs]
    tried = sorted(((float(np.sum(residual(place) ** 2)), k) for k, place in enumerate(places)))
    low = np.array([volume_mL[0] - span, np.log(1e-4 * span)])
    high = np.array([volume_mL[-1] + span, np.log(10.0 * span)])
    least = tried[0][0]
    for _, k in tried[:4]:
        begin = np.clip(places[k], low + 1e-9, high - 1e-9)
        found = least_squares(residual, begin, bounds=(low, high), x_scale=[0.02 * span, 0.2], max_nfev=60)
        least = min(least, 2.0 * float(found.cost))
    return least
