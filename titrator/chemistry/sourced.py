"""A constant with its source: every number of chemistry in this package is one of these.

*Thermodynamic*: for unit activities, at infinite dilution; activity coefficients may be applied. *Formal*
(conditional): measured in a named medium, whose activity coefficients and side reactions it already holds; it is used
as it stands.
"""

import math
from dataclasses import dataclass
from typing import Literal

from titrator.chemistry.constants import kelvin
from titrator.chemistry.water import van_t_hoff_shift

Kind = Literal["thermodynamic", "formal"]
Mark = Literal["published", "library", "from memory", "computed by us"]

REFERENCE_C = 25.0


@dataclass(frozen=True, slots=True)
class Sourced:
    """One number at 25 °C: a log10 of a constant (no dimension) or a potential in V against SHE.

    `by_temperature` (a, b, c) is value(T) = a/T + b + c·T with T in K, used only away from 25 °C (as a change from its
    own value at 25 °C); `enthalpy_kJ_per_mol` of the reaction whose log10 K the number is, or of its reverse with the
    opposite sign for a pK, is used where there is no such formula; with neither the value is taken as it stands.
    """

    value: float
    kind: Kind
    medium: str
    source: str
    mark: Mark
    by_temperature: tuple[float, float, float] | None = None
    enthalpy_kJ_per_mol: float | None = None

    def __post_init__(self) -> None:
        """Refuse a number that is none."""
        if not math.isfinite(self.value):
            raise ValueError(f"a finite constant was expected, {self.value!r} came from {self.source}")

    def at(self, temperature_C: float) -> float:
        """The number at `temperature_C`; unchanged where no change with temperature is known (see `varies`)."""
        if temperature_C == REFERENCE_C:
            return self.value
        if self.by_temperature is not None:
            a, b, c = self.by_temperature
            T, T_25 = kelvin(temperature_C), kelvin(REFERENCE_C)
            return self.value + (a / T + b + c * T) - (a / T_25 + b + c * T_25)
        if self.enthalpy_kJ_per_mol is not None:
            return self.value + van_t_hoff_shift(self.enthalpy_kJ_per_mol, temperature_C)
        return self.value

    @property
    def varies(self) -> bool:
        """Whether its change with temperature is known here."""
        return self.by_temperature is not None or self.enthalpy_kJ_per_mol is not None
