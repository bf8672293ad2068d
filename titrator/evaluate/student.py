"""Quantiles of Student's t, as often as an evaluation asks for them."""

from __future__ import annotations

from functools import lru_cache

from scipy.special import stdtrit

MOST_DEGREES = 1e9
"""From here on the distribution is the normal one to ten digits."""


@lru_cache(maxsize=4096)
def student_quantile(probability: float, dof: float) -> float:
    """Return t such that `probability` of the distribution with `dof` degrees of freedom lies below it."""
    return float(stdtrit(min(dof, MOST_DEGREES), probability))
