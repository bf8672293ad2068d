"""What a method states of a titration, as plain numbers and words: what a simulated cell is drawn from."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StatedValues:
    """The method's own figures; `u_*` are standard uncertainties of normal distributions.

    `analytes` in order of their equivalence points, with `analyte_per_titrant` mol of each per mol of titrant. Words
    left empty say nothing: the cell's own reaction and medium are then taken. `fill_mL` is the liquid in the vessel at
    the start, `medium_mL` the part of it that is the medium (its acid or buffer at `medium_mol_per_L`; 0 for not
    told: 1 mol/L acid throughout), `pH` that of a buffer, `reference_potential_V` that of the reference electrode
    against SHE, `gas` what covers the vessel ("" for air). A `blank` holds no analyte.
    `standardised_here`: the titrant's figure was read from the very burette of the run, so what is off in that is off
    in both.
    Raises ValueError for figures that cannot be drawn from.
    """

    titrant_mol_per_L: float
    u_titrant_mol_per_L: float
    aliquot_mL: float
    u_aliquot_mL: float
    dilution: float
    u_dilution: float
    analyte_per_titrant: tuple[float, ...] | float
    fill_mL: float
    temperature_C: float
    reference_potential_V: float
    blank: bool = False
    standardised_here: bool = False
    titrant: str = ""
    analytes: tuple[str, ...] = ()
    titrant_temperature_C: float = 20.0
    indicator: str = ""
    medium: str = ""
    medium_mol_per_L: float = 0.0
    medium_mL: float = 0.0
    pH: float | None = None
    reagents: tuple[str, ...] = ()
    contains: tuple[str, ...] = ()
    gas: str = ""
    tip: str = "immersed"

    def __post_init__(self) -> None:
        """Refuse what the draw could not end with; lists become tuples."""
        ratios = self.analyte_per_titrant
        ratios = (float(ratios),) if isinstance(ratios, int | float) else tuple(ratios)
        object.__setattr__(self, "analyte_per_titrant", ratios)
        for name in ("analytes", "reagents", "contains"):
            object.__setattr__(self, name, tuple(getattr(self, name)))
        for ratio in ratios or (0.0,):
            if not 0.0 < ratio < math.inf:
                raise ValueError(f"analyte_per_titrant: a positive number was expected, {ratio!r} came")
        for name in ("titrant_mol_per_L", "aliquot_mL", "dilution", "fill_mL"):
            if not 0.0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name}: a positive number was expected, {getattr(self, name)!r} came")
        for name in ("u_titrant_mol_per_L", "u_aliquot_mL", "u_dilution"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name}: an uncertainty of 0 or more was expected, {getattr(self, name)!r} came")
        for name in ("medium_mol_per_L", "medium_mL"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name}: a number of 0 or more was expected, {getattr(self, name)!r} came")

    @property
    def ratios(self) -> tuple[float, ...]:
        """`analyte_per_titrant`, a tuple however it was given."""
        ratios = self.analyte_per_titrant
        return ratios if isinstance(ratios, tuple) else (float(ratios),)
