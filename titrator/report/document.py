"""The document of a run: what `--json` prints and what the closing table and the archive are made from."""

from __future__ import annotations

from typing import Any

from titrator.evaluate.evaluation import Evaluation
from titrator.evaluate.results import Result
from titrator.run.evaluation import EvaluatedRun


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
        "duration_s": round(evaluated.duration_s, 3),
        "delivered_mL": evaluated.delivered_mL,
        "delivered_at_most_mL": evaluated.delivered_at_most_mL,
        "record_complete": evaluated.record_complete,
        **evaluated.evaluation.to_json(),
        "results": [result.to_json() for result in evaluated.results],
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


def truth_document(truth: dict[str, Any], results: list[Result], molar_mass_g_per_mol: float) -> dict[str, Any]:
    """The simulator's truth beside a dry run's results: entry for entry the same names and units.

    `truth` tells concentrations of the undiluted sample in mol/L by name.
    """
    told = {entry["name"]: entry["value"] for entry in truth["results"]}
    factors = {"mol/L": 1.0, "mmol/L": 1000.0, "g/L": molar_mass_g_per_mol, "mg/L": 1000.0 * molar_mass_g_per_mol}
    return {
        "equivalence_points_mL": truth["equivalence_points_mL"],
        "equivalence_points_delivered_mL": truth["equivalence_points_delivered_mL"],
        "results": [
            {"name": result.name, "value": told[result.name] * factors[result.unit], "unit": result.unit}
            for result in results
            if result.name in told
        ],
        "drawn": truth["drawn"],
    }


def simulated_note(document: dict[str, Any]) -> str:
    """What a figure says of a rehearsal, so that nobody takes it for a measured curve; empty for a real run."""
    if not document["simulated"]:
        return ""
    seed = document["seed"]
    return "simulated" if seed is None else f"simulated, seed {seed}"
