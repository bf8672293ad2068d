"""Whether a jump is the one that a method's formal potentials lead to expect, or a disturbance on the way there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from titrator.evaluate.expectation import Expectation

WITHIN = 3.0
"""How many standard deviations of the priors the equivalence potential may lie off."""
SHIFTED_SHARE = 0.5
"""A jump of at least this share of what separates the two couples may stand anywhere: another reference electrode
shifts it. What disturbs an electrode in passing is smaller than that (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class ExpectedJump:
    """Equivalence potential and its standard deviation, and what separates the couples; all of a rising curve in mV."""

    potential_mV: float
    sd_mV: float
    separation_mV: float

    @classmethod
    def of(cls, expectation: Expectation) -> Self | None:
        """Return the jump that the formal potentials stated for a rising curve lead to; None where they do not.

        At the equivalence point E = (zA EA + zT ET)/(zA + zT), one couple on either side (any textbook).
        """
        analyte, titrant = expectation.analyte_potential_mV, expectation.titrant_potential_mV
        if expectation.model != "redox" or analyte is None or titrant is None:
            return None
        z_analyte, z_titrant = expectation.analyte_electrons, expectation.titrant_electrons
        both = z_analyte + z_titrant
        sd = math.hypot(
            z_analyte * expectation.analyte_potential_sd_mV, z_titrant * expectation.titrant_potential_sd_mV
        )
        return cls((z_analyte * analyte + z_titrant * titrant) / both, sd / both, abs(titrant - analyte))

    def why_not(self, low_mV: float, high_mV: float) -> str:
        """Return why a rise from `low_mV` to `high_mV` is not this jump, or nothing where it may be."""
        reach = WITHIN * self.sd_mV
        across = low_mV < self.potential_mV + reach and high_mV > self.potential_mV - reach
        if across or high_mV - low_mV >= SHIFTED_SHARE * self.separation_mV:
            return ""
        return (
            f"a jump of {high_mV - low_mV:.0f} mV that does not cross the equivalence potential the method expects "
            f"(u {self.sd_mV:.0f} mV): a disturbance, or not the method's reaction"
        )
