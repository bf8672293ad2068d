"""Quantities as a chemist writes them, "10.00 mL", turned into numbers in one unit each.

Units exist in files only; within the program the unit stands in the name (`volume_mL`). Texts are converted as exact
fractions and rounded once, so "10 µL" is the same number as "0.01 mL".
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, Final

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

_NUMBER = re.compile(r"[-+−]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+−]?([0-9]+))?")
_LONGEST_NUMBER: Final = 40  # characters; nothing measured has as many digits


@dataclass(frozen=True, slots=True, eq=False)  # each is one of a kind
class Dimension:
    """A kind of quantity: its units as factors to the first one, and an example for messages."""

    name: str
    example: str
    units: dict[str, Fraction]
    zeros: dict[str, Fraction] | None = None  # where a unit's zero lies, in the first unit (temperatures)

    @property
    def unit(self) -> str:
        """Return the unit in which the program holds it."""
        return next(iter(self.units))


def _dimension(name: str, example: str, factors: dict[str, str]) -> Dimension:
    return Dimension(name, example, {unit: Fraction(factor) for unit, factor in factors.items()})


VOLUME: Final = _dimension("a volume", "10.00 mL", {"mL": "1", "µL": "1/1000", "L": "1000"})
CONCENTRATION: Final = _dimension(
    "a concentration", "0.1000 mol/L", {"mol/L": "1", "mmol/L": "1/1000", "µmol/L": "1/1000000"}
)
POTENTIAL: Final = _dimension("a potential", "150 mV", {"mV": "1", "V": "1000", "µV": "1/1000"})
DRIFT: Final = _dimension(
    "a drift", "0.05 mV/s", {"mV/s": "1", "mV/min": "1/60", "mV/h": "1/3600", "µV/s": "1/1000", "V/s": "1000"}
)
DURATION: Final = _dimension("a time", "90 s", {"s": "1", "ms": "1/1000", "min": "60", "h": "3600"})
TEMPERATURE: Final = Dimension(
    "a temperature", "20 °C", {"°C": Fraction(1), "K": Fraction(1)}, {"°C": Fraction(0), "K": Fraction("-273.15")}
)
MOLAR_MASS: Final = _dimension("a molar mass", "55.845 g/mol", {"g/mol": "1", "kg/mol": "1000", "mg/mmol": "1"})
SPEED: Final = _dimension(
    "a speed of delivery", "10 mL/min", {"mL/min": "1", "mL/s": "60", "µL/s": "60/1000", "µL/min": "1/1000"}
)
WARMING: Final = _dimension("a change of temperature in a time", "0.5 °C/min", {"°C/min": "1", "°C/h": "1/60"})
RESISTANCE: Final = _dimension("a resistance", "200 MΩ", {"MΩ": "1", "kΩ": "1/1000", "GΩ": "1000"})
PERCENTAGE: Final = _dimension("a percentage", "0.2 %", {"%": "1", "ppm": "1/10000"})
RATIO: Final = Dimension("a percentage", "0.2 %", {"1": Fraction(1), "%": Fraction(1, 100), "ppm": Fraction(1, 10**6)})

MASS: Final = _dimension("a mass", "0.3888 g", {"g": "1", "mg": "1/1000", "µg": "1/1000000", "kg": "1000"})
EXPANSION: Final = _dimension("a cubic expansion", "0.00021 1/K", {"1/K": "1", "%/K": "1/100", "ppm/K": "1/1000000"})

DIMENSIONS: Final = (
    MASS,
    VOLUME,
    CONCENTRATION,
    POTENTIAL,
    DRIFT,
    DURATION,
    TEMPERATURE,
    MOLAR_MASS,
    SPEED,
    PERCENTAGE,
)

ALIASES: Final = {
    "degC": "°C",
    "℃": "°C",
    "kOhm": "kΩ",
    "MOhm": "MΩ",
    "GOhm": "GΩ",
}  # other spellings that mean one thing only
MEANT: Final = {"M": "mol/L", "mM": "mmol/L", "sec": "s", "C": "°C", "cc": "mL", "ccm": "mL", "cm3": "mL", "cm³": "mL"}


def wrong(expected: str, came: str | None = None) -> PydanticCustomError:
    """Return the error of a validator: what was expected and, where the value alone does not say it, what came."""
    return PydanticCustomError("expected", "expected {expected}", {"expected": expected, "came": came})


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


@dataclass(frozen=True, slots=True)
class Quantity:
    """Validator of a quantity: `Annotated[float, Quantity(VOLUME, above=0)]` is a float in the dimension's unit."""

    dimension: Dimension
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    difference: bool = False  # of two temperatures: the zero of the scale does not matter

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the schema that pydantic validates with."""
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Return the JSON Schema for editors: what a pattern can tell of number, sign and unit."""
        return {"type": "string", "pattern": self._pattern(), "examples": [self.dimension.example]}

    def _pattern(self) -> str:
        spelled = [unit for unit in self.dimension.units if unit != "1"]
        spelled += [f"{prefix}{unit[1:]}" for unit in spelled if unit[0] == "µ" for prefix in ("u", "\u03bc")]
        spelled += [alias for alias, unit in ALIASES.items() if unit in spelled]
        lowest = self.above if self.above is not None else self.at_least
        signed = lowest is None or lowest < 0 or self.dimension.zeros is not None
        no_zero = r"(?!\+?[0.]+([eE][-+−]?[0-9]+)?\s*[^0-9.eE\s])" if self.above is not None and not signed else ""
        number = r"([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+−]?[0-9]{1,3})?"
        units = "|".join(re.escape(unit) for unit in spelled)
        return rf"^\s*{no_zero}{'[-+−]?' if signed else '[+]?'}{number}\s*({units})\s*$"

    def parse(self, value: object) -> float:
        """Return the number in the dimension's unit. Raises PydanticCustomError saying what was expected."""
        expected = f'{self.dimension.name} such as "{self.dimension.example}"'
        if _is_number(value):
            raise wrong(expected, "a bare number without unit")
        if not isinstance(value, str):
            raise wrong(expected)
        text = value.strip()
        number = _NUMBER.match(text)
        if number is None or len(number.group()) > _LONGEST_NUMBER:
            raise wrong(expected)
        if len(number.group(1) or "") > 3:  # the power of ten would cost time and memory before it is refused
            raise wrong(self._astronomical())
        unit = self._unit(text[number.end() :].strip(), expected)
        amount = Fraction(number.group().replace("−", "-")) * self.dimension.units[unit]
        if self.dimension.zeros and not self.difference:
            amount += self.dimension.zeros[unit]
        return self._bounded(amount)

    def _unit(self, spelled: str, expected: str) -> str:
        known = [unit for unit in self.dimension.units if unit != "1"]
        unit = spelled.replace("\u03bc", "\u00b5")
        unit = ALIASES.get(unit, unit)
        if unit.startswith("u") and "µ" + unit[1:] in known:
            unit = "µ" + unit[1:]
        if unit in known:
            return unit
        if not unit:
            raise wrong(expected, "a number without unit")
        if unit[0] == ",":
            raise wrong(f"{expected}, with a decimal point")
        other = next((each for each in DIMENSIONS if unit in each.units and each is not self.dimension), None)
        if other is not None:
            raise wrong(expected, f"{unit} is a unit of {other.name}")
        nearest = MEANT.get(unit) or next((k for k in known if k.casefold() == unit.casefold()), None)
        if nearest not in known:
            nearest = next(iter(difflib.get_close_matches(unit, known, n=1, cutoff=0.5)), None)
        hint = f"did you mean {nearest}?" if nearest else f"the units here are {', '.join(known)}"
        raise wrong(f"{expected} ({hint})")

    def _astronomical(self) -> str:
        return f'{self.dimension.name} that is not astronomical, such as "{self.dimension.example}"'

    def _bounded(self, amount: Fraction) -> float:
        try:
            number = float(amount)
        except OverflowError:
            number = math.inf
        shown = "" if self.dimension.unit == "1" else f" {self.dimension.unit}"
        if not math.isfinite(number):
            raise wrong(self._astronomical())
        if self.above is not None and not number > self.above:
            raise wrong(f"{self.dimension.name} above {self.above:g}{shown}")
        if self.at_least is not None and not number >= self.at_least:
            raise wrong(f"{self.dimension.name} of at least {self.at_least:g}{shown}")
        if self.below is not None and not number < self.below:
            raise wrong(f"{self.dimension.name} below {self.below:g}{shown}")
        return number


@dataclass(frozen=True, slots=True)
class Plain:
    """Validator of a number without unit. Text, true and false, NaN and infinity are refused."""

    whole: bool = False
    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the schema that pydantic validates with."""
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Return the JSON Schema for editors."""
        limits = {"exclusiveMinimum": self.above, "minimum": self.at_least, "maximum": self.at_most}
        limits = {word: limit for word, limit in limits.items() if limit is not None}
        return {"type": "integer" if self.whole else "number", **limits}

    def parse(self, value: object) -> float | int:
        """Return the number. Raises PydanticCustomError saying what was expected."""
        expected = "a whole number" if self.whole else "a number"
        if self.above is not None:
            expected += f" above {self.above:g}"
        if self.at_least is not None:
            expected += f" of at least {self.at_least:g}"
        if self.at_most is not None:
            expected += f", at most {self.at_most:g}"
        if not isinstance(value, (int, float)) or isinstance(value, bool) or not math.isfinite(value):
            raise wrong(f"{expected}, without unit")
        if self.whole and not isinstance(value, int):
            raise wrong(expected)
        low = (self.above is not None and value <= self.above) or (self.at_least is not None and value < self.at_least)
        if low or (self.at_most is not None and value > self.at_most):
            raise wrong(expected)
        return value if self.whole else float(value)


Volume_mL = Annotated[float, Quantity(VOLUME, at_least=0)]
PositiveVolume_mL = Annotated[float, Quantity(VOLUME, above=0)]
Concentration_mol_per_L = Annotated[float, Quantity(CONCENTRATION, at_least=0)]
PositiveConcentration_mol_per_L = Annotated[float, Quantity(CONCENTRATION, above=0)]
Potential_mV = Annotated[float, Quantity(POTENTIAL)]
PositivePotential_mV = Annotated[float, Quantity(POTENTIAL, above=0)]
Drift_mV_per_s = Annotated[float, Quantity(DRIFT)]
PositiveDrift_mV_per_s = Annotated[float, Quantity(DRIFT, above=0)]
Duration_s = Annotated[float, Quantity(DURATION, at_least=0)]
PositiveDuration_s = Annotated[float, Quantity(DURATION, above=0)]
Temperature_C = Annotated[float, Quantity(TEMPERATURE, at_least=-273.15)]
TemperatureDifference_C = Annotated[float, Quantity(TEMPERATURE, difference=True)]
MolarMass_g_per_mol = Annotated[float, Quantity(MOLAR_MASS, above=0)]
PositiveMass_g = Annotated[float, Quantity(MASS, above=0)]
Mass_g = Annotated[float, Quantity(MASS, at_least=0)]
PositiveExpansion_per_K = Annotated[float, Quantity(EXPANSION, above=0, below=0.01)]
Speed_mL_per_min = Annotated[float, Quantity(SPEED, above=0)]
Percent = Annotated[float, Quantity(PERCENTAGE)]  # "0.2 %" is 0.2
Ratio = Annotated[float, Quantity(RATIO)]  # "0.2 %" is 0.002
NonNegativeRatio = Annotated[float, Quantity(RATIO, at_least=0)]
Number = Annotated[float, Plain()]
PositiveNumber = Annotated[float, Plain(above=0)]
NonNegativeNumber = Annotated[float, Plain(at_least=0)]
Count = Annotated[int, Plain(whole=True, at_least=0)]
PositiveCount = Annotated[int, Plain(whole=True, at_least=1)]
