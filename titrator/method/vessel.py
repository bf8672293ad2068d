"""Section `vessel`: what the titration happens in."""

from collections.abc import Iterable
from typing import Literal

from pydantic import Field

from titrator.files import Finding, StrictModel
from titrator.files.quantities import PositiveVolume_mL, Volume_mL
from titrator.files.texts import Text


class Vessel(StrictModel):
    """The vessel and the liquid in it at the start. Nothing may run over."""

    capacity_mL: PositiveVolume_mL = Field(
        alias="capacity", description="What the vessel holds to the level that must not be passed, electrodes in it."
    )
    fill_mL: PositiveVolume_mL = Field(
        alias="fill", description="Liquid in the vessel at the start: aliquot, medium and any water together."
    )
    covers_from_mL: PositiveVolume_mL = Field(
        alias="covers_from",
        description="Least volume of liquid that covers the electrode's junction and membrane, and the tip where it is "
        "`immersed`, stirred as the operator is told.",
    )
    rinse_mL: Volume_mL = Field(
        default=0.0,
        alias="rinse",
        description="Water allowed for rinsing the walls during the titration; none without this key.",
    )
    tip: Literal["immersed", "above"] = Field(
        description="Whether the burette's tip is `immersed` (small additions arrive whole; it needs an anti-siphon "
        "tip) or `above` the liquid."
    )
    gas: Literal["nitrogen", "argon"] | None = Field(
        None,
        description="Inert gas that keeps air out, over or through the solution from before the sample is put in; open "
        "to air without this key.",
    )
    stirring: Text = Field(description="How the solution is stirred, as an instruction to the operator.")

    def findings(self) -> Iterable[Finding]:
        """Refuse a fill beyond the capacity, and one that leaves the electrode dry."""
        if self.fill_mL > self.capacity_mL:
            text = f"expected at most the capacity of {self.capacity_mL:g} mL, got {self.fill_mL:g} mL"
            yield Finding(("fill",), text)
        if self.fill_mL < self.covers_from_mL:
            yield Finding(
                ("fill",),
                f"expected at least the {self.covers_from_mL:g} mL that cover electrode and tip (covers_from), got "
                f"{self.fill_mL:g} mL: add medium or water, or take a narrower vessel",
            )
