"""The empirical slow limb: how an electrode shows a couple that does not follow Nernst.

On the branch that a slow couple (tin, permanganate, dichromate, ascorbic acid, tetrathionate) should poise, a platinum
electrode stands some tens of mV towards the other side and follows with a part of the slope. Nothing in equilibrium
gives that; the law here is invented, with figures from the cell file:

    E_shown = E − (1 − f)·w·ln(1 + exp((E − E_c)/w))        for a couple above; mirrored for one below

f is the share of the slope that is left, w the width of the passage, and E_c chosen so that E_shown lies `lowered_mV`
off at the couple's own potential. Its slope lies between f and 1, so the shown potential rises wherever E does; E
itself tells who poises the solution, so the passage is smooth.
"""

import math
from dataclasses import dataclass

WIDTH_MV = 25.0
"""Width w of the passage: about RT/F. Invented."""


@dataclass(frozen=True, slots=True)
class SlowLimb:
    """A slow couple at `couple_mV`; `above` if its branch is the upper one. `follows` lies from 0 to below 1."""

    couple_mV: float
    lowered_mV: float
    follows: float
    above: bool

    @property
    def begins_mV(self) -> float:
        """E_c, where the passage begins."""
        if self.lowered_mV == 0.0:
            return math.inf if self.above else -math.inf
        ratio = self.lowered_mV / ((1.0 - self.follows) * WIDTH_MV)
        reach_mV = WIDTH_MV * (ratio + math.log(-math.expm1(-ratio)))  # w·ln(exp(ratio) − 1)
        return self.couple_mV - reach_mV if self.above else self.couple_mV + reach_mV


class Shown:
    """A limb ready for use."""

    def __init__(self, limb: SlowLimb) -> None:
        self._sign = 1.0 if limb.above else -1.0
        self._begins_mV = limb.begins_mV
        self._kept_back = (1.0 - limb.follows) * WIDTH_MV

    def __call__(self, potential_mV: float) -> tuple[float, float]:
        """(what the electrode shows in mV, its slope in E, from `follows` to 1)."""
        x = self._sign * (potential_mV - self._begins_mV) / WIDTH_MV
        if x < -40.0:
            return potential_mV, 1.0
        if x > 0.0:
            e = math.exp(-x)
            back, share = x + math.log1p(e), 1.0 / (1.0 + e)
        else:
            e = math.exp(x)
            back, share = math.log1p(e), e / (1.0 + e)
        return potential_mV - self._sign * self._kept_back * back, 1.0 - self._kept_back / WIDTH_MV * share
