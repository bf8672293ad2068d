"""From equivalence volume to concentration, with its uncertainty budget."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from titrator.evaluate.evaluation import EquivalencePoint, Evaluation
from titrator.evaluate.propagation import BudgetLine, Input, product_of_powers

MOLAR = {"mol/L": 1.0, "mmol/L": 1000.0}
MASS = {"g/L": 1.0, "mg/L": 1000.0}


@dataclass(frozen=True, slots=True)
class ResultInputs:
    """What a result is computed from beside the curve; every `u_` is a standard uncertainty.

    `analyte_per_titrant`: mol of analyte that a mol of titrant consumes. `dilution`: volume of the diluted sample over
    that of the sample in it (1: undiluted). `calibration_half_width`: of the burette, relative, rectangular.
    `molar_mass_g_per_mol` None: no result in g/L. `unit`: that of the first result (mol/L, mmol/L, g/L or mg/L).
    `titrant_expansion`: density of the titrant at its temperature over that at 20 °C, for which `titrant_mol_per_L`
    holds.
    """

    name: str
    titrant_mol_per_L: float
    u_titrant_mol_per_L: float
    aliquot_mL: float
    u_aliquot_mL: float
    dilution: float = 1.0
    u_dilution: float = 0.0
    analyte_per_titrant: float = 1.0
    calibration_half_width: float = 0.0
    molar_mass_g_per_mol: float | None = None
    u_molar_mass_g_per_mol: float = 0.0
    unit: str = "mol/L"
    titrant_expansion: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a unit that no result is told in; raises ValueError."""
        if self.unit not in MOLAR and self.unit not in MASS:
            raise ValueError(f"unit: one of {', '.join([*MOLAR, *MASS])} expected, {self.unit!r} came")
        if self.unit in MASS and self.molar_mass_g_per_mol is None:
            raise ValueError(f"a molar mass expected for a result in {self.unit}, none came")


@dataclass(frozen=True, slots=True)
class Result:
    """A concentration in the undiluted sample: standard uncertainty u, expanded U = k u at 95 %, and the budget."""

    name: str
    value: float
    unit: str
    u: float
    dof: float
    k: float
    U: float
    interval_95: tuple[float, float]
    budget: tuple[BudgetLine, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the result under the keys that `--json` promises; infinite degrees of freedom are null."""
        return {
            "name": self.name,
            "value": self.value,
            "unit": self.unit,
            "u": self.u,
            "dof": self.dof if math.isfinite(self.dof) else None,
            "k": self.k,
            "U": self.U,
            "interval_95": list(self.interval_95),
            "budget": [line.to_json() for line in self.budget],
        }


def _inputs(volume_mL: float, u_random_mL: float, dof: float, inputs: ResultInputs) -> list[Input]:
    """Return the factors of c = V c_T n (1 + calibration) dilution / aliquot; lines without uncertainty included."""
    return [
        Input(
            "equivalence volume (random)", volume_mL, u_random_mL, "mL", 1.0, dof, "t" if dof < math.inf else "normal"
        ),
        Input(
            "burette calibration", 1.0, inputs.calibration_half_width / math.sqrt(3.0), "1", distribution="rectangular"
        ),
        Input("titrant concentration", inputs.titrant_mol_per_L, inputs.u_titrant_mol_per_L, "mol/L"),
        Input("aliquot", inputs.aliquot_mL, inputs.u_aliquot_mL, "mL", -1.0),
        Input("dilution", inputs.dilution, inputs.u_dilution, "1"),
    ]


def _in_unit(unit: str, factors: list[Input], inputs: ResultInputs) -> Result:
    """Return the product of the factors in one unit; mass units take the molar mass among them."""
    scale = MOLAR.get(unit) or MASS[unit]
    if unit in MASS:
        assert inputs.molar_mass_g_per_mol is not None
        mass = Input("molar mass", inputs.molar_mass_g_per_mol, inputs.u_molar_mass_g_per_mol, "g/mol")
        factors = [*factors, mass]
    found = product_of_powers(factors, scale * inputs.analyte_per_titrant * inputs.titrant_expansion)
    return Result(inputs.name, found.value, unit, found.u, found.dof, found.k, found.U, found.interval_95, found.budget)


def _units(inputs: ResultInputs) -> list[str]:
    """Return the method's unit, then mol/L and g/L where these are others."""
    units = [inputs.unit, "mol/L", *(["g/L"] if inputs.molar_mass_g_per_mol is not None else [])]
    return list(dict.fromkeys(units))


def _of_each(inputs: ResultInputs | Sequence[ResultInputs], count: int) -> list[ResultInputs]:
    """Return the inputs of each of `count` points."""
    if not isinstance(inputs, ResultInputs):
        return list(inputs[:count])
    return [inputs if k == 0 else replace(inputs, name=f"{inputs.name} (step {k + 1})") for k in range(count)]


def results(evaluation: Evaluation, inputs: ResultInputs | Sequence[ResultInputs]) -> list[Result]:
    """Return the concentrations, first of every step in the method's unit, then all in mol/L and in g/L.

    `inputs`: one for each step in order, or one for all (later names then carry the step's number). Each result after
    the first belongs to the volume since the point before it: the random parts of the two volumes add in quadrature,
    the burette's calibration is proportional to their difference. Points beyond the inputs have no result.
    """
    factors: list[tuple[ResultInputs, list[Input]]] = []
    before: EquivalencePoint | None = None
    for point, named in zip(
        evaluation.equivalence_points, _of_each(inputs, len(evaluation.equivalence_points)), strict=False
    ):
        volume_mL, u_mL, dof = point.volume_mL, point.u_random_mL, point.dof
        if before is not None:
            volume_mL, u_mL, dof = volume_mL - before.volume_mL, math.hypot(u_mL, before.u_random_mL), math.inf
        before = point
        if volume_mL > 0.0:
            factors.append((named, _inputs(volume_mL, u_mL, dof, named)))
    units = list(dict.fromkeys(unit for rank in range(3) for named, _ in factors for unit in _units(named)[rank:][:1]))
    return [_in_unit(unit, parts, named) for unit in units for named, parts in factors if unit in _units(named)]
