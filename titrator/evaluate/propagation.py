"""The law of propagation of uncertainty for a product of powers (JCGM 100:2008, 5.1.2, G.4 and table G.2).

A quotient y = f · x1^p1 · x2^p2 ... covers every result here. Sensitivities are c_k = p_k y/x_k; inputs are
independent. Effective degrees of freedom by Welch and Satterthwaite; U = k u with k the two-sided 95 % point of
Student's t for them.
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
class Input:
    """One factor of a product: value and *standard* uncertainty in `unit`, its exponent, degrees of freedom."""

    name: str
    value: float
    u: float
    unit: str = "1"
    exponent: float = 1.0
    dof: float = math.inf
    distribution: Distribution = "normal"

    def __post_init__(self) -> None:
        """Refuse what has no relative uncertainty; raises ValueError."""
        if not (math.isfinite(self.value) and self.value != 0.0):
            raise ValueError(f"{self.name}: a finite value other than 0 expected, {self.value!r} came")
        if not (math.isfinite(self.u) and self.u >= 0.0):
            raise ValueError(f"{self.name}: a finite standard uncertainty >= 0 expected, {self.u!r} came")
        if not self.dof > 0.0:
            raise ValueError(f"{self.name}: degrees of freedom above 0 expected, {self.dof!r} came")


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


def product_of_powers(inputs: Sequence[Input], factor: float = 1.0) -> Propagated:
    """Return factor · Π value^exponent with its uncertainty budget.

    Raises ValueError for inputs of value 0 or without a finite uncertainty (see Input).
    """
    value = factor * math.prod(each.value**each.exponent for each in inputs)
    sensitivities = [each.exponent * value / each.value for each in inputs]
    contributions = [abs(c) * each.u for c, each in zip(sensitivities, inputs, strict=True)]
    u = math.sqrt(math.fsum(contribution**2 for contribution in contributions))
    dof = effective_dof([(part, each.dof) for part, each in zip(contributions, inputs, strict=True)])
    budget = tuple(
        BudgetLine(
            each.name,
            each.value,
            each.u,
            each.unit,
            each.distribution,
            each.dof,
            c,
            part,
            (part / u) ** 2 if u > 0.0 else 0.0,
        )
        for each, c, part in zip(inputs, sensitivities, contributions, strict=True)
    )
    return Propagated(value, u, dof, coverage_factor(dof), budget)
