"""The sections of a cell file on electrode, stirring, room and amplifier; by default nothing of them errs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import Field

from titrator.chemistry.references import REFERENCES
from titrator.files.models import Finding, StrictModel
from titrator.files.quantities import (
    POTENTIAL,
    RESISTANCE,
    SPEED,
    WARMING,
    Duration_s,
    NonNegativeNumber,
    Plain,
    PositiveConcentration_mol_per_L,
    PositiveDuration_s,
    PositiveNumber,
    PositivePotential_mV,
    Potential_mV,
    Quantity,
    Temperature_C,
)
from titrator.files.schema import one_of
from titrator.files.texts import Text

Share = Annotated[float, Plain(at_least=0, at_most=1)]
Resistance_MOhm = Annotated[float, Quantity(RESISTANCE, at_least=0)]


class OxideSection(StrictModel):
    """Oxide on a metal electrode: what an excess of a strong oxidant leaves on it, into the next sample."""

    at_start_mV: Annotated[float, Quantity(POTENTIAL, at_least=0, below=200)] = Field(
        alias="at_start", description="How high the cover that is there at the start makes a low potential read."
    )
    above_mV: Potential_mV = Field(
        alias="above", description="Against the reference: above it the cover grows, below it is reduced."
    )
    full_mV: Annotated[float, Quantity(POTENTIAL, above=0, below=200)] = Field(
        alias="full", description="The error of a full cover, below 200 mV."
    )
    grows_s: PositiveDuration_s = Field(alias="grows", description="Time constant of its growth.")
    reduced_s: PositiveDuration_s = Field(alias="reduced", description="Time constant of its reduction.")
    slower: NonNegativeNumber = Field(
        description="By so many times its own a full cover lengthens the response time (3: four times as long)."
    )


class ReferenceSection(StrictModel):
    """The reference electrode that really stands in the vessel, where it is another than the method states."""

    electrode: Text = Field(
        description='Its kind: "silver/silver chloride" or "calomel".',
        json_schema_extra=one_of(lambda: [known.electrode for known in REFERENCES]),
    )
    filling: Text = Field(
        description='Its filling, "saturated KCl": exchanged by mistake, or diluted.',
        json_schema_extra=one_of(lambda: [known.filling for known in REFERENCES]),
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse what the table of reference electrodes does not have."""
        fillings = [known.filling for known in REFERENCES if known.electrode == self.electrode]
        if not fillings:
            kinds = " or ".join(dict.fromkeys(known.electrode for known in REFERENCES))
            yield Finding(("electrode",), f"expected {kinds}, got {self.electrode}")
        elif self.filling not in fillings:
            known = ", ".join(fillings)
            yield Finding(("filling",), f"expected a filling of {self.electrode} ({known}), got {self.filling}")


class ElectrodeSection(StrictModel):
    """The indicator electrode: its lag, and what is wrong with it.

    The response time is `response + slowing * w` with w = G^p/(G^p + half^p), G = Ve·|dE/dV|/s.
    """

    response_s: PositiveDuration_s = Field(alias="response", description="Response time in a well poised solution.")
    slowing_s: Duration_s = Field(alias="slowing", description="What a poorly poised solution adds to it at most.")
    slowing_half_at: PositiveNumber = Field(description="The steepness G at which half of `slowing` is added.")
    slowing_power: PositiveNumber = Field(1.0, description="The power p of G in the law.")
    poised_at_mol_per_L: PositiveConcentration_mol_per_L | None = Field(
        None,
        alias="poised_at",
        description="What is titrated in the vessel, as the titrant that it takes, at which the law holds as it "
        "stands; in a solution half as strong G counts twice. Without this key dilution slows nothing.",
    )
    offset_mV: Potential_mV = Field(
        0.0, alias="offset", description="Error of the amplifier or of the reference electrode, added to every reading."
    )
    reference: ReferenceSection | None = Field(
        None,
        description="The reference electrode that really is there, where it is another than the method states: the "
        "difference of their potentials shifts every reading.",
    )
    coated: Share = Field(
        0.0, description="Coating from 0 to 1: a slower electrode, and so much of every step comes twenty times later."
    )
    cracked: Share = Field(0.0, description="Leak from 0 to 1 that pulls the potential towards zero.")
    oxide: OxideSection | None = Field(None, description="Oxide on a metal electrode; none without this section.")
    resistance_MOhm: Resistance_MOhm = Field(
        0.0, alias="resistance", description="Resistance of the electrode; hundreds of megohms for a glass membrane."
    )


class AmplifierSection(StrictModel):
    """The input that the electrode is connected to; its range and steps stand in the rig file."""

    input_MOhm: Annotated[float, Quantity(RESISTANCE, above=0)] | None = Field(
        None, alias="input", description="Input resistance; without this key it takes nothing from any electrode."
    )
    hum_mV: Annotated[float, Quantity(POTENTIAL, at_least=0)] = Field(
        0.0,
        alias="hum",
        description="Amplitude of the mains hum that the readings see with platinum; twice as much at "
        "100 MΩ. Frequency beside 50 Hz, drawn.",
    )


class TipSection(StrictModel):
    """Where the tip of the burette is in the stirred liquid."""

    outside_stream: Share = Field(
        0.0, description="Share of every addition that lingers at the tip, outside the stirrer's stream."
    )
    lingers_s: PositiveDuration_s = Field(60.0, alias="lingers", description="Time constant with which it leaves.")


class SurroundingsSection(StrictModel):
    """What the room does to the vessel."""

    evaporation_mL_per_min: Annotated[float, Quantity(SPEED, at_least=0)] = Field(
        0.0, alias="evaporation", description="Liquid that evaporates."
    )
    room_C: Temperature_C | None = Field(
        None, alias="room", description="Temperature of the room, for a vessel that goes towards it; with `exchange`."
    )
    warming_C_per_min: Annotated[float, Quantity(WARMING)] = Field(
        0.0, alias="warming", description="A steady source of warmth, such as the motor of the stirrer."
    )
    exchange_s: PositiveDuration_s | None = Field(
        None,
        alias="exchange",
        description="Time constant with which the vessel takes on the room's temperature; without `room` that of the "
        "start.",
    )
    air: Share = Field(
        1.0, description="Share of what air can do to the solution: 1 in an open vessel, 0 under a perfect cover."
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse a room that nothing is exchanged with."""
        if self.room_C is not None and self.exchange_s is None:
            yield Finding(("room",), "expected the key exchange beside room, got none: the room would do nothing")


class WhiteNoise(StrictModel):
    """Noise without memory."""

    kind: Literal["white"] = Field(description="white: each reading errs independently.")
    sd_mV: PositivePotential_mV = Field(alias="sd", description="Standard deviation of one reading.")


class CorrelatedNoise(StrictModel):
    """Noise with a memory: autoregressive of first order, sampled exactly at any spacing of readings."""

    kind: Literal["correlated"] = Field(description="correlated: neighbouring readings err alike, AR(1).")
    sd_mV: PositivePotential_mV = Field(alias="sd", description="Standard deviation of one reading.")
    memory_s: PositiveDuration_s = Field(
        alias="memory", description="Time after which the correlation has fallen to 1/e."
    )


Noise = Annotated[WhiteNoise | CorrelatedNoise, Field(discriminator="kind")]
