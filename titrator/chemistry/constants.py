"""Physical constants and the Nernst slope.

R and F are the exact products of the SI's defining constants (2019), as printed in CODATA 2018: R = N_A·k,
F = N_A·e. Temperatures enter in degrees Celsius; 0 °C is 273.15 K by definition.
"""

import math

GAS_CONSTANT_J_PER_MOL_K = 8.314462618
"""Molar gas constant R in J/(mol K), CODATA 2018 (exact, shown to ten digits)."""

FARADAY_CONSTANT_C_PER_MOL = 96485.33212
"""Faraday constant F in C/mol, CODATA 2018 (exact, shown to ten digits)."""

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin (exact by the definition of the Celsius scale)."""

LN_10 = math.log(10.0)


def kelvin(temperature_C: float) -> float:
    """Thermodynamic temperature in K of a Celsius temperature.

    Raises ValueError for a temperature at or below absolute zero, or one that is not a number.
    """
    temperature_K = temperature_C + ZERO_CELSIUS_K
    if not 0.0 < temperature_K < math.inf:
        raise ValueError(f"a temperature above -273.15 °C was expected, {temperature_C!r} °C came: check its unit")
    return temperature_K


def nernst_slope_mV(temperature_C: float) -> float:
    """RT/F in mV (25.693 mV at 25 °C): change of potential per unit of ln(activity ratio) of a one-electron couple.

    Source: the Nernst equation, E = E° + (RT/zF) ln([ox]/[red]); the z stays with the caller.
    """
    return 1000.0 * GAS_CONSTANT_J_PER_MOL_K * kelvin(temperature_C) / FARADAY_CONSTANT_C_PER_MOL


def nernst_slope_per_decade_mV(temperature_C: float) -> float:
    """ln(10)·RT/F in mV (59.159 mV at 25 °C): change of potential per tenfold ratio of a one-electron couple."""
    return LN_10 * nernst_slope_mV(temperature_C)
