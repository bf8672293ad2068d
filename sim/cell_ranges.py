"""Limits between which a dry run draws a figure of the cell."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from pydantic import Field

from titrator.files.models import Finding, StrictModel
from titrator.files.quantities import (
    POTENTIAL,
    Concentration_mol_per_L,
    NonNegativeNumber,
    Potential_mV,
    Quantity,
)

_FROM = "Lower limit; the draw is uniform between the limits."
_TO = "Upper limit, not below the lower one."

Width_mV = Annotated[float, Quantity(POTENTIAL, at_least=0)]


def _in_order(low: float, high: float, unit: str = "") -> Iterable[Finding]:
    if high < low:
        text = f"expected at least {low:g}{unit}, the lower limit (from), got {high:g}{unit}: the wrong way round"
        yield Finding(("to",), text)


class ConcentrationRange(StrictModel):
    """A concentration drawn uniformly, in mol/L."""

    low_mol_per_L: Concentration_mol_per_L = Field(alias="from", description=_FROM)
    high_mol_per_L: Concentration_mol_per_L = Field(alias="to", description=_TO)

    @property
    def limits(self) -> tuple[float, float]:
        """Return both limits in mol/L."""
        return self.low_mol_per_L, self.high_mol_per_L

    def findings(self) -> Iterable[Finding]:
        """Yield limits that are the wrong way round."""
        return _in_order(self.low_mol_per_L, self.high_mol_per_L, " mol/L")


class NumberRange(StrictModel):
    """A number drawn uniformly."""

    low: NonNegativeNumber = Field(alias="from", description=_FROM)
    high: NonNegativeNumber = Field(alias="to", description=_TO)

    @property
    def limits(self) -> tuple[float, float]:
        """Return both limits."""
        return self.low, self.high

    def findings(self) -> Iterable[Finding]:
        """Yield limits that are the wrong way round."""
        return _in_order(self.low, self.high)


class PotentialRange(StrictModel):
    """A potential drawn uniformly about a centre, in mV."""

    centre_mV: Potential_mV = Field(alias="centre", description="Middle of the draw.")
    within_mV: Width_mV = Field(
        alias="within", description="The draw is uniform from centre minus this to centre plus this."
    )

    @property
    def limits(self) -> tuple[float, float]:
        """Return both limits in mV."""
        return self.centre_mV - self.within_mV, self.centre_mV + self.within_mV


Range = ConcentrationRange | NumberRange | PotentialRange
