"""From equivalence volume to concentration, mass fraction and amount, each with its budget and its 95 % interval."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from titrator.evaluate.evaluation import EquivalencePoint, Estimate, Evaluation
from titrator.evaluate.measurement import Model, Part, model_of
from titrator.evaluate.monte_carlo import Simulated
from titrator.evaluate.propagation import BudgetLine
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.sample_chain import mass_fraction, sample_mol_per_L, titrated_mmol, with_factor
from titrator.evaluate.told_interval import SEED, in_other_unit, told_interval
from titrator.evaluate.validated import Validated
from titrator.evaluate.volumes import Burette

MOLAR = {"mol/L": 1.0, "mmol/L": 1000.0}
MASS = {"g/L": 1.0, "mg/L": 1000.0}
FRACTION = {"%": 100.0, "g/100 g": 100.0, "mg/g": 1000.0}
AMOUNT = {"mmol": 1.0}
UNCALIBRATED = Burette()
"""A burette of which nothing is known to be off."""
VOLUME_LINE = "equivalence volume (random)"


def own_name(source: str, label: str) -> str:
    """Return the name of a source that is the own of the run under this label."""
    return f"{source}, {label}" if label else source


@dataclass(frozen=True, slots=True)
class ResultInputs:
    """What a result is computed from beside the curve; parts are numbers, quantities or models.

    `analyte_per_titrant`: mol of analyte that a mol of titrant consumes. `titrant_mol_per_L` at 20 °C; `warmth`: volume
    of titrant at 20 °C over that delivered; `strength`: of the titrant at this step's point over `titrant_mol_per_L` (a
    base with carbonate takes up more protons at an acid point than at an alkaline one). `dilution`: volume of the
    diluted sample over that of the sample in it. `blank_mL`: volume that the blank takes on this burette, taken off the
    first point. `sample_g`: mass of a weighed sample, of which the vessel holds aliquot/(dilution `made_up_to_mL`), or
    all of it where that is None. `sampling`, `repeatability`: relative standard uncertainties, lines of their own.
    `unit`: that of the first result. `label`: of the run, a part of the names of what is its own.
    """

    name: str
    titrant_mol_per_L: Part
    aliquot_mL: Part
    dilution: Part = 1.0
    analyte_per_titrant: float = 1.0
    burette: Burette = UNCALIBRATED
    molar_mass_g_per_mol: Part | None = None
    unit: str = "mol/L"
    warmth: Part = 1.0
    strength: Part = 1.0
    blank_mL: Part | None = None
    sample_g: Part | None = None
    made_up_to_mL: Part | None = None
    sampling: float = 0.0
    repeatability: float = 0.0
    label: str = ""

    def __post_init__(self) -> None:
        """Refuse a unit that no result is told in; raises ValueError."""
        if self.unit not in (known := [*MOLAR, *MASS, *FRACTION, *AMOUNT]):
            raise ValueError(f"unit: one of {', '.join(known)} expected, {self.unit!r} came")
        if self.unit in (*MASS, *FRACTION) and self.molar_mass_g_per_mol is None:
            raise ValueError(f"a molar mass expected for a result in {self.unit}, none came")
        if self.unit in FRACTION and self.sample_g is None:
            raise ValueError(f"a mass of the sample expected for a result in {self.unit}, none came")

    @property
    def units(self) -> list[str]:
        """The method's unit, then the others that the same volume is told in."""
        if self.sample_g is not None:
            others = ["mmol"]
        else:
            others = ["mol/L", *(["g/L"] if self.molar_mass_g_per_mol is not None else [])]
        return list(dict.fromkeys([self.unit, *others]))

    def named(self, source: str) -> str:
        """Return the name of a source that is this run's own."""
        return own_name(source, self.label)


@dataclass(frozen=True, slots=True)
class Result:
    """A result with its budget: `u`, `dof` and the budget by the GUM, the value that of the formula.

    `interval_95` is from where `interval_from` says: value ± U with Student's k, or the draws of a Monte Carlo
    (`drawn`) where that differs; U is half its width and k is U/u. `warning`: a sentence where that is notable.
    """

    name: str
    value: float
    unit: str
    u: float
    dof: float
    k: float
    U: float
    interval_95: tuple[float, float]
    interval_from: Literal["GUM", "Monte Carlo"] = "GUM"
    budget: tuple[BudgetLine, ...] = ()
    drawn: Simulated | None = None
    warning: str | None = None
    from_estimate: bool = False
    model: Model | None = field(default=None, repr=False, compare=False)

    @classmethod
    def of(cls, name: str, model: Model, told: Validated, *, from_estimate: bool = False) -> Result:
        """Return what is told of a model."""
        gum = told.gum
        return cls(
            name, gum.value, model.unit, gum.u, gum.dof, told.U / gum.u if gum.u > 0.0 else gum.k, told.U,
            told.interval_95, told.interval_from, gum.budget, told.simulated,
            f"{name}: {told.warning}" if told.notable and told.warning else None, from_estimate, model,
        )  # fmt: skip

    def to_json(self) -> dict[str, Any]:
        """Return the result under the keys that `--json` promises; infinite degrees of freedom are null."""
        drawn = self.drawn
        return {
            "name": self.name,
            "value": self.value,
            "unit": self.unit,
            "u": self.u,
            "dof": self.dof if math.isfinite(self.dof) else None,
            "k": self.k,
            "U": self.U,
            "interval_95": list(self.interval_95),
            "interval_from": self.interval_from,
            "from_estimate": self.from_estimate,
            "monte_carlo": None
            if drawn is None
            else {
                "trials": drawn.trials,
                "seed": drawn.seed,
                "value": drawn.value,
                "u": drawn.u,
                "interval_95": list(drawn.interval_95),
            },
            "budget": [line.to_json() for line in self.budget],
        }


def volume_quantity(point: EquivalencePoint | Estimate, name: str) -> Quantity:
    """Return the volume of a point as the burette indicates it, with its random part."""
    dof = point.dof if isinstance(point, EquivalencePoint) else math.inf
    return Quantity(name, point.volume_mL, point.u_random_mL, "mL", "t" if math.isfinite(dof) else "normal", dof)


def _taken_mL(volume: Quantity, before: Model | None, inputs: ResultInputs) -> tuple[Model, Model]:
    """Return the titrant of one step at 20 °C, since the point before or since the blank, and that up to its point.

    Both are of the stated strength: what is taken at a point where the titrant is stronger counts for more.
    """
    delivered = inputs.burette.delivered(volume)
    whole = delivered * inputs.strength
    if before is not None:
        taken = whole - before
    elif inputs.blank_mL is not None:
        taken = (delivered - inputs.blank_mL) * inputs.strength
    else:
        taken = whole
    return (taken * inputs.warmth).in_unit("mL"), whole


def _multiple(model: Model, factor: float, unit: str) -> Model:
    return model if factor == 1.0 and model.unit == unit else (model * factor).in_unit(unit)


def _models(amount: Model, inputs: ResultInputs) -> Iterator[tuple[str, Model]]:
    """Yield the result in each of its units, in the order in which they are told."""
    units = inputs.units
    molar = sample_mol_per_L(amount, inputs.aliquot_mL, inputs.dilution)
    mass = inputs.molar_mass_g_per_mol
    for unit in units:
        if unit in MOLAR:
            yield unit, _multiple(molar, MOLAR[unit], unit)
        elif unit in AMOUNT:
            yield unit, amount
        elif unit in MASS and mass is not None:
            yield unit, _multiple(molar * mass, MASS[unit], unit)
        elif unit in FRACTION and mass is not None and inputs.sample_g is not None:
            taken: Part = 1.0
            if inputs.made_up_to_mL is not None:
                taken = model_of(inputs.aliquot_mL) / inputs.dilution / inputs.made_up_to_mL
            yield unit, _multiple(mass_fraction(amount, mass, inputs.sample_g, taken), FRACTION[unit], unit)


def _as_declared(model: Model, inputs: ResultInputs) -> Model:
    """Return the model with the lines that the user declares of the result as a whole."""
    if inputs.repeatability > 0.0:
        model = with_factor(model, inputs.named("repeatability"), inputs.repeatability)
    return with_factor(model, "sampling", inputs.sampling) if inputs.sampling > 0.0 else model


def _kind(unit: str, inputs: ResultInputs) -> str:
    """Return what a unit is a multiple of: results of one kind share their draws."""
    mass = inputs.molar_mass_g_per_mol
    certain = not isinstance(mass, (Quantity, Model)) or all(each.u == 0.0 for each in model_of(mass).quantities)
    if unit in MOLAR or (unit in MASS and certain):
        return "per L"
    return unit if unit in (*AMOUNT, *MASS) else "fraction"


def _of_each(inputs: ResultInputs | Sequence[ResultInputs], count: int) -> list[ResultInputs]:
    """Return the inputs of each of `count` points."""
    if not isinstance(inputs, ResultInputs):
        return list(inputs[:count])
    return [inputs if k == 0 else replace(inputs, name=f"{inputs.name} (step {k + 1})") for k in range(count)]


def _steps(
    points: Sequence[EquivalencePoint | Estimate], inputs: ResultInputs | Sequence[ResultInputs]
) -> Iterator[tuple[ResultInputs, Model]]:
    """Yield the amount in the vessel for each step that took titrant."""
    before: Model | None = None
    for number, (point, own) in enumerate(zip(points, _of_each(inputs, len(points)), strict=False), start=1):
        counted = VOLUME_LINE if number == 1 else f"{VOLUME_LINE}, point {number}"
        volume = volume_quantity(point, own.named(counted))
        took, before = _taken_mL(volume, before, own)
        if took.value > 0.0:
            yield own, titrated_mmol(own.titrant_mol_per_L, took, own.analyte_per_titrant)


def results(
    evaluation: Evaluation,
    inputs: ResultInputs | Sequence[ResultInputs],
    *,
    from_estimates: bool = False,
    seed: int | str = SEED,
) -> list[Result]:
    """Return the results, first of every step in the method's unit, then all in the others (mol/L and g/L, or mmol).

    `inputs`: one for each step in order, or one for all (later names then carry the step's number). Each result after
    the first belongs to the volume since the point before it: the random parts of the two volumes are independent, the
    burette's calibration is proportional to their difference. Points beyond the inputs have no result, and none is made
    of a volume that the blank exceeds. `from_estimates`: the volumes are those of the estimates, and each result is
    marked so. `seed` is that of the Monte Carlo.
    """
    points = evaluation.estimates if from_estimates else evaluation.equivalence_points
    found: list[tuple[int, Result]] = []
    for own, amount in _steps(points, inputs):
        told: dict[str, Validated] = {}
        for rank, (unit, plain) in enumerate(_models(amount, own)):
            model, kind = _as_declared(plain, own), _kind(unit, own)
            told[kind] = in_other_unit(told[kind], model) if kind in told else told_interval(model, seed)
            found.append((rank, Result.of(own.name, model, told[kind], from_estimate=from_estimates)))
    ranks = dict.fromkeys(each.unit for rank in range(4) for place, each in found if place == rank)
    return [each for unit in ranks for _, each in found if each.unit == unit]
