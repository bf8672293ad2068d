"""The corner where the next of several solids sets in, and how it is approached: what tells of it lies before it."""

from __future__ import annotations

import math
from typing import NamedTuple

from titrator.control.foresight.estimate import Estimate

SAFE = 3.5
"""Standard deviations that a reading before the corner stays away from it, while it is approached: none goes back."""
LAST = 2.5
"""The same for the last ones, the error of the next position among them."""
ABOUT = 1.2
"""Close enough to where a reading was meant to be."""
_HALVINGS = 40


class Corner(NamedTuple):
    """Where the branch before it ends, how far from the equivalence point that is (`width_mL`), and how sure (mL)."""

    volume_mL: float
    width_mL: float
    sd_mL: float

    def next_mL(
        self, here_mL: float, close_mL: float, spacing_mL: float, still: int, volume_sd_mL: float
    ) -> float | None:
        """Where the next of `still` readings before the corner lies; None where it is time to pass it.

        From `close_mL` before it on they lie `spacing_mL` apart or more, so that an error of the burette does not
        change their order.
        """
        away_mL = self.volume_mL - here_mL
        safe_mL = max(SAFE * self.sd_mL + 0.01 * max(away_mL, 0.0), close_mL)
        if away_mL > ABOUT * safe_mL:
            return self.volume_mL - safe_mL
        last_mL = LAST * math.hypot(self.sd_mL, volume_sd_mL)
        step_mL = max(spacing_mL, (away_mL - last_mL) / max(still, 1))
        return here_mL + step_mL if still > 0 and away_mL - spacing_mL > last_mL else None


def corner_of(estimate: Estimate, number: int) -> Corner:
    """The corner before equivalence point `number` (from 0), by halving between its branch and the titrant's."""
    amounts, lines = estimate.amounts_mL(), estimate.lines()
    law, solids = estimate.law, number + 1
    low, high = lines[0][number], lines[0][len(law.branches) - 1]
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        behind = law.place(middle, amounts, *lines, solids=solids + 1)
        if behind.volume_mL < law.place(middle, amounts, *lines, solids=solids).volume_mL:
            low = middle
        else:
            high = middle
    place = law.place(low, amounts, *lines, solids=solids)
    width_mL = place.slope_mL_per_mV * lines[1][number]
    return Corner(place.volume_mL, width_mL, estimate.point_sd_mL(number) + width_mL)
