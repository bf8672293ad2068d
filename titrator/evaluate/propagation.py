"""What a propagation of uncertainty comes to: budget lines, effective degrees of freedom, coverage factor, interval.

Effective degrees of freedom by Welch and Satterthwaite (JCGM 100:2008, G.4); U = k u with k the two-sided 95 % point of
Student's t for them (table G.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from scipy.stats import t as student_t

Distribution = Literal["normal", "rectangular", "triangular", "arcsine", "t"]
COVERAGE = 0.95


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of an uncertainty budget: `contribution` = |sensitivity| u in the result's unit, `share` of u²."""

    name: str
    value: float
    u: float
    unit: str
    distribution: Distribution
    dof: float
    sensitivity: float
    contribution: float
    share: float

    def to_json(self) -> dict[str, Any]:
        """Return the line as JSON (infinite degrees of freedom are null)."""
        return {
            "name": self.name,
            "value": self.value,
            "u": self.u,
            "unit": self.unit,
            "distribution": self.distribution,
            "dof": self.dof if math.isfinite(self.dof) else None,
            "sensitivity": self.sensitivity,
            "contribution": self.contribution,
            "share": self.share,
        }


@dataclass(frozen=True, slots=True)
class CorrelationLine:
    """What the correlation r of two inputs adds to u²: `share` of it, negative where it makes u smaller."""

    first: str
    second: str
    r: float
    share: float

    def to_json(self) -> dict[str, Any]:
        """Return the line as JSON."""
        return {"first": self.first, "second": self.second, "r": self.r, "share": self.share}


@dataclass(frozen=True, slots=True)
class Propagated:
    """A value with its standard uncertainty u, effective degrees of freedom, coverage factor and U = k u (95 %).

    Shares of `budget` and of `correlations` add to 1 where u is above 0.
    """

    value: float
    u: float
    dof: float
    k: float
    budget: tuple[BudgetLine, ...]
    correlations: tuple[CorrelationLine, ...] = ()

    @property
    def U(self) -> float:
        """Expanded uncertainty, k times u."""
        return self.k * self.u

    @property
    def interval_95(self) -> tuple[float, float]:
        """Value minus and plus U."""
        return self.value - self.U, self.value + self.U


def effective_dof(contributions: Sequence[tuple[float, float]]) -> float:
    """Return Welch and Satterthwaite's degrees of freedom of (contribution, dof) pairs; infinite if all are."""
    total = math.fsum(contribution**2 for contribution, _ in contributions)
    denominator = math.fsum(contribution**4 / dof for contribution, dof in contributions)
    return total**2 / denominator if denominator > 0.0 else math.inf


def coverage_factor(dof: float) -> float:
    """Return the two-sided 95 % point of Student's t (1.96 for infinite degrees of freedom)."""
    return float(student_t.ppf((1.0 + COVERAGE) / 2.0, min(dof, 1e9)))
