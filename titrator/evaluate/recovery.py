"""Recovery of a control sample: found over expected, with its uncertainty, and whether it differs from 100 %.

R differs significantly where |R - 1| is above k u(R), k from Student's t at 95 % for the effective degrees of freedom
(V. J. Barwick and S. L. R. Ellison, Analyst 124 (1999) 981; Eurachem/CITAC CG4 (2012), 7.16; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from titrator.evaluate.budget import budget
from titrator.evaluate.measurement import Model, Part, model_of
from titrator.evaluate.propagation import Propagated


@dataclass(frozen=True, slots=True)
class Recovery:
    """Found over expected (1 is 100 %) with budget; `differs`: significantly from 1 at 95 %."""

    ratio: Propagated

    @property
    def differs(self) -> bool:
        """Whether the recovery is told apart from 100 % at 95 %."""
        return abs(self.ratio.value - 1.0) > self.ratio.U

    @property
    def score(self) -> float:
        """How many times its standard uncertainty the recovery is off 100 %; 0 where nothing is uncertain."""
        return (self.ratio.value - 1.0) / self.ratio.u if self.ratio.u > 0.0 else 0.0

    def to_json(self) -> dict[str, Any]:
        """Return the recovery as JSON: the ratio (1 is 100 %), its u and U, and whether it differs from 1 at 95 %."""
        found = self.ratio
        return {
            "ratio": found.value,
            "u": found.u,
            "U": found.U,
            "k": found.k,
            "score": self.score,
            "differs": self.differs,
            "sentence": self.sentence,
        }

    @property
    def sentence(self) -> str:
        """The recovery in words, for the chemist."""
        found = self.ratio
        told = f"recovery {100.0 * found.value:.2f} %, U {100.0 * found.U:.2f} % (k {found.k:.2f}, 95 %)"
        if not self.differs:
            return f"{told}: not told apart from 100 %; nothing is corrected"
        side = "low: look for loss, air oxidation, a titrant stronger than stated" if found.value < 1.0 else (
            "high: look for a blank not taken off, contamination, a titrant weaker than stated"
        )  # fmt: skip
        return f"{told}: it differs from 100 % significantly and is {side}"


def recovery(found: Part, expected: Part) -> Recovery:
    """Return the recovery of a control sample; both with their sources, shared ones by name.

    Raises ValueError for an expected value of 0.
    """
    if model_of(expected).value == 0.0:
        raise ValueError("an expected value other than 0 expected for a recovery, 0 came")
    return Recovery(budget(model_of(found) / expected))


def spike_recovery(with_spike: Part, without_spike: Part, added: Part) -> Recovery:
    """Return the recovery of a known addition: (found with it - found without it) / added."""
    difference: Model = model_of(with_spike) - without_spike
    return recovery(difference, added)
