"""Potentials of reference electrodes against the standard hydrogen electrode, by filling and temperature.

The demonstration of this project uses the fixed constant 0.210 V for silver/silver chloride in 3 mol/L KCl, which is
also what the table below gives at its 20 °C. Sources differ by about 3 mV for this filling: a maker's table says
0.207 V at 25 °C, a compilation 0.210 V at 25 °C. Both are kept here, each under its own name.
"""

from dataclasses import dataclass
from itertools import pairwise

from titrator.chemistry.constants import kelvin

SILVER_CHLORIDE = "silver/silver chloride"
CALOMEL = "calomel"

DEMONSTRATION_REFERENCE_V = 0.210
"""Ag/AgCl, 3 mol/L KCl, as fixed for the demonstration (V against SHE)."""

_COMPILATION = "compilation of Bard and Faulkner, Sawyer, and Meites"
_MAKER = "an electrode maker's manual, table by temperature"
_MEMORY = "from memory, after Sawyer; agrees with the compilation at 25 °C"

# How far a value printed for one temperature only may be carried: 1 °C changes these electrodes by up to 1 mV.
_SINGLE_VALUE_REACH_C = 1.0


@dataclass(frozen=True, slots=True)
class ReferenceElectrode:
    """One electrode with one filling: rows of (temperature in °C, potential in mV against SHE), rising in temperature.

    `junction` tells whether the potential of the liquid junction is contained in the figures.
    """

    electrode: str
    filling: str
    table_mV: tuple[tuple[float, float], ...]
    junction: bool
    source: str

    def potential_V(self, temperature_C: float) -> float:
        """Potential in V against SHE, linear between the rows of the table.

        Raises ValueError outside the table (more than 1 °C from the only row of a table of one).
        """
        kelvin(temperature_C)  # refuses nonsense with its own message
        rows = self.table_mV
        reach_C = _SINGLE_VALUE_REACH_C if len(rows) == 1 else 0.0
        low_C, high_C = rows[0][0] - reach_C, rows[-1][0] + reach_C
        if not low_C <= temperature_C <= high_C:
            raise ValueError(
                f"{self.electrode}, {self.filling}: a temperature from {low_C:g} to {high_C:g} °C was expected "
                f"(the reach of its table), {temperature_C:g} °C came: choose a filling whose table covers it"
            )
        for (left_C, left_mV), (right_C, right_mV) in pairwise(rows):
            if temperature_C <= right_C:
                share = (temperature_C - left_C) / (right_C - left_C)
                return (left_mV + share * (right_mV - left_mV)) / 1000.0
        return rows[-1][1] / 1000.0


def _rows(first_C: int, *values_mV: float) -> tuple[tuple[float, float], ...]:
    """Rows five degrees apart, as the tables are printed."""
    return tuple((float(first_C + 5 * index), value_mV) for index, value_mV in enumerate(values_mV))


REFERENCES: tuple[ReferenceElectrode, ...] = (
    ReferenceElectrode(
        SILVER_CHLORIDE, "3 mol/L KCl", _rows(5, 221, 217, 214, 210, 207, 203, 200, 196), junction=True, source=_MAKER
    ),
    ReferenceElectrode(
        SILVER_CHLORIDE, "3.5 mol/L KCl", _rows(10, 215, 212, 208, 205, 201, 197), junction=True, source=_MEMORY
    ),
    ReferenceElectrode(
        SILVER_CHLORIDE, "saturated KCl", _rows(10, 214, 209, 204, 199, 194, 189), junction=True, source=_MEMORY
    ),
    ReferenceElectrode(SILVER_CHLORIDE, "0.1 mol/L KCl", _rows(25, 288.1), junction=False, source=_COMPILATION),
    ReferenceElectrode(
        CALOMEL, "saturated KCl", _rows(15, 251.1, 247.9, 244.4, 241.1, 237.6), junction=True, source=_MEMORY
    ),
    ReferenceElectrode(CALOMEL, "3.5 mol/L KCl", _rows(25, 250.0), junction=True, source=_COMPILATION),
    ReferenceElectrode(CALOMEL, "1 mol/L KCl", _rows(25, 283.0), junction=True, source=_COMPILATION),
    ReferenceElectrode(CALOMEL, "0.1 mol/L KCl", _rows(25, 336.0), junction=True, source=_COMPILATION),
)
"""Every electrode and filling of this version."""

COMPILED_25C_V: dict[tuple[str, str], float] = {
    (SILVER_CHLORIDE, "saturated KCl"): 0.199,
    (SILVER_CHLORIDE, "3.5 mol/L KCl"): 0.205,
    (SILVER_CHLORIDE, "3 mol/L KCl"): 0.210,
    (CALOMEL, "saturated KCl"): 0.244,
}
"""The compilation's figures at 25 °C in V for fillings that also have a table by temperature (for comparison)."""


def find_reference(electrode: str, filling: str) -> ReferenceElectrode:
    """The electrode of that name and filling; KeyError lists the fillings that are known."""
    for reference in REFERENCES:
        if (reference.electrode, reference.filling) == (electrode, filling):
            return reference
    known = "; ".join(f"{reference.electrode}, {reference.filling}" for reference in REFERENCES)
    raise KeyError(f"a known reference electrode was expected ({known}), {electrode}, {filling} came")


def reference_potential_V(electrode: str, filling: str, temperature_C: float) -> float:
    """Potential in V against SHE of a reference electrode at `temperature_C`.

    Raises KeyError for an unknown electrode or filling, ValueError for a temperature outside its table.
    """
    return find_reference(electrode, filling).potential_V(temperature_C)
