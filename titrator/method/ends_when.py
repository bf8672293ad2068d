"""Section `ends_when`: what ends the titration, whichever comes first."""

from pydantic import Field

from titrator.files import StrictModel
from titrator.files.quantities import Count, PositiveDuration_s, PositiveVolume_mL, Potential_mV


class EndsWhen(StrictModel):
    """The ends of a titration, other than the operator and a fault."""

    volume_above_mL: PositiveVolume_mL = Field(
        alias="volume_above",
        description="No addition takes the delivered volume above this. It must fit into the vessel, and it is the "
        "travel that the burette is allowed in this run.",
    )
    potential_beyond_mV: Potential_mV | None = Field(
        None,
        alias="potential_beyond",
        description="A potential, against the reference, that ends the titration once it is passed in the direction "
        "away from the start window; no such end without this key.",
    )
    time_over_s: PositiveDuration_s = Field(alias="time_over", description="The titration ends after this time.")
    readings_past_jump: Count = Field(
        description="The titration ends after so many logged readings behind the last equivalence point sought."
    )
