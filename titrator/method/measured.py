"""Volumes, masses and temperatures as they are measured: each with what its uncertainty is known by."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Final

from pydantic import ConfigDict, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from titrator.files import Finding
from titrator.files.models import Uncertain
from titrator.files.quantities import (
    TEMPERATURE,
    Mass_g,
    MolarMass_g_per_mol,
    PositiveMass_g,
    PositiveVolume_mL,
    Quantity,
    TemperatureDifference_C,
    Volume_mL,
)
from titrator.files.texts import Text
from titrator.method.solution import SolutionTemperature_C

_U: Final = {"u": "standard uncertainty"}
_LIMITS: Final = {"half_width": "limits of a certificate"}


def _one_of(*ways: str) -> ConfigDict:
    return ConfigDict(json_schema_extra={"oneOf": [{"required": [way]} for way in ways]})


class MeasuredVolume(Uncertain):
    """The content of a pipette or flask: by its uncertainty as a whole, or by tolerance and scatter of filling."""

    WAYS: ClassVar[dict[str, str]] = {**_U, **_LIMITS, "tolerance": "of the glassware"}
    model_config = _one_of(*WAYS)

    value_mL: PositiveVolume_mL = Field(alias="value", description="The best value; of glassware its nominal volume.")
    stated_u_mL: Volume_mL | None = Field(
        None, alias="u", description="Its standard uncertainty as a whole. Give this, `half_width` or `tolerance`."
    )
    half_width_mL: Volume_mL | None = Field(
        None, alias="half_width", description="Half the width of limits that hold it as a whole; u is half_width/√3."
    )
    tolerance_mL: Volume_mL | None = Field(
        None,
        alias="tolerance",
        description="By how much the mark of the pipette or flask may be off (its class: 0.02 mL for a 10 mL pipette "
        "A). Values near the mark are the likelier: triangular, u is tolerance/√6.",
    )
    filling_mL: Volume_mL = Field(
        0.0,
        alias="filling",
        description="Standard deviation of one filling to the mark, new each time; beside `tolerance`, else it is "
        "within u.",
    )
    vessel: Text | None = Field(
        None,
        description="Name of the pipette or flask, beside `tolerance`: where one name stands twice, the error of its "
        "mark is one and the same, and cancels or adds up accordingly.",
    )

    @property
    def u_mL(self) -> float:
        """Return the standard uncertainty in mL as a whole."""
        if self.tolerance_mL is not None:
            return math.hypot(self.tolerance_mL / math.sqrt(6.0), self.filling_mL)
        return self.standard(self.stated_u_mL, self.half_width_mL)

    def findings(self) -> Iterable[Finding]:
        """Refuse what belongs to glassware where the uncertainty is told as a whole."""
        if self.tolerance_mL is None:
            for key, told in (("filling", self.filling_mL > 0.0), ("vessel", self.vessel is not None)):
                if told:
                    yield Finding((key,), f"expected {key} beside tolerance only, got it without")


class WeighedMass(Uncertain):
    """A mass by difference on a balance."""

    WAYS: ClassVar[dict[str, str]] = {**_U, **_LIMITS, "linearity": "of the balance, for tare and gross each"}
    model_config = _one_of(*WAYS)

    value_g: PositiveMass_g = Field(alias="value", description="The mass.")
    stated_u_g: Mass_g | None = Field(
        None, alias="u", description="Its standard uncertainty as a whole. Give this, `half_width` or `linearity`."
    )
    half_width_g: Mass_g | None = Field(
        None, alias="half_width", description="Half the width of limits that hold it as a whole; u is half_width/√3."
    )
    linearity_g: Mass_g | None = Field(
        None,
        alias="linearity",
        description="Half the width of the limits that the balance's certificate allows; it counts twice, for tare and "
        "gross: u is linearity·√(2/3).",
    )

    @property
    def u_g(self) -> float:
        """Return the standard uncertainty in g."""
        if self.linearity_g is not None:
            return self.linearity_g * math.sqrt(2.0 / 3.0)
        return self.standard(self.stated_u_g, self.half_width_g)


class BlankVolume(Uncertain):
    """The volume of titrant that a blank takes; it may be nothing."""

    value_mL: Volume_mL = Field(alias="value", description="The best value; 0 where nothing was found.")
    stated_u_mL: Volume_mL | None = Field(
        None, alias="u", description="Its standard uncertainty, or give `half_width`."
    )
    half_width_mL: Volume_mL | None = Field(
        None,
        alias="half_width",
        description="Half the width of the limits: a blank below a first addition of 0.02 mL is 0.01 mL with 0.01 mL.",
    )

    @property
    def u_mL(self) -> float:
        """Return the standard uncertainty in mL."""
        return self.standard(self.stated_u_mL, self.half_width_mL)


class UncertainMolarMass(Uncertain):
    """A molar mass with its standard uncertainty."""

    value_g_per_mol: MolarMass_g_per_mol = Field(alias="value", description="The best value.")
    stated_u_g_per_mol: MolarMass_g_per_mol | None = Field(
        None, alias="u", description="Its standard uncertainty, or give `half_width`."
    )
    half_width_g_per_mol: MolarMass_g_per_mol | None = Field(
        None, alias="half_width", description="Half the width of limits that hold it; u is half_width/√3."
    )

    @property
    def u_g_per_mol(self) -> float:
        """Return the standard uncertainty in g/mol."""
        return self.standard(self.stated_u_g_per_mol, self.half_width_g_per_mol)


class UncertainTemperature(Uncertain):
    """A temperature of a solution, `20 °C`, or a section with its uncertainty."""

    value_C: SolutionTemperature_C = Field(alias="value", description="The best value, between 0 and 100 °C.")
    stated_u_C: TemperatureDifference_C | None = Field(
        None, alias="u", description="Its standard uncertainty, or give `half_width`."
    )
    half_width_C: TemperatureDifference_C | None = Field(
        None, alias="half_width", description="By how much it may be off at most, `2 °C`; u is half_width/√3."
    )

    @property
    def u_C(self) -> float:
        """Return the standard uncertainty in K."""
        return self.standard(self.stated_u_C, self.half_width_C)

    def findings(self) -> Iterable[Finding]:
        """Refuse an uncertainty below 0, which a difference of temperatures may be."""
        for key, told in (("u", self.stated_u_C), ("half_width", self.half_width_C)):
            if told is not None and told < 0.0:
                yield Finding((key,), f"expected at least 0 °C, got {told:g} °C")


@dataclass(frozen=True, slots=True)
class OrPlain:
    """Lets a temperature without its section be one that is known exactly: `20 °C` is {value: 20 °C, u: 0 °C}."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the schema that pydantic validates with."""
        return core_schema.no_info_before_validator_function(self._section, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Return the JSON Schema for editors."""
        plain = Quantity(TEMPERATURE, above=0, below=100)
        return {"anyOf": [plain.__get_pydantic_json_schema__(schema, handler), handler(schema)]}

    @staticmethod
    def _section(value: object) -> object:
        return value if isinstance(value, (dict, UncertainTemperature)) else {"value": value, "u": "0 °C"}


MeasuredTemperature = Annotated[UncertainTemperature, OrPlain()]
"""A temperature in °C with or without its uncertainty."""
