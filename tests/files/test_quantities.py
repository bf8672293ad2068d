"""Quantities. The expected numbers are the SI prefixes and definitions (BIPM, SI brochure, 9th edition), by hand."""

import contextlib
import math
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter
from pydantic_core import PydanticCustomError

from titrator.files import quantities as q
from titrator.files.strict_yaml import NOTHING


def parse(kind: Any, value: object) -> float:
    return TypeAdapter(kind).validate_python(value)


@pytest.mark.parametrize(
    ("kind", "text", "number"),
    [
        (q.Concentration_mol_per_L, "0.1000 mol/L", 0.1),
        (q.Concentration_mol_per_L, "100 mmol/L", 0.1),
        (q.Concentration_mol_per_L, "0.2 mmol/L", 0.0002),
        (q.Volume_mL, "10.00 mL", 10.0),
        (q.Volume_mL, "10.00mL", 10.0),
        (q.Volume_mL, "10\u00a0mL", 10.0),
        (q.Volume_mL, "10 \u00b5L", 0.01),
        (q.Volume_mL, "10 \u03bcL", 0.01),
        (q.Volume_mL, "10 uL", 0.01),
        (q.Volume_mL, "0.15 L", 150.0),
        (q.Volume_mL, "1e-3 L", 1.0),
        (q.Volume_mL, ".5 mL", 0.5),
        (q.Volume_mL, "0 mL", 0.0),
        (q.Potential_mV, "\u2212150 mV", -150.0),
        (q.Potential_mV, "1.44 V", 1440.0),
        (q.Potential_mV, "100 uV", 0.1),
        (q.Drift_mV_per_s, "3 mV/min", 0.05),
        (q.Drift_mV_per_s, "0.05 mV/s", 0.05),
        (q.Duration_s, "1.5 min", 90.0),
        (q.Duration_s, "2 h", 7200.0),
        (q.Duration_s, "250 ms", 0.25),
        (q.Temperature_C, "20 °C", 20.0),
        (q.Temperature_C, "20 degC", 20.0),
        (q.Temperature_C, "293.15 K", 20.0),
        (q.Temperature_C, "0 K", -273.15),
        (q.TemperatureDifference_C, "0.5 K", 0.5),
        (q.MolarMass_g_per_mol, "55.845 g/mol", 55.845),
        (q.MolarMass_g_per_mol, "0.055845 kg/mol", 55.845),
        (q.Speed_mL_per_min, "10 mL/min", 10.0),
        (q.Speed_mL_per_min, "0.5 mL/s", 30.0),
        (q.Percent, "0.2 %", 0.2),
        (q.Percent, "2000 ppm", 0.2),
        (q.Ratio, "0.2 %", 0.002),
        (q.Ratio, "0.2%", 0.002),
    ],
)
def test_text_becomes_the_nearest_float(kind: Any, text: str, number: float) -> None:
    assert parse(kind, text) == number  # exact on purpose: converted as a fraction, rounded once


@given(st.decimals(min_value=-1000, max_value=1000, places=4))
def test_a_quantity_in_its_own_unit_is_python_s_own_reading_of_the_digits(number: Decimal) -> None:
    assert parse(q.Potential_mV, f"{number} mV") == float(str(number))


@pytest.mark.parametrize(
    ("kind", "value", "expected", "came"),
    [
        (q.Volume_mL, 10, 'a volume such as "10.00 mL"', "a bare number without unit"),
        (q.Volume_mL, 10.5, 'a volume such as "10.00 mL"', "a bare number without unit"),
        (q.Volume_mL, "10", 'a volume such as "10.00 mL"', "a number without unit"),
        (q.Volume_mL, "10 ml", 'a volume such as "10.00 mL" (did you mean mL?)', None),
        (q.Volume_mL, "10 cc", 'a volume such as "10.00 mL" (did you mean mL?)', None),
        (q.Volume_mL, "10,5 mL", 'a volume such as "10.00 mL", with a decimal point', None),
        (q.Volume_mL, "10 mV", 'a volume such as "10.00 mL"', "mV is a unit of a potential"),
        (q.Volume_mL, "10 furlongs", 'a volume such as "10.00 mL" (the units here are mL, µL, L)', None),
        (q.Volume_mL, "10 mL mL", 'a volume such as "10.00 mL" (did you mean mL?)', None),
        (q.Volume_mL, "-1 mL", "a volume of at least 0 mL", None),
        (q.PositiveVolume_mL, "0 mL", "a volume above 0 mL", None),
        (q.PositiveVolume_mL, "1e-400 mL", "a volume above 0 mL", None),
        (q.Volume_mL, "1e999 mL", 'a volume that is not astronomical, such as "10.00 mL"', None),
        (q.Volume_mL, "nan mL", 'a volume such as "10.00 mL"', None),
        (q.Volume_mL, "inf mL", 'a volume such as "10.00 mL"', None),
        (q.Volume_mL, math.nan, 'a volume such as "10.00 mL"', "a bare number without unit"),
        (q.Volume_mL, True, 'a volume such as "10.00 mL"', None),
        (q.Volume_mL, NOTHING, 'a volume such as "10.00 mL"', None),
        (q.Volume_mL, "1" * 41 + " mL", 'a volume such as "10.00 mL"', None),
        (q.Volume_mL, "1e9999 mL", 'a volume that is not astronomical, such as "10.00 mL"', None),
        (q.Concentration_mol_per_L, "0.1 M", 'a concentration such as "0.1000 mol/L" (did you mean mol/L?)', None),
        (q.Temperature_C, "20 C", 'a temperature such as "20 °C" (did you mean °C?)', None),
        (q.Temperature_C, "-1 K", "a temperature of at least -273.15 °C", None),
        (q.Duration_s, "5 sec", 'a time such as "90 s" (did you mean s?)', None),
        (q.Ratio, "0.2", 'a percentage such as "0.2 %"', "a number without unit"),
        (q.Ratio, "0.2 1", 'a percentage such as "0.2 %" (the units here are %, ppm)', None),
        (q.Number, "10", "a number, without unit", None),
        (q.Number, True, "a number, without unit", None),
        (q.Number, math.inf, "a number, without unit", None),
        (q.Count, 2.0, "a whole number of at least 0", None),
        (q.Count, -1, "a whole number of at least 0", None),
        (q.PositiveNumber, 0, "a number above 0", None),
    ],
)
def test_what_is_refused_says_what_was_expected(kind: Any, value: object, expected: str, came: str | None) -> None:
    validator = kind.__metadata__[0]
    with pytest.raises(PydanticCustomError) as caught:
        validator.parse(value)
    assert caught.value.context == {"expected": expected, "came": came}


@given(st.text(max_size=30))
def test_any_text_gives_a_finite_number_or_a_refusal(text: str) -> None:
    for quantity in (q.Quantity(q.VOLUME), q.Quantity(q.TEMPERATURE), q.Quantity(q.RATIO)):
        with contextlib.suppress(PydanticCustomError):
            assert math.isfinite(quantity.parse(text))
