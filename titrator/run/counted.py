"""Control counts jumps to end a run, the evaluation finds points: where the two differ, somebody should look."""

from __future__ import annotations

from collections.abc import Iterable

from titrator.control.jumps import JumpWatch
from titrator.control.point import Point
from titrator.evaluate.evaluation import Evaluation
from titrator.method import Method
from titrator.run.plan import direction_of, least_rise_mV
from titrator.run.potentials import jumps_between_mV


def jumps_counted(method: Method, points: Iterable[Point], random_error_mL: float) -> int:
    """How many jumps control's rule sees in the logged points: the same rule, fed again."""
    sought = method.find.equivalence_points
    watch = JumpWatch(least_rise_mV(method), random_error_mL, jumps_between_mV(method)[:sought], direction_of(method))
    for point in points:
        watch.add_point(point)
    return watch.passed


def count_warnings(counted: int, evaluation: Evaluation) -> list[str]:
    """A sentence where control counted another number of jumps than the evaluation found points."""
    found = len(evaluation.equivalence_points)
    if counted == found:
        return []
    jumps = "1 jump" if counted == 1 else f"{counted} jumps"
    points = "1 equivalence point" if found == 1 else f"{found} equivalence points"
    less = "it may have ended early" if counted > found else "it went on longer than it had to"
    return [f"control counted {jumps} while the run went on, the evaluation finds {points}: {less}; look at the curve"]
