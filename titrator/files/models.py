"""The base of every section of a file, and quantities with an uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, ClassVar, NamedTuple, Self

from pydantic import BaseModel, ConfigDict, Field, ModelWrapValidatorHandler, ValidationError, model_validator
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

from titrator.files.quantities import (
    Concentration_mol_per_L,
    NonNegativeNumber,
    PositiveConcentration_mol_per_L,
    PositiveNumber,
    PositiveVolume_mL,
    Volume_mL,
)


class Finding(NamedTuple):
    """Something that each key allows but not together: the keys on the way to it, as in the file, and the sentence."""

    at: tuple[str | int, ...]
    text: str


class StrictModel(BaseModel):
    """A section of a file: keys are the aliases, unknown ones are refused, values never change.

    A key with a unit is an attribute with the unit in its name: `least_mL: Volume_mL = Field(alias="least", …)`.
    Every field carries a `description`: it is the key's documentation.
    """

    # strict: true is not 1, "yes" is not true; every list in a file is a tuple (`tuple[…, …]` in a model).
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, hide_input_in_errors=True)

    def findings(self) -> Iterable[Finding]:
        """Yield what is wrong between the keys of this section, each a full sentence "expected …, got …"."""
        return ()

    @model_validator(mode="after")
    def _refuse_findings(self) -> Self:
        found = list(self.findings())
        if found:
            raise PydanticCustomError("findings", "the keys contradict each other", {"findings": found})
        return self


class Uncertain(StrictModel):
    """A value with its standard uncertainty: `u`, or `half_width` where a certificate gives only limits.

    A half width a stands for a rectangular distribution, u = a/√3 (GUM, JCGM 100:2008, 4.3.7). `WAYS`: the keys of
    which one tells the uncertainty, each with what it is.
    """

    WAYS: ClassVar[dict[str, str]] = {"u": "standard uncertainty", "half_width": "limits of a certificate"}

    model_config = ConfigDict(json_schema_extra={"oneOf": [{"required": ["u"]}, {"required": ["half_width"]}]})

    @staticmethod
    def standard(u: float | None, half_width: float | None) -> float:
        """Return the standard uncertainty, whichever way it was stated."""
        if u is not None:
            return u
        return 0.0 if half_width is None else half_width / math.sqrt(3)

    @model_validator(mode="wrap")
    @classmethod
    def _refuse_neither_or_both(cls, data: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        """Tell a missing or double uncertainty together with whatever else is wrong, not after it is mended."""
        finding = _neither_or_both(data, cls.WAYS) if isinstance(data, dict) else None
        try:
            built = handler(data)
        except ValidationError as error:
            if finding is None:
                raise
            lines = [_again(detail) for detail in error.errors(include_url=False)]
            raise ValidationError.from_exception_data(cls.__name__, [*lines, _line(finding)]) from None
        if finding is not None:
            raise ValidationError.from_exception_data(cls.__name__, [_line(finding)])
        return built


def _neither_or_both(data: dict[str, Any], ways: dict[str, str]) -> Finding | None:
    came = [way for way in ways if way in data]
    *first, last = ways
    none, all_of = ("neither", "both") if len(ways) == 2 else ("none of them", " and ".join(came))
    if len(came) > 1:
        return Finding((came[-1],), f"expected one of {', '.join(first)} and {last}, got {all_of}")
    if not came:
        told = [f"{way} ({what})" for way, what in ways.items()]
        text = f"expected the key {', '.join(told[:-1])} or {told[-1]}, got {none}"
        return Finding((), text)
    return None


def _line(finding: Finding) -> InitErrorDetails:
    return InitErrorDetails(
        type=PydanticCustomError("findings", "the keys contradict each other", {"findings": [finding]}), input=None
    )


def _again(detail: ErrorDetails) -> InitErrorDetails:
    """Return an error in the form in which it can be raised once more; `load` reads kind, place and context only."""
    kind = PydanticCustomError(detail["type"], "{said}", {"said": detail["msg"], **detail.get("ctx", {})})
    return InitErrorDetails(type=kind, loc=detail["loc"], input=None)


_VALUE = "The best value."
_U = "Its standard uncertainty (one standard deviation). Give this or `half_width`."
_HALF_WIDTH = "Half the width of the limits that a certificate states; u is half_width/√3. Give this or `u`."


class UncertainVolume(Uncertain):
    """A volume with its standard uncertainty, in mL."""

    value_mL: PositiveVolume_mL = Field(alias="value", description=_VALUE)
    stated_u_mL: Volume_mL | None = Field(None, alias="u", description=_U)
    half_width_mL: Volume_mL | None = Field(None, alias="half_width", description=_HALF_WIDTH)

    @property
    def u_mL(self) -> float:
        """Return the standard uncertainty in mL."""
        return self.standard(self.stated_u_mL, self.half_width_mL)


class UncertainConcentration(Uncertain):
    """A concentration with its standard uncertainty, in mol/L."""

    value_mol_per_L: PositiveConcentration_mol_per_L = Field(alias="value", description=_VALUE)
    stated_u_mol_per_L: Concentration_mol_per_L | None = Field(None, alias="u", description=_U)
    half_width_mol_per_L: Concentration_mol_per_L | None = Field(None, alias="half_width", description=_HALF_WIDTH)

    @property
    def u_mol_per_L(self) -> float:
        """Return the standard uncertainty in mol/L."""
        return self.standard(self.stated_u_mol_per_L, self.half_width_mol_per_L)


class UncertainNumber(Uncertain):
    """A number without unit (such as a factor of dilution) with its standard uncertainty."""

    value: PositiveNumber = Field(alias="value", description=_VALUE)
    stated_u: NonNegativeNumber | None = Field(None, alias="u", description=_U)
    half_width: NonNegativeNumber | None = Field(None, alias="half_width", description=_HALF_WIDTH)

    @property
    def u(self) -> float:
        """Return the standard uncertainty."""
        return self.standard(self.stated_u, self.half_width)
