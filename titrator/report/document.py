"""The document of a run: what `--json` prints and what the closing table and the archive are made from."""

from __future__ import annotations

from typing import Any

from titrator.evaluate.evaluation import Evaluation
from titrator.evaluate.results import MASS, MOLAR, Result
from titrator.method.result import Result as ResultSection
from titrator.run.evaluation import EvaluatedRun
from titrator.run.replicates import EvaluatedSeries, LabelledRun


def run_document(evaluated: EvaluatedRun) -> dict[str, Any]:
    """Everything found in a run, units in the keys or beside the values; no times or paths of this machine."""
    return {
        "name": evaluated.method.name,
        "simulated": evaluated.simulated,
        "seed": evaluated.simulated_seed,
        "state": evaluated.state,
        "ended_because": evaluated.why,
        "additions": evaluated.additions,
        "points": len(evaluated.curve),
        "readings_in_passing": len(evaluated.passing),
        "duration_s": round(evaluated.duration_s, 3),
        "delivered_mL": evaluated.delivered_mL,
        "delivered_at_most_mL": evaluated.delivered_at_most_mL,
        "record_complete": evaluated.record_complete,
        **evaluated.evaluation.to_json(),
        "results": [result.to_json() for result in evaluated.results],
        "blank": None if evaluated.blank is None else evaluated.blank.to_json(),
        "recovery": None if evaluated.recovery is None else evaluated.recovery.to_json(),
        "warnings": evaluated.warnings,
    }


def csv_document(name: str, evaluation: Evaluation) -> dict[str, Any]:
    """The same document of a curve that came as a CSV: what a file of two columns cannot tell is null."""
    return {
        "name": name,
        "simulated": False,
        "seed": None,
        "state": None,
        "additions": None,
        "duration_s": None,
        **evaluation.to_json(),
        "results": [],
        "warnings": list(evaluation.warnings),
    }


def truth_document(truth: dict[str, Any], results: list[Result], wanted: ResultSection) -> dict[str, Any]:
    """The simulator's truth beside a dry run's results: entry for entry the same names and units.

    `truth` tells concentrations of the undiluted sample in mol/L in the order of the points, as `wanted` names them.
    """
    steps = zip(wanted.names, wanted.molar_masses_g_per_mol, truth["results"], strict=False)
    told = {name: (entry["value"], molar_mass) for name, molar_mass, entry in steps}
    return {
        "equivalence_points_mL": truth["equivalence_points_mL"],
        "equivalence_points_delivered_mL": truth["equivalence_points_delivered_mL"],
        "results": [
            {"name": result.name, "value": _in_unit(result.unit, *told[result.name]), "unit": result.unit}
            for result in results
            if result.name in told and result.unit in (*MOLAR, *MASS)
        ],
        "faults": truth["faults"],
        "drawn": truth["drawn"],
    }


def _in_unit(unit: str, value_mol_per_L: float, molar_mass_g_per_mol: float) -> float:
    mass = MASS.get(unit)
    return value_mol_per_L * (MOLAR[unit] if mass is None else mass * molar_mass_g_per_mol)


def series_document(evaluated: EvaluatedSeries) -> dict[str, Any]:
    """Everything found in a series of runs."""
    return {
        "name": evaluated.method.name,
        "simulated": any(each.run.simulated for each in evaluated.runs),
        "runs": [_run_of_series(each) for each in evaluated.runs],
        "blanks": [_run_of_series(each) for each in evaluated.blanks],
        "blank": evaluated.blank_sentence,
        "results": [each.to_json() for each in evaluated.results],
        "recovery": None if evaluated.recovery is None else evaluated.recovery.to_json(),
        "warnings": list(evaluated.warnings),
    }


def _run_of_series(each: LabelledRun) -> dict[str, Any]:
    run = each.run
    return {
        "run": each.label,
        "name": run.method.name,
        "state": run.state,
        "simulated": run.simulated,
        "seed": run.simulated_seed,
        "excluded": each.excluded,
        "equivalence_points": [point.to_json() for point in run.evaluation.equivalence_points],
        "blank": None if run.blank is None else run.blank.to_json(),
        "warnings": run.warnings,
    }


def enough_found(document: dict[str, Any], sought: int) -> bool:
    """Whether a run's (or a CSV's) document holds what its method seeks: points, marked estimates, a blank's word."""
    if sought == 0:
        return document.get("blank", {}) is not None
    estimated = {result["name"] for result in document["results"] if result["from_estimate"]}
    return len(document["equivalence_points"]) >= sought or len(estimated) >= sought


def simulated_note(document: dict[str, Any]) -> str:
    """What a figure says of a rehearsal, so that nobody takes it for a measured curve; empty for a real run."""
    if not document["simulated"]:
        return ""
    seed = document["seed"]
    return "simulated" if seed is None else f"simulated, seed {seed}"
