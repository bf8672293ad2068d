"""The cell file: a simulated cell as it is written down, and its loader.

It says what the chemistry of a cell is, between which limits a dry run draws what nobody states, and how the cell
misbehaves (lags, noise, drift). What a method states with an uncertainty is not repeated here: a dry run draws it
within the method's own figures.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from titrator.chemistry.couples import REACTIONS, Reaction, find_reaction
from titrator.files.load import load
from titrator.files.models import Finding, StrictModel
from titrator.files.quantities import (
    POTENTIAL,
    Concentration_mol_per_L,
    Drift_mV_per_s,
    Duration_s,
    NonNegativeNumber,
    PositiveConcentration_mol_per_L,
    PositiveDuration_s,
    PositiveNumber,
    PositivePotential_mV,
    Potential_mV,
    Quantity,
)
from titrator.files.texts import Text

_FROM = "Lower limit; the draw is uniform between the limits."
_TO = "Upper limit, not below the lower one."


def _in_order(low: float, high: float, unit: str = "") -> Iterable[Finding]:
    if high < low:
        text = f"expected at least {low:g}{unit}, the lower limit (from), got {high:g}{unit}: the wrong way round"
        yield Finding(("to",), text)


class ConcentrationRange(StrictModel):
    """A concentration drawn uniformly, in mol/L."""

    low_mol_per_L: Concentration_mol_per_L = Field(alias="from", description=_FROM)
    high_mol_per_L: Concentration_mol_per_L = Field(alias="to", description=_TO)

    def findings(self) -> Iterable[Finding]:
        """Yield limits that are the wrong way round."""
        return _in_order(self.low_mol_per_L, self.high_mol_per_L, " mol/L")


class NumberRange(StrictModel):
    """A number drawn uniformly."""

    low: NonNegativeNumber = Field(alias="from", description=_FROM)
    high: NonNegativeNumber = Field(alias="to", description=_TO)

    def findings(self) -> Iterable[Finding]:
        """Yield limits that are the wrong way round."""
        return _in_order(self.low, self.high)


class PotentialRange(StrictModel):
    """A formal potential drawn uniformly about a centre, in mV against the standard hydrogen electrode."""

    centre_mV: Potential_mV = Field(alias="centre", description="Middle of the draw, against SHE.")
    within_mV: Annotated[float, Quantity(POTENTIAL, at_least=0)] = Field(
        alias="within", description="The draw is uniform from centre minus this to centre plus this."
    )


class ReactionSection(StrictModel):
    """What reacts with what, in which acid."""

    analyte: Text = Field(description="The substance sought, such as iron(II).")
    titrant: Text = Field(description="The oxidant in the burette, such as cerium(IV).")
    acid: Text = Field(description="The acid of the medium, such as sulfuric acid; it decides the formal potentials.")

    def known(self) -> Reaction:
        """Return the reaction with its couples."""
        return find_reaction(self.analyte, self.titrant)

    def findings(self) -> Iterable[Finding]:
        """Yield a reaction or an acid that this version does not know."""
        known = "; ".join(f"{r.analyte.reduced} with {r.titrant.oxidised} in {' or '.join(r.acids)}" for r in REACTIONS)
        try:
            reaction = self.known()
        except KeyError:
            text = f"expected a reaction known in this version ({known}), got {self.analyte} with {self.titrant}"
            wrong = "titrant" if any(r.analyte.reduced == self.analyte for r in REACTIONS) else "analyte"
            return [Finding((wrong,), text)]
        if self.acid not in reaction.acids:
            return [Finding(("acid",), f"expected {' or '.join(reaction.acids)}, got {self.acid}")]
        return ()


class SampleSection(StrictModel):
    """The unknown: the undiluted sample, before the method takes and dilutes its aliquot."""

    concentration: ConcentrationRange = Field(description="Analyte in the undiluted sample, reduced form only.")
    oxidised: NumberRange = Field(
        description="Share of the element that is oxidised at the start (0.001 is one part in a thousand)."
    )

    def findings(self) -> Iterable[Finding]:
        """Yield a share that leaves nothing to titrate."""
        if self.oxidised.high >= 1:
            yield Finding(("oxidised", "to"), f"expected a share below 1, got {self.oxidised.high:g}")


class PotentialsSection(StrictModel):
    """The formal potentials of both couples and the slope of their response."""

    analyte: PotentialRange = Field(description="Formal potential of the analyte's couple.")
    titrant: PotentialRange = Field(description="Formal potential of the titrant's couple.")
    slope: NumberRange = Field(description="Slope as a share of RT/F.")

    def findings(self) -> Iterable[Finding]:
        """Yield a slope of nothing."""
        if self.slope.low <= 0:
            yield Finding(("slope", "from"), f"expected a slope above 0, got {self.slope.low:g}")


class ElectrodeSection(StrictModel):
    """The indicator electrode: its lag and what sets its potential in a badly poised solution.

    The response time is `response + slowing * w` with w = G^p/(G^p + half^p), G = Ve·|dE/dV|/s.
    """

    response_s: PositiveDuration_s = Field(alias="response", description="Response time in a well poised solution.")
    slowing_s: Duration_s = Field(alias="slowing", description="What a poorly poised solution adds to it at most.")
    slowing_half_at: PositiveNumber = Field(description="The steepness G at which half of `slowing` is added.")
    slowing_power: PositiveNumber = Field(1.0, description="The power p of G in the law.")
    exchange_analyte: PositiveNumber = Field(
        description="Rate of electron exchange of the analyte's couple, relative to a unit of one's choice."
    )
    exchange_titrant: NonNegativeNumber = Field(description="The same of the titrant's couple, in the same unit.")
    background_mol_per_L: PositiveConcentration_mol_per_L = Field(
        alias="background",
        description="Reduction of traces (oxygen) at the electrode, as the concentration that would carry its current.",
    )


class WhiteNoise(StrictModel):
    """Noise without memory."""

    kind: Literal["white"] = Field(description="white: each reading errs independently.")
    sd_mV: PositivePotential_mV = Field(alias="sd", description="Standard deviation of one reading.")


class CorrelatedNoise(StrictModel):
    """Noise with a memory: autoregressive of first order, sampled exactly at any spacing of readings."""

    kind: Literal["correlated"] = Field(description="correlated: neighbouring readings err alike, AR(1).")
    sd_mV: PositivePotential_mV = Field(alias="sd", description="Standard deviation of one reading.")
    memory_s: PositiveDuration_s = Field(
        alias="memory", description="Time after which the correlation has fallen to 1/e."
    )


Noise = Annotated[WhiteNoise | CorrelatedNoise, Field(discriminator="kind")]


class CellFile(StrictModel):
    """A simulated cell, format 1."""

    format: Literal[1] = Field(description="Version of this format; 1.")
    name: Text = Field(description="What the cell is, in a line.")
    reaction: ReactionSection = Field(description="What reacts with what.")
    sample: SampleSection = Field(description="The unknown.")
    potentials: PotentialsSection = Field(description="Formal potentials and slope, drawn for each run.")
    mixing_s: Duration_s = Field(alias="mixing", description="Time constant of mixing, first order.")
    electrode: ElectrodeSection = Field(description="The indicator electrode.")
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
    cell = load(path, CellFile)
    cell.remember(Path(path))
    return cell
