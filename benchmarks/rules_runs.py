"""One run of the study of rules: a case, a way of titrating, a seed, and what came of it beside what is true."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache, partial
from random import Random
from typing import Any

import numpy as np
from rules_bounds import cramer_rao_mL, true_curve
from rules_cases import Case, Files, files
from rules_floor import floor_of
from rules_scripted import ByDrift, Scripted, opened, oracle, run_through

from titrator.control.point import Point
from titrator.control.settling import SettlingSettings
from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.evaluation import Evaluation
from titrator.files.problems import FileProblem
from titrator.method import Method
from titrator.method.additions import FixedAdditions
from titrator.run.course import rig_fields
from titrator.run.expectations import expectation_of
from titrator.run.frameless import titrate_on
from titrator.run.plan import plan_for

FIXED_mL = 0.1
ROUGH_mL, FINE_mL = 0.5, 0.05
BEFORE_mL = 0.5
"""So far before the rough point the bulk ends, and so far beyond it the fine steps go."""
PAST_THE_ROUGH = 2
"""Readings behind the jump of a rough pass."""
PATIENT_S = 8.0 * 3600.0
"""Hand practices are not ended by time."""
OUTLIER_mV = 5.0

WAYS = ("fixed", "adaptive", "foreseeing", "hand, 0.1 mL", "hand, rough then fine", "oracle", "floor")


def accepts(rule: str) -> bool:
    """Whether a method file may ask for the rule."""
    try:
        files(Case("iron(II) with cerium(IV)", "iron_in_pickling_bath"), rule)
    except FileProblem:
        return False
    return True


def drift_limit_mV_per_s(method: Method) -> float:
    """The drift limit that noise and response stated by the method lead to."""
    reading = method.reading
    return SettlingSettings(reading.noise_mV, response_s=reading.response_s).nominal_drift_limit_mV_per_s


def stepping(method: Method, step_mL: float, past: int | None = None) -> Method:
    """The method with equal additions and time enough; `past`: readings behind the jump."""
    ends = method.ends_when
    past = ends.readings_past_jump if past is None else past
    return method.model_copy(
        update={
            "additions": FixedAdditions.model_construct(rule="fixed", step_mL=step_mL),
            "ends_when": ends.model_copy(update={"time_over_s": PATIENT_S, "readings_past_jump": past}),
        }
    )


def by_drift(method: Method) -> Method:
    """The method with readings that wait for the drift limit."""
    reading = method.reading.model_copy(update={"drift_below_mV_per_s": drift_limit_mV_per_s(method)})
    return method.model_copy(update={"reading": reading})


def evaluated(told: Files, points: Sequence[Point], *, extrapolated: bool = True) -> Evaluation:
    """As `titrator evaluate` does; not `extrapolated`: what the readings lacked is not added."""
    curve = Curve.from_points(points)
    if not extrapolated:
        curve = replace(curve, lacking=None, sd_lacking=None)
    return find_equivalence_points(curve, expectation_of(told.method, rig_fields(told.rig)["burette"]))


def of_rule(told: Files, seed: int, *, extrapolated: bool = True) -> dict[str, Any]:
    """A run by the method's own rule."""
    board = opened(told, seed)
    if told.case.outliers:
        board.read_through(partial(_with_outliers, told.case.outliers, seed))
    run = titrate_on(board, told.method, told.rig)
    done = Scripted(run.points, run.duration_s, run.additions, run.truth)
    return _told(told, done, extrapolated=extrapolated) | {"state": run.state.value, "cause": run.ending.cause.name}


def _with_outliers(one_in: int, seed: int, sample: Callable[[float, float], float]) -> Callable[[float, float], float]:
    """Every reading of the block of `one_in` that a draw chooses is off by OUTLIER_mV, up or down."""
    random = Random(f"{seed}/outliers")

    def read(t_s: float, delivered_mL: float) -> float:
        value = sample(t_s, delivered_mL)
        return value + (random.choice((-1.0, 1.0)) * OUTLIER_mV if random.random() * one_in < 1.0 else 0.0)

    return read


def rough_points_mL(told: Files, points: Sequence[Point]) -> tuple[list[float], bool]:
    """Where a rough pass sees the points, and whether the evaluation told it; else the middles of the largest rises."""
    found = evaluated(told, points, extrapolated=False).equivalence_points
    if len(found) == told.points:
        return [each.volume_mL for each in found], True
    volume = np.array([point.volume_mL for point in points])
    rise = np.abs(np.diff([point.potential_mV for point in points]))
    peaks = [k for k in range(1, len(rise)) if rise[k] >= rise[k - 1] and (k + 1 == len(rise) or rise[k] > rise[k + 1])]
    largest = sorted(peaks, key=lambda k: -rise[k])[: told.points]
    return sorted(float(volume[k] + volume[k + 1]) / 2.0 for k in largest), False


def rough_then_fine(told: Files, seed: int) -> dict[str, Any]:
    """Two samples: one to see where the point is, one to go through it in small steps. Both take their time."""
    rough = told._replace(method=by_drift(stepping(told.method, ROUGH_mL, PAST_THE_ROUGH)))
    first = titrate_on(opened(rough, seed), rough.method, rough.rig)
    seen_mL, fitted = rough_points_mL(rough, first.points)
    steps = round(2.0 * BEFORE_mL / FINE_mL)
    volumes_mL = [round(point_mL - BEFORE_mL + FINE_mL * step, 6) for point_mL in seen_mL for step in range(steps + 1)]
    most_mL = told.method.ends_when.volume_above_mL
    volumes_mL = sorted({each for each in volumes_mL if 0.0 < each < most_mL})
    fine = told._replace(method=by_drift(told.method))
    judge = ByDrift(plan_for(fine.method, fine.rig).settling)
    second = run_through(fine, opened(fine, seed), volumes_mL, judge)
    one = _told(fine, second, extrapolated=False)
    return one | {
        "duration_s": first.duration_s + second.duration_s,
        "additions": first.additions + second.additions,
        "titrant_mL": first.points[-1].volume_mL + second.points[-1].volume_mL,
        "state": first.state.value,
        "rough": [seen_mL, fitted, first.duration_s],
    }


def _told(told: Files, done: Scripted, *, extrapolated: bool = True) -> dict[str, Any]:
    """What came of a run: volumes in mL, times in s."""
    evaluation = evaluated(told, done.points, extrapolated=extrapolated)
    return {
        "all_true_mL": list(done.truth["equivalence_points_mL"]),
        "true_mL": list(done.truth["equivalence_points_mL"])[: told.points],
        "found": [
            [each.volume_mL, each.u_random_mL, *each.interval_95_mL, each.found_by]
            for each in evaluation.equivalence_points
        ],
        "duration_s": done.duration_s,
        "additions": done.additions,
        "titrant_mL": done.points[-1].volume_mL if done.points else 0.0,
        "points": sum(point.volume_mL > 0.0 for point in done.points),
        "readings": [
            [point.volume_mL, math.hypot(point.sd_mV, point.lacking_sd_mV if extrapolated else 0.0)]
            for point in done.points
            if point.volume_mL > 0.0
        ],
        "drawn": done.truth["drawn"],
    }


@cache
def _curve(case: Case, seed: int):
    return true_curve(case, seed)


def bounds_mL(case: Case, seed: int, told: dict[str, Any]) -> list[float]:
    """Cramér and Rao's bound of each point for the run's own readings, in mL."""
    volume_mL, sd_mV = np.array(told["readings"]).T
    found = cramer_rao_mL(_curve(case, seed), volume_mL * (1.0 + told["drawn"]["burette_calibration"]), sd_mV)
    return [float(each) for each in found]


def one(case: Case, way: str, seed: int, *, bounds: bool = True) -> dict[str, Any]:
    """Run a case in one of the WAYS with a seed."""
    told = files(case, "foreseeing" if way == "foreseeing" else "adaptive")
    if way == "floor":
        floor = floor_of(told, seed)
        return {
            "case": case.name,
            "way": way,
            "seed": seed,
            "delivery_s": floor.delivery_s,
            "duration_s": floor.duration_s,
        }
    if way in ("adaptive", "foreseeing"):
        done = of_rule(told, seed)
    elif way == "fixed":
        done = of_rule(told._replace(method=stepping(told.method, FIXED_mL)), seed)
    elif way == "hand, 0.1 mL":
        done = of_rule(told._replace(method=by_drift(stepping(told.method, FIXED_mL))), seed, extrapolated=False)
    elif way == "hand, rough then fine":
        done = rough_then_fine(told, seed)
    else:
        done = _told(told, oracle(told, seed, _curve(case, seed)))
    if bounds and done["readings"]:
        done["bounds_mL"] = bounds_mL(case, seed, done)
    del done["readings"]
    return {"case": case.name, "way": way, "seed": seed, **done}
