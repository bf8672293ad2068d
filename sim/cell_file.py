"""The cell file: a simulated cell as it is written down, and its loader.

It says what the chemistry of a cell is, between which limits a dry run draws what nobody states, and how the cell
misbehaves (lags, noise, drift). What a method states with an uncertainty is not repeated here: a dry run draws it
within the method's own figures. The reaction tells which keys have a meaning (`sim.cell_fit`).
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field, PrivateAttr

from sim.cell_fit import fitting, fitting_electrode
from sim.cell_potentials import ExchangeSection, PotentialsSection
from sim.cell_reaction import ReactionSection
from sim.cell_sample import SampleSection, TitrantSection
from sim.cell_sections import AmplifierSection, ElectrodeSection, Noise, SurroundingsSection, TipSection
from titrator.files.load import load
from titrator.files.models import StrictModel
from titrator.files.quantities import Drift_mV_per_s, Duration_s
from titrator.files.texts import Text


class CellFile(StrictModel):
    """A simulated cell, format 1."""

    format: Literal[1] = Field(description="Version of this format; 1.")
    name: Text = Field(description="What the cell is, in a line.")
    reaction: ReactionSection = Field(description="What reacts with what.")
    sample: SampleSection = Field(description="The unknown.")
    titrant: TitrantSection = Field(TitrantSection(), description="The titrant, beside what the method states.")
    potentials: PotentialsSection = Field(description="Potentials and slope, drawn for each run.")
    exchange: ExchangeSection | None = Field(None, description="Exchange of electrons at the electrode. Redox.")
    mixing_s: Duration_s = Field(alias="mixing", description="Time constant of mixing, first order.")
    electrode: ElectrodeSection = Field(description="The indicator electrode.")
    tip: TipSection = Field(TipSection(), description="The tip of the burette in the stirred liquid.")
    surroundings: SurroundingsSection = Field(SurroundingsSection(), description="What the room does to the vessel.")
    amplifier: AmplifierSection = Field(AmplifierSection(), description="The input of the amplifier.")
    noise: tuple[Noise, ...] = Field((), description="Kinds of noise; several add up.")
    drift_mV_per_s: Drift_mV_per_s = Field(0.0, alias="drift", description="Steady drift of the potential.")
    _path: Path = PrivateAttr(default=Path("cell"))

    @property
    def path(self) -> Path:
        """Return where the file was read from, for messages."""
        return self._path

    def remember(self, path: Path) -> None:
        """Keep the path for messages."""
        self._path = path


def load_cell(path: str | Path) -> CellFile:
    """Read and validate a cell file. Raises FileProblem with every problem, located by line and column."""
    cell = load(path, CellFile, across=[fitting, fitting_electrode])
    cell.remember(Path(path))
    return cell
