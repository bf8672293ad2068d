"""Pure water: density, relative permittivity, ionic product and the Debye-Hückel constant, from 0 to 50 °C.

At 0.1 MPa. Everything is a function of the temperature in °C and raises ValueError outside 0 to 50 °C.
"""

import math
from functools import lru_cache

from titrator.chemistry.constants import GAS_CONSTANT_J_PER_MOL_K, LN_10, kelvin

LOWEST_C, HIGHEST_C = 0.0, 50.0
CALIBRATED_AT_C = 20.0
"""Temperature for which titrants are stated and volumetric ware is calibrated."""
BOROSILICATE_PER_K = 1.0e-5
"""Cubic expansion of borosilicate glass, 1/K (common practice)."""

MOLAR_MASS_G_PER_MOL = 18.015268
"""Molar mass of water, as in the IAPWS releases."""

# CODATA 2018; the first three are exact.
_AVOGADRO_PER_MOL = 6.02214076e23
_ELEMENTARY_CHARGE_C = 1.602176634e-19
_BOLTZMANN_J_PER_K = 1.380649e-23
_VACUUM_PERMITTIVITY_F_PER_M = 8.8541878128e-12


def checked_kelvin(temperature_C: float) -> float:
    """Temperature in K; ValueError outside 0 to 50 °C, where the formulas of this module are not checked."""
    if not LOWEST_C <= temperature_C <= HIGHEST_C:
        raise ValueError(
            f"a temperature from {LOWEST_C:g} to {HIGHEST_C:g} °C was expected (the range in which the constants of "
            f"water are checked), {temperature_C!r} °C came: check its unit"
        )
    return kelvin(temperature_C)


def density_kg_per_m3(temperature_C: float) -> float:
    """Density of air-free water at 101.325 kPa.

    Source: M. Tanaka et al., Metrologia 38 (2001) 301 (stated for 0 to 40 °C; at 50 °C 0.02 kg/m3 off IAPWS-95).
    """
    checked_kelvin(temperature_C)
    t = temperature_C
    return 999.974950 * (1.0 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


# IAPWS R8-97 (Fernández et al., 1997): coefficients N, i, j of the Harris-Alder factor g.
_PERMITTIVITY_TERMS = (
    (0.978224486826, 1, 0.25),
    (-0.957771379375, 1, 1.0),
    (0.237511794148, 1, 2.5),
    (0.714692244396, 2, 1.5),
    (-0.298217036956, 3, 1.5),
    (-0.108863472196, 3, 2.5),
    (0.0949327488264, 4, 2.0),
    (-0.00980469816509, 5, 2.0),
    (0.000016516763497, 6, 5.0),
    (0.0000937359795772, 7, 0.5),
    (-1.2317921872e-10, 10, 10.0),
)


def expansion(temperature_C: float) -> float:
    """Concentration of a titrant at `temperature_C` over the one at 20 °C: ρ(T)/ρ(20 °C), exactly 1 at 20 °C.

    The thermal expansion of water, taken for that of the titrant (a strong acid expands up to twice as much). Held
    outside 0 to 50 °C, where the density is not checked.
    """
    within_C = min(max(temperature_C, LOWEST_C), HIGHEST_C)
    return density_kg_per_m3(within_C) / density_kg_per_m3(CALIBRATED_AT_C)


def permittivity(temperature_C: float) -> float:
    """Relative static permittivity (dielectric constant) of water, without dimension. Source: IAPWS R8-97."""
    temperature_K = checked_kelvin(temperature_C)
    density = density_kg_per_m3(temperature_C)
    d, t = density / 322.0, 647.096 / temperature_K
    g = 1.0 + 0.00196096504426 * d * math.pow(temperature_K / 228.0 - 1.0, -1.2)
    g += math.fsum(n * d**i * math.pow(t, j) for n, i, j in _PERMITTIVITY_TERMS)
    # The release fixes its own constants of nature (of 1986): they belong to its coefficients.
    per_m3 = 6.0221367e23 * density / (MOLAR_MASS_G_PER_MOL / 1000.0)
    dipole = 6.138e-30
    a = per_m3 * dipole**2 * g / (_VACUUM_PERMITTIVITY_F_PER_M * 1.380658e-23 * temperature_K)
    b = per_m3 * 1.636e-40 / (3.0 * _VACUUM_PERMITTIVITY_F_PER_M)
    return (1.0 + a + 5.0 * b + math.sqrt(9.0 + 2.0 * a + 18.0 * b + a * a + 10.0 * a * b + 9.0 * b * b)) / (
        4.0 - 4.0 * b
    )


@lru_cache(maxsize=64)
def debye_huckel_A(temperature_C: float) -> float:
    """A of the limiting law log10 γ = −A z² √I, molar scale (I in mol/L), in (L/mol)^½: 0.5105 at 25 °C.

    Source: Debye and Hückel's limiting law with the permittivity of IAPWS R8-97, in SI units.
    """
    return debye_huckel_A_molal(temperature_C) / math.sqrt(density_kg_per_m3(temperature_C) / 1000.0)


def debye_huckel_A_molal(temperature_C: float) -> float:
    """A of the limiting law on the molal scale (I in mol/kg), in (kg/mol)^½: 0.510 at 25 °C. Source as above."""
    temperature_K = checked_kelvin(temperature_C)
    length_m = _ELEMENTARY_CHARGE_C**2 / (
        4.0 * math.pi * _VACUUM_PERMITTIVITY_F_PER_M * permittivity(temperature_C) * _BOLTZMANN_J_PER_K * temperature_K
    )
    per_length = math.sqrt(2.0 * math.pi * _AVOGADRO_PER_MOL * density_kg_per_m3(temperature_C))
    return per_length * math.pow(length_m, 1.5) / LN_10


def pKw_molal_at(temperature_K: float, density_g_per_cm3: float) -> float:
    """pKw on the molal scale as a function of K and density in g/cm3. Source: IAPWS R11-07, equations 3 to 5.

    The formula holds from 0 to 800 °C, so nothing is refused here. A release of 2024 carries other coefficients; from
    0 to 50 °C the two differ by 0.0002 at most.
    """
    T, rho = temperature_K, density_g_per_cm3
    Q = rho * math.exp(-0.864671 + 8659.19 / T - 22786.2 / T**2 * rho ** (2.0 / 3.0))
    bulk = math.log10(1.0 + Q) - Q / (Q + 1.0) * rho * (0.642044 - 56.8534 / T - 0.375754 * rho)
    gas = 0.61415 + 48251.33 / T - 67707.93 / T**2 + 10102100.0 / T**3
    return -12.0 * bulk + gas + 2.0 * math.log10(MOLAR_MASS_G_PER_MOL / 1000.0)


@lru_cache(maxsize=64)
def pKw_molal(temperature_C: float) -> float:
    """−log10 of the ionic product of water on the molal scale (thermodynamic): 13.995 at 25 °C. IAPWS R11-07."""
    return pKw_molal_at(checked_kelvin(temperature_C), density_kg_per_m3(temperature_C) / 1000.0)


def pKw(temperature_C: float) -> float:
    """−log10 of the ionic product of water on the molar scale (thermodynamic): 13.997 at 25 °C.

    Molar concentrations are molal ones times the density in kg/L, so pKw is 2·log10(ρ) lower in value of K.
    """
    return pKw_molal(temperature_C) - 2.0 * math.log10(density_kg_per_m3(temperature_C) / 1000.0)


def van_t_hoff_shift(enthalpy_kJ_per_mol: float, temperature_C: float) -> float:
    """Change of log10 K from 25 °C to `temperature_C` for a constant enthalpy of reaction in kJ/mol."""
    inverse_K = 1.0 / kelvin(25.0) - 1.0 / kelvin(temperature_C)
    return 1000.0 * enthalpy_kJ_per_mol / (GAS_CONSTANT_J_PER_MOL_K * LN_10) * inverse_K
