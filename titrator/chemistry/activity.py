"""Activity coefficients: Davies, with its range. For thermodynamic constants only.

A formal constant was measured in its medium and already holds the activity coefficients; to correct it again would be
wrong. The engine therefore applies this module to constants marked thermodynamic and to no others.
"""

import math
from dataclasses import dataclass

from titrator.chemistry.constants import LN_10
from titrator.chemistry.water import debye_huckel_A

DAVIES_UP_TO_MOL_PER_L = 0.5
"""Ionic strength up to which the equation is used (common practice). Above, its value there is held, with a warning:
its linear term would otherwise let the coefficients grow without bound."""


def davies_term(ionic_strength_mol_per_L: float) -> float:
    """f(I) = √I/(1 + √I) − 0.3·I, so that log10 γ = −A z² f(I); held above 0.5 mol/L.

    Source: C. W. Davies, Ion Association (1962), factor 0.3 (his form of 1938 has 0.2).
    """
    strength = min(ionic_strength_mol_per_L, DAVIES_UP_TO_MOL_PER_L)
    root = math.sqrt(strength)
    return root / (1.0 + root) - 0.3 * strength


@dataclass(frozen=True, slots=True)
class Davies:
    """The equation of Davies with its constant A in (L/mol)^½; `held_mol_per_L` fixes I (a large background salt)."""

    A: float
    held_mol_per_L: float | None = None

    def __post_init__(self) -> None:
        """Refuse constants that have no meaning."""
        if not 0.0 < self.A < math.inf:
            raise ValueError(f"a positive Debye-Hückel constant was expected, {self.A!r} came")
        if self.held_mol_per_L is not None and not 0.0 <= self.held_mol_per_L < math.inf:
            raise ValueError(f"an ionic strength held at 0 mol/L or above was expected, {self.held_mol_per_L!r} came")

    @classmethod
    def at(cls, temperature_C: float, held_mol_per_L: float | None = None) -> "Davies":
        """With A of water at `temperature_C` (molar scale). Raises ValueError outside 0 to 50 °C."""
        return cls(debye_huckel_A(temperature_C), held_mol_per_L)

    def log10_gamma(self, charge: int, ionic_strength_mol_per_L: float) -> float:
        """log10 of the activity coefficient of an ion of that charge; 0 for an uncharged species."""
        return -self.A * charge * charge * davies_term(ionic_strength_mol_per_L)

    def gamma(self, charge: int, ionic_strength_mol_per_L: float) -> float:
        """Activity coefficient, without dimension."""
        return math.exp(LN_10 * self.log10_gamma(charge, ionic_strength_mol_per_L))


def range_warning(ionic_strength_mol_per_L: float) -> str | None:
    """A sentence if the ionic strength is out of the equation's range, else None."""
    if ionic_strength_mol_per_L <= DAVIES_UP_TO_MOL_PER_L:
        return None
    return (
        f"ionic strength {ionic_strength_mol_per_L:.2g} mol/L is above {DAVIES_UP_TO_MOL_PER_L:g} mol/L, up to which "
        "the equation of Davies is used; its value there was held: take constants measured in this medium (formal ones)"
    )
