"""Grubbs' and Dixon's tests on replicates: flags for a person to look at, never a removal.

Grubbs: F. E. Grubbs, Technometrics 11 (1969) 1; the critical value from Student's t, two-sided. Two values on one
side (ISO 5725-2:1994, 7.3.4): the sum of squares without them over the whole; its critical values (table 5 there)
from memory, found again by simulation. Dixon's Q (gap over range, r10), two-sided: D. B. Rorabacher, Anal. Chem. 63
(1991) 139.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scipy.stats import t as student_t

# Lower critical values at 5 % and 1 % for the two largest or the two smallest of n.
_PAIR = {
    4: (0.0002, 0.0000), 5: (0.0090, 0.0018), 6: (0.0349, 0.0116), 7: (0.0708, 0.0308), 8: (0.1101, 0.0563),
    9: (0.1492, 0.0851), 10: (0.1864, 0.1150), 11: (0.2213, 0.1448), 12: (0.2537, 0.1738), 13: (0.2836, 0.2016),
    14: (0.3112, 0.2280), 15: (0.3367, 0.2530),
}  # fmt: skip
# Two-sided 95 % (from memory, within 0.002 of a simulation).
_DIXON = {3: 0.970, 4: 0.829, 5: 0.710, 6: 0.625, 7: 0.568, 8: 0.526, 9: 0.493, 10: 0.466}
# Two-sided 90 % (Rorabacher 1991).
_DIXON_90 = {3: 0.941, 4: 0.765, 5: 0.642, 6: 0.560, 7: 0.507, 8: 0.468, 9: 0.437, 10: 0.412}


@dataclass(frozen=True, slots=True)
class OutlierTest:
    """One test: its statistic against the critical value at 95 %, and the places (from 0) of what it points at."""

    name: str
    statistic: float
    critical: float
    suspects: tuple[int, ...]
    flagged: bool

    def sentence(self, labels: Sequence[str]) -> str:
        """Return what the test says, for the chemist."""
        whom = " and ".join(labels[each] for each in self.suspects)
        told = f"{self.name}: {self.statistic:.3f} against {self.critical:.3f} at 95 %"
        if not self.flagged:
            return f"{told}; no replicate stands out"
        return f"{told}; {whom} stands out: look for the cause, exclude it only with a stated reason"


def grubbs_critical(n: int, alpha: float = 0.05) -> float:
    """Return the two-sided critical value of Grubbs' test for one outlier among n; ValueError below three."""
    if n < 3:
        raise ValueError(f"three replicates or more expected for Grubbs' test, {n} came")
    t = float(student_t.ppf(1.0 - alpha / (2.0 * n), n - 2))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def dixon_critical(n: int, confidence: float = 0.95) -> float:
    """Return the two-sided critical Q for n = 3 to 10 at 0.90 or 0.95; ValueError else."""
    table = {0.95: _DIXON, 0.90: _DIXON_90}.get(confidence)
    if table is None or n not in table:
        raise ValueError(f"3 to 10 replicates at 0.90 or 0.95 expected for Dixon's test, {n} at {confidence} came")
    return table[n]


def pair_critical(n: int, alpha: float = 0.05) -> float:
    """Return the lower critical value of Grubbs' test for a pair, n = 4 to 15, alpha 0.05 or 0.01; ValueError else."""
    if n not in _PAIR or alpha not in (0.05, 0.01):
        raise ValueError(f"4 to 15 replicates at 0.05 or 0.01 expected for Grubbs' pair, {n} at {alpha} came")
    return _PAIR[n][0 if alpha == 0.05 else 1]


def _squares(values: Sequence[float]) -> float:
    """Return the sum of squared deviations from the mean."""
    mean = math.fsum(values) / len(values)
    return math.fsum((each - mean) ** 2 for each in values)


def grubbs(values: Sequence[float]) -> OutlierTest:
    """Return Grubbs' test for the value farthest from the mean; ValueError below three values or without scatter."""
    n, mean = len(values), math.fsum(values) / len(values)
    critical = grubbs_critical(n)
    far = max(range(n), key=lambda place: abs(values[place] - mean))
    statistic = abs(values[far] - mean) / math.sqrt(_squares(values) / (n - 1))
    return OutlierTest("Grubbs' test", statistic, critical, (far,), statistic > critical)


def grubbs_pair(values: Sequence[float]) -> OutlierTest:
    """Return Grubbs' test for the two largest or the two smallest, whichever stand farther off (n = 4 to 15)."""
    critical = pair_critical(len(values))
    order = sorted(range(len(values)), key=values.__getitem__)
    sides = [(_squares([values[place] for place in rest]), pair) for rest, pair in (
        (order[2:], order[:2]), (order[:-2], order[-2:])
    )]  # fmt: skip
    squares, pair = min(sides)
    statistic = squares / _squares(values)
    return OutlierTest("Grubbs' test for a pair", statistic, critical, tuple(sorted(pair)), statistic < critical)


def dixon(values: Sequence[float]) -> OutlierTest:
    """Return Dixon's Q for the end value with the wider gap (n = 3 to 10)."""
    critical = dixon_critical(len(values))
    order = sorted(range(len(values)), key=values.__getitem__)
    ordered = [values[place] for place in order]
    gaps = (ordered[1] - ordered[0], ordered[-1] - ordered[-2])
    suspect = order[0] if gaps[0] > gaps[1] else order[-1]
    statistic = max(gaps) / (ordered[-1] - ordered[0])
    return OutlierTest("Dixon's Q", statistic, critical, (suspect,), statistic > critical)


_TESTS: tuple[tuple[Callable[[Sequence[float]], OutlierTest], range], ...] = (
    (grubbs, range(3, 1_000_000)),
    (grubbs_pair, range(4, 16)),
    (dixon, range(3, 11)),
)


def outlier_tests(values: Sequence[float]) -> tuple[OutlierTest, ...]:
    """Return every test that has critical values for this many replicates; none where all are equal."""
    # Rounding alone makes "scatter" of equal numbers: nothing below a few units in the last place is tested.
    scale = max((abs(each) for each in values), default=0.0)
    if len(values) < 3 or max(values) - min(values) <= 8.0 * math.ulp(scale):
        return ()
    return tuple(test(values) for test, counts in _TESTS if len(values) in counts)
