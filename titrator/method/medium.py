"""Section `medium`: what is added to the aliquot before the titration."""

import math
from collections.abc import Iterable
from typing import Annotated

from pydantic import Field

from titrator.chemistry.reactions import REACTIONS, WATER, KnownMedium
from titrator.chemistry.suitability import REAGENTS
from titrator.files import Finding, StrictModel
from titrator.files.quantities import Plain, PositiveConcentration_mol_per_L, Volume_mL
from titrator.files.schema import one_of
from titrator.files.texts import Text
from titrator.method.solution import SolutionTemperature_C


def _names(*kinds: str) -> list[str]:
    return [medium.name for reaction in REACTIONS for medium in reaction.media if medium.kind in kinds]


class Medium(StrictModel):
    """The acid or buffer that keeps the analyte in solution and fixes the constants, and what else is added."""

    acid: Text | None = Field(
        None,
        description='Name of the acid, "sulfuric acid", or "none" for plain water. Give this or `buffer`.',
        json_schema_extra=one_of(lambda: [*_names("acid"), WATER]),
    )
    buffer: Text | None = Field(
        None,
        description='Name of the buffer, "ammonia buffer". Give this or `acid`.',
        json_schema_extra=one_of(lambda: _names("buffer")),
    )
    stated_mol_per_L: PositiveConcentration_mol_per_L | None = Field(
        None,
        alias="concentration",
        description="Concentration of the acid, or of both forms of the buffer together, in the solution that is "
        "added; left out in plain water.",
    )
    pH: Annotated[float, Plain()] | None = Field(None, description="pH of the buffer, without unit; for a buffer only.")
    volume_mL: Volume_mL = Field(
        alias="volume", description="Volume of that solution (or of water), added to the aliquot in the vessel."
    )
    temperature_C: SolutionTemperature_C = Field(
        alias="temperature",
        description="Temperature of the solution in the vessel, between 0 and 100 °C: it sets the Nernst slope.",
    )
    reagents: tuple[Text, ...] = Field(
        default=(),
        description="What else is put into the vessel, from the list in `titrator/chemistry/suitability.py`, its "
        "volume being part of `vessel.fill`.",
        json_schema_extra=one_of(lambda: REAGENTS),
    )

    @property
    def name(self) -> str:
        """Return the name of acid or buffer, "none" for plain water."""
        return self.buffer or self.acid or WATER

    @property
    def key(self) -> str:
        """Return the key that states it."""
        return "buffer" if self.buffer is not None else "acid"

    @property
    def concentration_mol_per_L(self) -> float:
        """Return the concentration of the added acid or buffer in mol/L, 0 where there is none."""
        return self.stated_mol_per_L or 0.0

    def of(self, media: Iterable[KnownMedium]) -> KnownMedium | None:
        """Return which of these media it is, None for none of them."""
        kinds = ("buffer",) if self.buffer is not None else ("acid", "water")
        return next((known for known in media if known.name == self.name and known.kind in kinds), None)

    def findings(self) -> Iterable[Finding]:
        """Refuse both or neither of acid and buffer, and concentrations, pH and reagents that do not belong."""
        if (self.acid is None) == (self.buffer is None):
            both = f"both ({self.acid}, {self.buffer})" if self.acid is not None else "neither"
            yield Finding(("buffer",), f'expected one of the keys acid ("none" for plain water) and buffer, got {both}')
            return
        if self.name == WATER and self.stated_mol_per_L is not None:
            text = f'expected no concentration where acid is "{WATER}", got {self.stated_mol_per_L:g} mol/L'
            yield Finding(("concentration",), text)
        if self.name != WATER and self.stated_mol_per_L is None:
            text = f"expected the key concentration beside the {self.key}, got {self.name} without it"
            yield Finding((self.key,), text)
        if self.buffer is not None and self.pH is None:
            yield Finding(("buffer",), f"expected the key pH beside the buffer, got {self.buffer} without it")
        if self.buffer is None and self.pH is not None:
            yield Finding(("pH",), f"expected no pH without a buffer (the acid sets it), got {self.pH:g}")
        if self.pH is not None and not (math.isfinite(self.pH) and 0 <= self.pH <= 14):
            yield Finding(("pH",), f"expected a pH from 0 to 14, got {self.pH:g}")
        for number, reagent in enumerate(self.reagents):
            if reagent not in REAGENTS or reagent in self.reagents[:number]:
                yield Finding(
                    ("reagents", number),
                    f"expected reagents of the list ({', '.join(REAGENTS)}), each once, got {reagent}",
                )
