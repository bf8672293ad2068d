"""Draw a cell: what a method states with an uncertainty and what a cell file leaves open, each from its own stream.

A stream is named after what is drawn, so that one more draw in one place changes nothing elsewhere.
"""

import math

from sim.cell import SimulatedCell
from sim.cell_file import CellFile
from sim.instruments import electrode_of, stirring_of, surroundings_of
from sim.noise import noise_sources
from sim.stated import StatedValues
from sim.vessel import CellTruth, Figures, Vessel
from sim.vessel_ions import acid_base_vessel, edta_vessel, silver_vessel, used_up
from sim.vessel_redox import redox_vessel
from titrator.files.problems import FileProblem, Problem

__all__ = ["CellTruth", "StatedValues", "Vessel", "draw_cell", "draw_vessel"]

_BY_FAMILY = {
    "redox": redox_vessel,
    "acid-base": acid_base_vessel,
    "precipitation": silver_vessel,
    "complexation": edta_vessel,
}


def draw_vessel(cell: CellFile, stated: StatedValues, seed: int) -> tuple[Vessel, CellTruth]:
    """Contents of the vessel with their chemistry, and the truth about them, drawn from `seed`.

    Titrant, aliquot and dilution are drawn normal with the stated standard uncertainty (never <= 0), all else uniform
    between the limits of the cell file. Raises FileProblem when the cell is not one for the method's reaction.
    """
    _refuse_another(cell, stated)
    figures = Figures(cell, stated, seed)
    vessel = _BY_FAMILY[figures.reaction.family](figures)
    concentrations = used_up(figures, figures.samples_mol_per_L)
    truth = CellTruth(
        # A blank has no point; nor has a sample without the last analyte.
        vessel.points_mL if min(figures.samples_mol_per_L) > 0.0 else (),
        dict(zip(figures.reaction.analytes, concentrations, strict=True)),
        figures.drawn,
    )
    return vessel, truth


def draw_cell(cell: CellFile, stated: StatedValues, seed: int) -> tuple[SimulatedCell, CellTruth]:
    """A cell and the truth about it, drawn from `seed`; as `draw_vessel`, with electrode, stirring and noise."""
    vessel, truth = draw_vessel(cell, stated, seed)
    simulated = SimulatedCell(
        vessel.contents,
        vessel.chemistry,
        electrode_of(cell, stated, seed),
        stirring_of(cell),
        surroundings_of(cell, stated.temperature_C),
        noise=noise_sources(cell.noise, seed),
    )
    return simulated, truth


def _refuse_another(cell: CellFile, stated: StatedValues) -> None:
    """Refuse a cell of another reaction, stoichiometry or medium than the method's."""
    reaction, section = cell.reaction.known(), cell.reaction
    told = f"{' and '.join(section.analytes)} with {section.titrant}"
    ratios = tuple(step.analyte_per_titrant for step in reaction.steps)
    # A method may seek the first points only.
    count = len(stated.ratios)
    analytes, titrant = stated.analytes or section.analytes[:count], stated.titrant or section.titrant
    text = None
    if titrant != section.titrant or analytes != section.analytes[: len(analytes)]:
        text = (
            f"expected a cell of {' and '.join(analytes)} with {titrant} as the method states, got {told}: "
            "choose another cell"
        )
    elif count > len(ratios) or not all(map(_close, stated.ratios, ratios)):
        text = (
            f"expected a cell whose reaction consumes {' and '.join(f'{ratio:g}' for ratio in stated.ratios)} mol of "
            f"analyte per mol of titrant as the method states, got {told} "
            f"({' and '.join(f'{ratio:g}' for ratio in ratios)}): mend analyte_per_titrant or choose another cell"
        )
    elif stated.medium and stated.medium != section.medium:
        text = f"expected a cell in {stated.medium} as the method states, got {section.medium}: choose another cell"
    if text is not None:
        raise FileProblem([Problem(1, 1, text, cell.path)])


def _close(one: float, other: float) -> bool:
    # A method may write 0.3333 for a third.
    return math.isclose(one, other, rel_tol=5e-4)
