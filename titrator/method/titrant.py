"""Section `titrant`: the solution in the burette."""

from collections.abc import Iterable
from typing import NamedTuple

from pydantic import Field

from titrator.files import Finding, StrictModel, UncertainConcentration
from titrator.files.quantities import PositiveExpansion_per_K
from titrator.method.measured import MeasuredTemperature
from titrator.method.standard import Prepared, Standardised


class Concentration(NamedTuple):
    """A concentration in mol/L with its standard uncertainty."""

    value_mol_per_L: float
    u_mol_per_L: float


class Titrant(StrictModel):
    """The titrant: its concentration at 20 °C as stated, as prepared or as standardised, and how warm it is."""

    stated: UncertainConcentration | None = Field(
        None,
        alias="concentration",
        description="Concentration of the titrant from its standardisation, with its standard uncertainty; of a base, "
        "as hydrogen phthalate finds it. Give this, `prepared` or `standardised`.",
    )
    prepared: Prepared | None = Field(
        None, description="How it was prepared by weighing a pure substance; its concentration is computed."
    )
    standardised: Standardised | None = Field(
        None,
        description="How it was standardised against a weighed primary standard; its concentration is computed, and "
        "what standardisation and sample share cancels.",
    )
    warmth: MeasuredTemperature = Field(
        alias="temperature",
        description="Temperature of the titrant in the burette, between 0 and 100 °C: `20 °C`, or a section with its "
        "uncertainty.",
    )
    expansion_per_K: PositiveExpansion_per_K | None = Field(
        None, alias="expansion", description="Its cubic expansion. Without this key that of water, by its temperature."
    )

    @property
    def temperature_C(self) -> float:
        """Return the temperature in °C."""
        return self.warmth.value_C

    @property
    def concentration(self) -> Concentration:
        """Return the concentration at 20 °C, whichever way it is told."""
        if self.prepared is not None:
            return Concentration(
                self.prepared.value_mol_per_L(self.expansion_per_K), self.prepared.u_mol_per_L(self.expansion_per_K)
            )
        if self.standardised is not None:
            by = (self.temperature_C, self.expansion_per_K)
            return Concentration(self.standardised.value_mol_per_L(*by), self.standardised.u_mol_per_L(*by))
        assert self.stated is not None
        return Concentration(self.stated.value_mol_per_L, self.stated.u_mol_per_L)

    def findings(self) -> Iterable[Finding]:
        """Refuse a concentration that is told in no way, or in two."""
        ways = {"concentration": self.stated, "prepared": self.prepared, "standardised": self.standardised}
        came = [way for way, told in ways.items() if told is not None]
        if not came:
            yield Finding((), "expected one of the keys concentration, prepared and standardised, got none of them")
        elif len(came) > 1:
            yield Finding((came[1],), f"expected one of {', '.join(ways)}, got {' and '.join(came)}")
