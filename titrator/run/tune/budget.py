"""How the dry runs of a sweep are shared out between searching and confirming."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

FEWEST: Final = 24
"""With fewer runs no setting could be told from another."""
SEARCH_SHARE: Final = 0.6
FINALISTS: Final = 6
"""About so many settings are confirmed; what comes out even is taken."""
NEARLY: Final = 4
"""The search may have so many settings more or less for that."""
FEWEST_RUNS, MOST_RUNS = 4, 40
"""Runs of a setting in the search. The rms of n errors is known to 1/√(2n): 35 % and 11 %."""


class Budget(NamedTuple):
    """`settings` are searched with runs 0 to `runs - 1`; `finalists` of them are confirmed with the next `confirming`.

    Every setting is judged on the same runs: cell and seed k are the same for all.
    """

    settings: int
    runs: int
    finalists: int
    confirming: int

    @property
    def total(self) -> int:
        """Return how many dry runs are made in all."""
        return self.settings * self.runs + self.finalists * self.confirming


def budget_of(total: int) -> Budget:
    """Share out `total` dry runs (at least `FEWEST`), all of them. Raises ValueError for fewer."""
    if total < FEWEST:
        raise ValueError(f"expected at least {FEWEST} runs, got {total}")
    about = min(max(round(0.6 * math.sqrt(total)), FEWEST_RUNS), MOST_RUNS)
    for runs in (about, about + 1, about + 2):
        wanted = max(round(SEARCH_SHARE * total / runs), 3)
        found = []
        for settings in range(max(3, wanted - NEARLY), wanted + NEARLY + 1):
            for finalists in range(2, min(8, settings) + 1):
                confirming, rest = divmod(total - settings * runs, finalists)
                if rest == 0 and confirming >= max(2, runs // 2):
                    order = (abs(finalists - FINALISTS), abs(settings - wanted))
                    found.append((order, Budget(settings, runs, finalists, confirming)))
        if found:
            return min(found)[1]
    raise AssertionError(f"no budget for {total} runs")
