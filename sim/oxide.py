"""Oxide on platinum: the memory that an electrode takes from an excess of titrant into the next sample."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class OxideLaw:
    """How the cover grows and goes, as the potential error `full_mV` of a full one. All figures are invented.

    Above `above_mV` (against the reference) the cover grows towards the full one with `grows_s`; below it is reduced
    with `reduced_s`. A covered electrode reads high where it should read low, by the error times
    1/(1 + exp((E − above)/50 mV)), and its response time is longer by the factor 1 + `slower`·error/full.
    """

    above_mV: float = 700.0
    full_mV: float = 40.0
    grows_s: float = 600.0
    reduced_s: float = 900.0
    slower: float = 3.0

    def after(self, oxide_mV: float, potential_mV: float, passed_s: float) -> float:
        """The error of the cover in mV after a time at a potential."""
        if potential_mV > self.above_mV:
            return self.full_mV + (oxide_mV - self.full_mV) * math.exp(-passed_s / self.grows_s)
        return oxide_mV * math.exp(-passed_s / self.reduced_s)

    def raised_mV(self, oxide_mV: float, potential_mV: float) -> float:
        """What the electrode reads in a solution of `potential_mV` after a long wait; rises with it.

        Monotone as long as the error is below 200 mV, four times the width of the law.
        """
        over = min(max((potential_mV - self.above_mV) / _WIDTH_MV, -700.0), 700.0)
        return potential_mV + oxide_mV / (1.0 + math.exp(over))

    def slowed(self, oxide_mV: float) -> float:
        """Factor on the response time."""
        return 1.0 + self.slower * oxide_mV / self.full_mV


_WIDTH_MV = 50.0
