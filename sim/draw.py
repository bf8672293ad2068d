"""Draw a cell: what a method states with an uncertainty and what a cell file leaves open, each from its own stream.

A stream is named after what is drawn, so that one more draw in one place changes nothing elsewhere.
"""

import math
from dataclasses import dataclass
from random import Random

from sim.cell import SimulatedCell
from sim.cell_file import CellFile, ConcentrationRange, NumberRange, PotentialRange
from sim.electrode import ResponseLaw
from sim.noise import noise_sources
from sim.solution import Electrochemistry, Solution
from titrator.files.problems import FileProblem, Problem


@dataclass(frozen=True, slots=True)
class StatedValues:
    """What the method says, as plain numbers; `u_*` are standard uncertainties of normal distributions.

    `fill_mL` is the liquid in the vessel at the start, `reference_potential_V` that of the reference electrode against
    SHE, `analyte_per_titrant` mol of analyte per mol of titrant. A `blank` holds no analyte.
    Raises ValueError for figures that cannot be drawn from.
    """

    titrant_mol_per_L: float
    u_titrant_mol_per_L: float
    aliquot_mL: float
    u_aliquot_mL: float
    dilution: float
    u_dilution: float
    analyte_per_titrant: float
    fill_mL: float
    temperature_C: float
    reference_potential_V: float
    blank: bool = False

    def __post_init__(self) -> None:
        """Refuse what the draw could not end with."""
        for name in ("titrant_mol_per_L", "aliquot_mL", "dilution", "analyte_per_titrant", "fill_mL"):
            if not 0.0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name}: a positive number was expected, {getattr(self, name)!r} came")
        for name in ("u_titrant_mol_per_L", "u_aliquot_mL", "u_dilution"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name}: an uncertainty of 0 or more was expected, {getattr(self, name)!r} came")


@dataclass(frozen=True, slots=True)
class CellTruth:
    """What only the simulator knows.

    Volumes of titrant delivered at the equivalence points, in mL, in order; concentrations of the undiluted sample in
    mol/L by name of the analyte; every drawn value by a name that ends in its unit (potentials against SHE).
    """

    equivalence_points_delivered_mL: tuple[float, ...]
    concentrations_mol_per_L: dict[str, float]
    drawn: dict[str, float]


def draw_cell(cell: CellFile, stated: StatedValues, seed: int) -> tuple[SimulatedCell, CellTruth]:
    """A cell and the truth about it, drawn from `seed`.

    Titrant, aliquot and dilution are drawn normal with the stated standard uncertainty (never <= 0), all else uniform
    between the limits of the cell file. Raises FileProblem when the cell's reaction is not the one that is stated.
    """
    reaction = cell.reaction.known()
    if not math.isclose(stated.analyte_per_titrant, reaction.analyte_per_titrant, rel_tol=1e-9):
        text = (
            f"expected a cell whose reaction consumes {stated.analyte_per_titrant:g} mol of analyte per mol of titrant "
            f"as the method states, got {cell.reaction.analyte} with {cell.reaction.titrant} "
            f"({reaction.analyte_per_titrant:g}): mend analyte_per_titrant or choose another cell"
        )
        raise FileProblem([Problem(1, 1, text, cell.path)])
    drawn = _draw_all(cell, stated, seed)
    reduced_mmol = drawn["sample_mol_per_L"] * drawn["aliquot_mL"] / drawn["dilution"]
    oxidised = drawn["oxidised_at_start"]
    analyte_mmol = reduced_mmol / (1.0 - oxidised)
    solution = Solution(analyte_mmol, analyte_mmol * oxidised, 0.0, stated.fill_mL, stated.temperature_C)
    reference_mV = 1000.0 * stated.reference_potential_V
    constants = Electrochemistry(
        analyte_mV=drawn["analyte_formal_mV"] - reference_mV,
        titrant_mV=drawn["titrant_formal_mV"] - reference_mV,
        slope_share=drawn["slope_share"],
        analyte_electrons=reaction.analyte.electrons,
        titrant_electrons=reaction.titrant.electrons,
        exchange_analyte=cell.electrode.exchange_analyte,
        exchange_titrant=cell.electrode.exchange_titrant,
        background_mol_per_L=cell.electrode.background_mol_per_L,
    )
    electrode = cell.electrode
    simulated = SimulatedCell(
        solution,
        constants,
        ResponseLaw(electrode.response_s, electrode.slowing_s, electrode.slowing_half_at, electrode.slowing_power),
        titrant_mol_per_L=drawn["titrant_mol_per_L"],
        mixing_s=cell.mixing_s,
        drift_mV_per_s=cell.drift_mV_per_s,
        noise=noise_sources(cell.noise, seed),
    )
    per_titrant = reaction.analyte_per_titrant * drawn["titrant_mol_per_L"]
    points = (reduced_mmol / per_titrant,) if reduced_mmol > 0.0 else ()
    return simulated, CellTruth(points, {cell.reaction.analyte: drawn["sample_mol_per_L"]}, drawn)


def _draw_all(cell: CellFile, stated: StatedValues, seed: int) -> dict[str, float]:
    """Every drawn value by its name."""

    def stream(name: str) -> Random:
        return Random(f"{seed}/draw {name}")

    def normal(name: str, value: float, u: float) -> float:
        random = stream(name)
        drawn = random.gauss(value, u)
        while drawn <= 0.0:  # only where the uncertainty is as large as the value
            drawn = random.gauss(value, u)
        return drawn

    def uniform(name: str, limits: ConcentrationRange | NumberRange | PotentialRange) -> float:
        if isinstance(limits, ConcentrationRange):
            low, high = limits.low_mol_per_L, limits.high_mol_per_L
        elif isinstance(limits, NumberRange):
            low, high = limits.low, limits.high
        else:
            low, high = limits.centre_mV - limits.within_mV, limits.centre_mV + limits.within_mV
        return stream(name).uniform(low, high)

    return {
        "titrant_mol_per_L": normal("titrant", stated.titrant_mol_per_L, stated.u_titrant_mol_per_L),
        "aliquot_mL": normal("aliquot", stated.aliquot_mL, stated.u_aliquot_mL),
        "dilution": normal("dilution", stated.dilution, stated.u_dilution),
        "sample_mol_per_L": 0.0 if stated.blank else uniform("sample", cell.sample.concentration),
        "oxidised_at_start": uniform("oxidised at start", cell.sample.oxidised),
        "analyte_formal_mV": uniform("analyte potential", cell.potentials.analyte),
        "titrant_formal_mV": uniform("titrant potential", cell.potentials.titrant),
        "slope_share": uniform("slope", cell.potentials.slope),
    }
