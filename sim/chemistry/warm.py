"""The root of a balance next to the last one: what a running titration asks for ten times a second.

The same equation as `Balance.solve`, begun where the last two results point to; Newton's step squares its error, so a
step below 3e-5 leaves some 1e-9 of ln x (at the kink where a solid appears, 1e-5 at most). Where that does not work
within a few steps, `Balance.solve` with its brackets takes over.
"""

import math
from collections.abc import Sequence

from titrator.chemistry.balance import Balance

_ENOUGH = 3e-5
_ENOUGH_WITH_SOLIDS = 1e-5
_MOST_STEPS = 8
_LONGEST_STEP = 3.0
_LEAST_SIDE = 1e-300

FARTHEST_Y = 200.0
"""Stands for a master that is not there: so little that nothing shows it, enough for ratios of what it makes."""


class WarmRoot:
    """A balance and its last results."""

    def __init__(self, balance: Balance) -> None:
        self.balance = balance
        self._enough = _ENOUGH if not any(balance.solids) else _ENOUGH_WITH_SOLIDS
        self._y: float | None = None
        self._total_mol = 0.0
        self._per_mol = 0.0

    def guess(self, total_mol: float) -> float | None:
        """Where the next result may lie; None before the first."""
        if self._y is None:
            return None
        further = (total_mol - self._total_mol) * self._per_mol
        return self._y + min(max(further, -_LONGEST_STEP), _LONGEST_STEP)

    def solve(self, amounts: Sequence[float], total_mol: float, volume_L: float, g: float) -> tuple[float, float]:
        """(y = ln x, capacity in mol of the master per unit of y); y = ±inf in the limits of the balance."""
        y = self.guess(total_mol)
        found = None if y is None else self._newton(y, amounts, total_mol, volume_L, g)
        if found is None:
            y = self.balance.solve(amounts, total_mol, volume_L, g, self._y)
            at = min(max(y, -FARTHEST_Y), FARTHEST_Y)
            _, _, d_up, d_down = self.balance.terms(at, amounts, total_mol, volume_L, g)
            found = y, d_up - d_down
        self._keep(found[0], total_mol)
        return found

    def _newton(
        self, y: float, amounts: Sequence[float], total_mol: float, volume_L: float, g: float
    ) -> tuple[float, float] | None:
        terms, enough, inf, log = self.balance.terms, self._enough, math.inf, math.log
        for _ in range(_MOST_STEPS):
            up, down, d_up, d_down = terms(y, amounts, total_mol, volume_L, g)
            if not (_LEAST_SIDE < up < inf and _LEAST_SIDE < down < inf):
                return None
            rise = d_up / up - d_down / down
            if rise <= 0.0:
                return None
            step = -log(up / down) / rise
            if -enough <= step <= enough:
                return y + step, d_up - d_down
            if not -_LONGEST_STEP < step < _LONGEST_STEP:
                return None
            y += step
        return None

    def _keep(self, y: float, total_mol: float) -> None:
        if not math.isfinite(y):
            self._y = None
            return
        if self._y is not None and total_mol != self._total_mol:
            self._per_mol = (y - self._y) / (total_mol - self._total_mol)
        self._y, self._total_mol = y, total_mol
