"""A whole curve drawn through exact nodes: for dense curves, some tens of nanoseconds a point.

V(p) is exact at nodes 0.02 apart in p (explicit, self-consistent in the ionic strength), closer for couples of several
electrons; between two nodes p(V) is the cubic that meets both ends and both slopes. V(p) has no feature narrower than
1/(z·ln 10) in p, so that is good to 10⁻⁶ in p, mostly 10⁻⁷ (tested). Left to the direct solution: pieces in which a
solid appears (a kink), and the steepest piece of a jump, where neighbouring nodes are closer in volume than its
rounding. Source of the interpolation: Hermite's cubic.
"""

import math
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from titrator.chemistry import balance_curve, curves
from titrator.chemistry.titration import Titration

Floats = NDArray[np.float64]

SPACING_P = 0.02
_MOST_NODES = 20_000
_STEEP = 1e-6
"""Nodes closer in volume than this share of the volume belong to a jump and are not interpolated."""


class CurveTable:
    """p(V) of a titration from `first_mL` to `last_mL`, by cubics between exact nodes.

    Raises ValueError for limits that are not 0 <= first < last, or a start without a finite p (give a first volume).
    """

    def __init__(self, titration: Titration, last_mL: float, first_mL: float = 0.0) -> None:
        """Compute the nodes."""
        if not 0.0 <= first_mL < last_mL < math.inf:
            raise ValueError(f"0 <= first < last volume was expected, {first_mL!r} and {last_mL!r} mL came")
        self.titration = titration
        self.first_mL, self.last_mL = first_mL, last_mL
        first, last = titration.p(first_mL), titration.p(last_mL)
        if not (math.isfinite(first) and math.isfinite(last)):
            raise ValueError(
                f"finite ends of the curve were expected, p {first:g} and {last:g} came: begin at a volume above 0 mL"
            )
        count = min(max(math.ceil(abs(last - first) * _largest_gap(titration) / SPACING_P), 8), _MOST_NODES)
        step = (last - first) / count
        nodes = first + step * np.arange(count + 1, dtype=np.float64)
        volume = curves.volume_mL(titration, nodes)
        volume[0], volume[-1] = first_mL, last_mL
        self._set(nodes, volume, _slopes(volume) / step)

    def _set(self, p: Floats, volume: Floats, slope: Floats) -> None:
        """Cubics p = p_i + s·(c1 + s·(c2 + s·c3)), s = V − V_i, and which pieces are left to the direct solution."""
        width, rise = np.diff(volume), np.diff(p)
        with np.errstate(divide="ignore", invalid="ignore"):
            left, right = 1.0 / slope[:-1], 1.0 / slope[1:]
            mean = rise / width
            c2 = (3.0 * mean - 2.0 * left - right) / width
            c3 = (left + right - 2.0 * mean) / width**2
        direct = ~np.isfinite(left + right + c2 + c3) | (width <= _STEEP * volume[1:])
        kinked = self._kinked(volume)
        # A kink spoils the difference quotients of the nodes beside it too.
        for shift in range(-3, 4):
            direct |= np.roll(kinked, shift)
        self._volume, self._direct = volume, direct
        self._cubic = [p[:-1], left, c2, c3]

    def _kinked(self, volume: Floats) -> NDArray[np.bool_]:
        """Pieces at whose two ends different solids are there."""
        system = self.titration.system
        kinked = np.zeros(volume.size - 1, dtype=np.bool_)
        if not any(system.balance.solids):
            return kinked
        states = curves.states_after(self.titration, np.clip(volume, self.first_mL, self.last_mL))
        y, states = curves.equilibria(system, states)
        for index, solid in enumerate(system.balance.solids):
            if solid is not None:
                rows = balance_curve.populations(system.balance, index, y, states)[1]
                there = rows[-1][2] > 0.0
                kinked |= there[1:] != there[:-1]
        return kinked

    def p(self, volume_mL: ArrayLike) -> Floats:
        """−log10 of the master's activity after each volume in mL, of the shape given; fastest where they rise.

        Raises ValueError for volumes outside the table.
        """
        volumes = np.asarray(volume_mL, dtype=np.float64)
        flat = volumes.ravel()
        if flat.size == 0:
            return flat.reshape(volumes.shape)
        if not (flat.min() >= self.first_mL and flat.max() <= self.last_mL):
            raise ValueError(
                f"volumes from {self.first_mL:g} to {self.last_mL:g} mL were expected (the table), "
                f"{flat.min():g} to {flat.max():g} mL came"
            )
        if flat.size > 1 and bool(np.all(flat[1:] >= flat[:-1])):
            ends = np.searchsorted(flat, self._volume[1:-1], side="left")
            counts = np.diff(ends, prepend=0, append=flat.size)
            start, p_left, c1, c2, c3 = (np.repeat(c, counts) for c in (self._volume[:-1], *self._cubic))
            direct = np.repeat(self._direct, counts)
        else:
            piece = np.clip(np.searchsorted(self._volume, flat, side="right") - 1, 0, self._direct.size - 1)
            start, p_left, c1, c2, c3 = (c[piece] for c in (self._volume[:-1], *self._cubic))
            direct = self._direct[piece]
        s = flat - start
        result = p_left + s * (c1 + s * (c2 + s * c3))
        if bool(np.any(direct)):
            result[direct] = curves.p(self.titration, flat[direct])
        return np.asarray(result.reshape(volumes.shape), dtype=np.float64)


def _largest_gap(titration: Titration) -> float:
    """Largest step between neighbouring levels of a pool: the electrons of a couple, 1 for acids and salts."""
    gaps = [1.0]
    for pool in titration.system.pools:
        levels = sorted(form.level for form in pool.forms)
        gaps += [right - left for left, right in pairwise(levels)]
    return max(gaps)


def _slopes(values: Floats) -> Floats:
    """First derivatives by the five-point formulas, at the ends by the one-sided ones; steps of 1."""
    slopes = np.empty(values.shape)
    slopes[2:-2] = (8.0 * (values[3:-1] - values[1:-3]) - (values[4:] - values[:-4])) / 12.0
    one_sided = np.array([[-25.0, 48.0, -36.0, 16.0, -3.0], [-3.0, -10.0, 18.0, -6.0, 1.0]]) / 12.0
    slopes[:2] = one_sided @ values[:5]
    slopes[-1], slopes[-2] = -one_sided @ values[:-6:-1]
    return slopes
