"""Species, pools and masters: what every chemistry of this package is written in.

A *master* is the free substance whose concentration x is looked for: H+, Ag+, free EDTA, electrons. A *pool* is a
quantity of matter that is conserved (all phosphate, all iron, all chloride) and spreads over species that hold
different numbers of the master, their *level* m. With the pool's free base form at concentration r,

    [species] = β·x^m·r^u        u base units in one species (1, but 2 chromium atoms in dichromate)

so acids, metal complexes, precipitates and redox couples are one kind of object. Phosphate has the levels 0 to 3 of H+;
a metal that hydrolyses has the levels 0, −1, −2 …; chloride has the level 0 and, with silver as the master, the solid
at level 1; iron(II) holds one electron, iron(III) none.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Species:
    """One form of a pool: its level, log10 of its formation constant from the base form, its charge, its base units.

    Concentrations in mol/L. `log_beta` of the base form itself is 0. `protons` is by how much log10 β rises with each
    unit of a pH that is held (redox couples that take up H+; formal pools only). For a solid, `log_beta` is that of the
    formation of the solid from its ions (−log10 Ksp for one ion of either kind) and its activity is 1.
    """

    name: str
    level: float
    log_beta: float = 0.0
    charge: int = 0
    units: int = 1
    protons: float = 0.0

    def __post_init__(self) -> None:
        """Refuse numbers that have no meaning."""
        if not (math.isfinite(self.level) and math.isfinite(self.log_beta)) or self.units < 1:
            raise ValueError(
                f"{self.name}: a finite level and constant and at least one base unit were expected, "
                f"{self.level!r}, {self.log_beta!r} and {self.units!r} came"
            )


@dataclass(frozen=True, slots=True)
class Pool:
    """Matter that is conserved, with its dissolved species and at most one solid (one base unit each).

    `formal` says that the constants hold for the medium as it is: no activity coefficients are applied to them.
    Raises ValueError for a pool without a dissolved base form, or for a solid of more than one unit.
    """

    name: str
    species: tuple[Species, ...]
    base_charge: int = 0
    solid: Species | None = None
    formal: bool = False

    def __post_init__(self) -> None:
        """Refuse what the balance cannot hold."""
        if not self.species:
            raise ValueError(f"{self.name}: at least one dissolved species was expected, none came")
        if self.solid is not None and (self.solid.units != 1 or any(s.units != 1 for s in self.species)):
            raise ValueError(f"{self.name}: a solid beside species of one unit was expected, several units came")

    @property
    def least_level(self) -> float:
        """Least number of the master that one unit can hold."""
        return min(s.level / s.units for s in self.forms)

    @property
    def most_level(self) -> float:
        """Largest number of the master that one unit can hold."""
        return max(s.level / s.units for s in self.forms)

    @property
    def forms(self) -> tuple[Species, ...]:
        """Dissolved species and the solid."""
        return self.species if self.solid is None else (*self.species, self.solid)


@dataclass(frozen=True, slots=True)
class Master:
    """The free substance looked for, with the forms of the solvent that hold it (level, log10 constant, charge).

    H+ has itself (level 1) and OH− (level −1, log10 Kw); free silver or EDTA only itself; electrons nothing.
    """

    name: str
    charge: int
    solvent: tuple[Species, ...]
