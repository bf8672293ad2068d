"""Evaluating a recorded run: journal and method in, a document of results out. The truth file is never opened."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.couples import find_reaction
from titrator.chemistry.references import reference_potential_V
from titrator.control.point import Point
from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.evaluation import Evaluation
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.results import Result, ResultInputs, results
from titrator.method import Method, load_method
from titrator.record.journal_reader import JournalContents, read_journal
from titrator.record.run_folder import RunFolder


@dataclass(frozen=True, slots=True)
class EvaluatedRun:
    """A run with what was found in it."""

    method: Method
    state: str
    why: str
    curve: Curve
    evaluation: Evaluation
    results: list[Result]
    additions: int
    duration_s: float
    delivered_mL: float
    simulated: bool
    simulated_seed: int | None
    warnings: list[str]


def expectation_of(method: Method, burette: dict[str, float] | None) -> Expectation:
    """What `method` (and the burette of the journal's first line, where there is one) lets the evaluation expect."""
    temperature_C = method.medium.temperature_C
    reaction = find_reaction(method.reaction.analyte, method.reaction.titrant)
    analyte, titrant = reaction.potentials(method.medium.acid)
    reference_V = reference_potential_V(method.electrode.reference, method.electrode.filling, temperature_C)
    return Expectation.of_redox(
        analyte_potential_mV=1000.0 * (analyte.value_V - reference_V),
        titrant_potential_mV=1000.0 * (titrant.value_V - reference_V),
        nernst_slope_mV=nernst_slope_mV(temperature_C),
        analyte_electrons=reaction.analyte.electrons,
        titrant_electrons=reaction.titrant.electrons,
        points_sought=method.find.equivalence_points,
        sd_volume_mL=burette["random_error_mL"] if burette else None,
        calibration_half_width=burette["calibration_half_width"] if burette else None,
    )


def evaluate_run(folder: RunFolder) -> EvaluatedRun:
    """Evaluate the run in `folder` again from its raw record.

    Raises OSError, JournalDamagedError, RunFolderError or FileProblem when the record cannot be read.
    """
    method = load_method(folder.method)
    contents = read_journal(folder.journal)
    points = [_point(line) for line in contents.of_kind("point")]
    first = contents.lines[0] if contents.lines else {}
    burette = first.get("burette")
    curve = Curve.from_points(points)
    evaluation = find_equivalence_points(curve, expectation_of(method, burette))
    found = evaluation.equivalence_points[: method.find.equivalence_points]
    state, why = _ending(contents)
    return EvaluatedRun(
        method=method,
        state=state,
        why=why,
        curve=curve,
        evaluation=evaluation,
        results=results(evaluation, result_inputs(method, burette)) if found else [],
        additions=sum(not line.get("more") for line in contents.of_kind("intent")),  # a refill may cut one in two
        duration_s=_duration_s(contents),
        delivered_mL=_delivered_mL(contents),
        simulated=first.get("simulated", False),
        simulated_seed=first.get("seed"),
        warnings=[*_record_warnings(contents, points), *evaluation.warnings],
    )


def result_inputs(method: Method, burette: dict[str, float] | None) -> ResultInputs:
    """The quantities between an equivalence volume and a concentration."""
    return ResultInputs(
        name=method.result.name,
        unit=method.result.unit,
        molar_mass_g_per_mol=method.result.molar_mass_g_per_mol,
        analyte_per_titrant=method.reaction.analyte_per_titrant,
        titrant_mol_per_L=method.titrant.concentration.value_mol_per_L,
        u_titrant_mol_per_L=method.titrant.concentration.u_mol_per_L,
        aliquot_mL=method.sample.aliquot.value_mL,
        u_aliquot_mL=method.sample.aliquot.u_mL,
        dilution=method.sample.dilution.value,
        u_dilution=method.sample.dilution.u,
        calibration_half_width=burette["calibration_half_width"] if burette else 0.0,
    )


def _point(line: dict[str, Any]) -> Point:
    return Point(*(line[name] for name in Point._fields))


def _ending(contents: JournalContents) -> tuple[str, str]:
    ends = contents.of_kind("end")
    if ends:
        return ends[-1]["state"], ends[-1]["why"]
    states = contents.of_kind("state")
    return (states[-1]["state"] if states else "ready"), "the record breaks off here"


def _duration_s(contents: JournalContents) -> float:
    states = contents.of_kind("state")
    if not states:
        return 0.0
    return float(contents.lines[-1]["t_ms"] - states[0]["t_ms"]) / 1000.0


def _delivered_mL(contents: JournalContents) -> float:
    volumes = [line["volume_mL"] for line in contents.lines if line["kind"] in ("outcome", "halt", "end")]
    return float(volumes[-1]) if volumes else 0.0


def _record_warnings(contents: JournalContents, points: list[Point]) -> list[str]:
    warnings = []
    if contents.torn_tail:
        warnings.append(f"the last line of the journal is torn ({len(contents.torn_tail)} bytes left aside)")
    not_settled = sum(not point.settled for point in points)
    if not_settled:
        warnings.append(f"{not_settled} of {len(points)} points were logged not settled, at the longest wait")
    missed = sum(line["missed"] for line in contents.of_kind("readings"))
    if missed:
        warnings.append(f"{missed} readings went missing on the link")
    return warnings
