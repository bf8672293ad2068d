"""A recorded run as a cell: its curve, at rest and without noise, for rules to be judged on."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
from scipy.interpolate import PchipInterpolator

from titrator.bench.rig import Rig, load_rig
from titrator.evaluate.curve import Curve, FloatArray
from titrator.evaluate.evaluation import Evaluation
from titrator.files import InputProblem
from titrator.method import Method
from titrator.record.run_folder import RunFolder
from titrator.run.evaluation import EvaluatedRun, evaluate_run

FINE: Final = 8
"""Places between two of the curve's, by monotone cubics; the board goes straight between these."""
BEYOND: Final = 100
"""Places behind the last reading, where the curve goes on as the logarithm of the excess."""


class RecordedCell(NamedTuple):
    """What a worker needs of a recording: the rig it is judged with, the curve's fields, and the points found in it."""

    name: str
    rig: Rig
    curve: dict[str, Any]
    true_mL: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Recording:
    """A recorded run. `fitted`: its curve is the fitted model, else the readings themselves, joined without a dip."""

    folder: Path
    run: EvaluatedRun
    cell: RecordedCell
    fitted: bool
    refills: bool

    @property
    def method(self) -> Method:
        """Return the method that it was made with."""
        return self.run.method


def recording(folder: RunFolder) -> Recording:
    """Evaluate a run and make its curve into a cell. InputProblem where not every point that is sought was found.

    Otherwise as `evaluate_run`.
    """
    run = evaluate_run(folder)
    rig = load_rig(folder.path / "rig.yaml")
    points = run.evaluation.equivalence_points
    sought = run.method.find.equivalence_points
    if not sought or len(points) != sought:
        raise InputProblem(
            f"{folder.path}: expected a run in which every equivalence point that its method seeks was found, got "
            f"{len(points)} of {sought}"
        )
    fitted = all(each.found_by == "model-fit" for each in points)
    volume_mL, potential_mV = _fitted(run) if fitted else _readings(run.curve)
    volume_mL, potential_mV = _with_ends(run, volume_mL, potential_mV)
    method = run.method
    curve = {
        "volume_mL": tuple(volume_mL.tolist()),
        "potential_mV": tuple(potential_mV.tolist()),
        "scale_mL": points[-1].volume_mL,
        "response_s": method.reading.response_s,
        "mixing_s": method.reading.mixing_s,
        "noise_mV": method.reading.noise_mV,
        "fill_mL": method.vessel.fill_mL,
        "temperature_C": method.medium.temperature_C,
    }
    true_mL = tuple(each.volume_mL for each in points)
    cell = RecordedCell(folder.path.name, _in_one_stroke(rig, method), curve, true_mL)
    return Recording(folder.path, run, cell, fitted, rig.burette.refills)


def _in_one_stroke(rig: Rig, method: Method) -> Rig:
    """Rules are judged without refills; what these take is the same for all."""
    stroke_mL = max(rig.burette.stroke_mL, method.ends_when.volume_above_mL)
    burette = rig.burette.model_copy(update={"refills": False, "stroke_mL": stroke_mL})
    return rig.model_copy(update={"burette": burette})


def _fitted(run: EvaluatedRun) -> tuple[FloatArray, FloatArray]:
    """The fitted line, that of each point in its own surroundings, in places dense enough to go straight between."""
    lines = [np.array(line) for line in _lines(run.evaluation)]
    points = [each.volume_mL for each in run.evaluation.equivalence_points]
    middles = [-np.inf, *((low + high) / 2.0 for low, high in pairwise(points)), np.inf]
    kept = [
        line[(line[:, 0] > low) & (line[:, 0] <= high)]
        for line, (low, high) in zip(lines, pairwise(middles), strict=True)
    ]
    return _dense(*np.vstack(kept).T)


def _lines(evaluation: Evaluation) -> list[tuple[tuple[float, float], ...]]:
    by_point = {fit.point: fit.line for fit in evaluation.fits if len(fit.line) > 1}
    return [by_point[number] for number in range(1, len(evaluation.equivalence_points) + 1)]


def _readings(curve: Curve) -> tuple[FloatArray, FloatArray]:
    ordered = curve.at_rest().in_order()
    return _dense(ordered.volume_mL, ordered.signal)


def _dense(volume_mL: FloatArray, potential_mV: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Monotone cubics through places in order; whatever goes back is held where it was."""
    rows = np.append(True, np.diff(volume_mL) > 0.0)
    volume_mL, potential_mV = volume_mL[rows], _one_way(potential_mV[rows])
    between = np.arange(FINE) / FINE
    places = np.append((volume_mL[:-1, None] + between * np.diff(volume_mL)[:, None]).ravel(), volume_mL[-1])
    places = np.unique(places)
    return places, np.asarray(PchipInterpolator(volume_mL, potential_mV)(places), dtype=np.float64)


def _one_way(potential_mV: FloatArray) -> FloatArray:
    rises = potential_mV[-1] >= potential_mV[0]
    return np.maximum.accumulate(potential_mV) if rises else np.minimum.accumulate(potential_mV)


def _with_ends(run: EvaluatedRun, volume_mL: FloatArray, potential_mV: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The initial potential in front, and behind the curve on to what the method may deliver.

    Behind the last point every electrode follows the logarithm of what is in excess (Nernst), with the slope that the
    end of the curve has.
    """
    first_mV = float(run.curve.at_rest().in_order().signal[0])
    if volume_mL[0] > 0.0:
        volume_mL, potential_mV = np.append(0.0, volume_mL), np.append(first_mV, potential_mV)
    last_mL, point_mL = float(volume_mL[-1]), run.evaluation.equivalence_points[-1].volume_mL
    excess_mL = last_mL - point_mL
    limit_mL = 1.01 * run.method.ends_when.volume_above_mL
    if limit_mL > last_mL and excess_mL > 0.0:
        back = int(np.searchsorted(volume_mL, last_mL - 0.2 * excess_mL))
        slope = (potential_mV[-1] - potential_mV[back]) / np.log(excess_mL / (volume_mL[back] - point_mL))
        more = np.linspace(last_mL, limit_mL, BEYOND + 1)[1:]
        volume_mL = np.append(volume_mL, more)
        potential_mV = np.append(potential_mV, potential_mV[-1] + slope * np.log((more - point_mL) / excess_mL))
    return volume_mL, _one_way(potential_mV)
