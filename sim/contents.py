"""What is in the vessel and mixed: amounts, volume, temperature; and what a chemistry must be able to say of it."""

from dataclasses import dataclass, field
from typing import Protocol


@dataclass(slots=True)
class Contents:
    """The state of the vessel. Titrant, air, evaporation, rinsing, a forgotten acid are changes of these figures.

    `amounts_mol` and `total_mol` are the pools and the total of the master in the order of the chemistry's system,
    `acid_mol` the strong acid that a redox reaction may use up (0 where the chemistry counts H+ itself).
    """

    volume_mL: float
    temperature_C: float
    total_mol: float = 0.0
    acid_mol: float = 0.0
    amounts_mol: list[float] = field(default_factory=list)


class Chemistry(Protocol):
    """The equilibrium side of a cell: a function of the contents alone."""

    @property
    def scale_mol(self) -> float:
        """Mol of titrant that the last equivalence point takes: what additions are measured by."""
        ...

    @property
    def scale_mL(self) -> float:
        """The same as a volume of titrant as delivered, in mL."""
        ...

    def rest(self, contents: Contents) -> tuple[float, float]:
        """(potential of a sound indicator after a long wait in mV against the reference, poise 1/G).

        The drawn share of Nernst's slope and the zero point are in it, for metal, glass and ion electrodes alike; what
        is wrong with the electrode comes on top (`sim.electrode`).
        G = Ve·|dE/dV|/s is the steepness of the curve in slopes per equivalence volume; its inverse is 0 where the
        curve is vertical, large where the solution is well poised or buffered.
        """
        ...

    def add_titrant(self, contents: Contents, volume_mL: float) -> None:
        """Put `volume_mL` of titrant (at its own temperature, as delivered) into the contents."""
        ...

    def age(self, contents: Contents, passed_s: float) -> bool:
        """Let air act for `passed_s` (oxidation, carbon dioxide); whether anything changed that moves the potential."""
        ...
