"""What a dry run starts from, whatever the reaction: figures drawn, the vessel made from them, the truth about it."""

from dataclasses import dataclass

from sim.cell_file import CellFile
from sim.cell_ranges import Range
from sim.contents import Chemistry, Contents
from sim.stated import StatedValues
from sim.streams import Streams
from titrator.chemistry.water import expansion

TRACE_MOL_PER_L = 1e-9
"""No solution is free of everything: a blank holds this much of the analyte, so its potential stays finite."""


@dataclass(frozen=True, slots=True)
class CellTruth:
    """What only the simulator knows.

    Volumes of titrant delivered at the equivalence points, in mL, in order; concentrations of the undiluted sample in
    mol/L by name of the analyte, each as what its step uses up (the hydrogen carbonate of a second point is all
    carbonate); every drawn value by a name that ends in its unit (potentials against SHE).
    """

    equivalence_points_delivered_mL: tuple[float, ...]
    concentrations_mol_per_L: dict[str, float]
    drawn: dict[str, float]


@dataclass(frozen=True, slots=True)
class Vessel:
    """A vessel ready to be titrated: contents, their chemistry, and the volumes at which the analytes are used up."""

    contents: Contents
    chemistry: Chemistry
    points_mL: tuple[float, ...]


class Figures:
    """The figures drawn for one run, by name, and what follows from them at once."""

    def __init__(self, cell: CellFile, stated: StatedValues, seed: int) -> None:
        self.cell, self.stated, self.streams = cell, stated, Streams(seed)
        self.reaction = cell.reaction.known()
        streams, sample = self.streams, cell.sample
        self.drawn: dict[str, float] = {
            "titrant_mol_per_L": streams.normal("titrant", stated.titrant_mol_per_L, stated.u_titrant_mol_per_L),
            "aliquot_mL": streams.normal("aliquot", stated.aliquot_mL, stated.u_aliquot_mL),
            "dilution": streams.normal("dilution", stated.dilution, stated.u_dilution),
        }
        for place, limits in enumerate((sample.concentration, *sample.then), start=1):
            name = "sample" if place == 1 else f"sample {place}"
            key = "sample_mol_per_L" if place == 1 else f"sample_{place}_mol_per_L"
            self.drawn[key] = 0.0 if stated.blank else streams.within(name, limits)
        self.titrant_C = stated.titrant_temperature_C
        if cell.titrant.warmer_C > 0.0:
            self.titrant_C = streams.about("titrant temperature", self.titrant_C, cell.titrant.warmer_C)
            self.drawn["titrant_temperature_C"] = self.titrant_C

    @property
    def samples_mol_per_L(self) -> tuple[float, ...]:
        """Analytes as they were put into the undiluted sample, in order."""
        further = range(2, len(self.reaction.steps) + 1)
        return (self.drawn["sample_mol_per_L"], *(self.drawn[f"sample_{place}_mol_per_L"] for place in further))

    def in_vessel_mol(self, sample_mol_per_L: float) -> float:
        """Mol in the aliquot of something that has this concentration in the undiluted sample."""
        return sample_mol_per_L * self.drawn["aliquot_mL"] / self.drawn["dilution"] / 1000.0

    @property
    def analytes_mol(self) -> tuple[float, ...]:
        """Mol of each analyte in the vessel as put in, 0 in a blank."""
        return tuple(self.in_vessel_mol(c) for c in self.samples_mol_per_L)

    @property
    def trace_mol(self) -> float:
        """The least amount of an analyte in the vessel."""
        return TRACE_MOL_PER_L * self.stated.fill_mL / 1000.0

    @property
    def titrant_mol_per_L(self) -> float:
        """The titrant at its own temperature: what a litre that leaves the tip holds."""
        return self.drawn["titrant_mol_per_L"] * expansion(self.titrant_C)

    @property
    def medium_mol(self) -> float:
        """Mol of acid or buffer in the vessel; where the method tells nothing, 1 mol/L throughout."""
        stated = self.stated
        if not stated.medium_mL:
            return stated.fill_mL / 1000.0
        return stated.medium_mol_per_L * stated.medium_mL / 1000.0

    def uniform(self, stream: str, key: str, limits: Range | None) -> float:
        """Draw a further figure and keep it; 0 where the cell file has none."""
        if limits is None:
            return 0.0
        self.drawn[key] = self.streams.within(stream, limits)
        return self.drawn[key]


def cumulated(amounts: tuple[float, ...]) -> tuple[float, ...]:
    """Running sums."""
    total, sums = 0.0, []
    for amount in amounts:
        total += amount
        sums.append(total)
    return tuple(sums)
