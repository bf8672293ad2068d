"""Control's count of jumps beside the evaluation's points: curves made from Nernst's equation."""

import math
from pathlib import Path

import pytest

from titrator.control.point import Point
from titrator.evaluate.evaluation import EquivalencePoint, Evaluation
from titrator.method import load_method
from titrator.run.counted import count_warnings, jumps_counted

METHOD = Path(__file__).parents[2] / "configs" / "methods" / "iron_in_pickling_bath.yaml"


def iron_mV(volume_mL: float) -> float:
    """One electron each, 470 and 1230 mV, point at 10 mL; either branch by its own Nernst equation (any textbook)."""
    if volume_mL < 10.0:
        return 470.0 + 25.0 * math.log(volume_mL / (10.0 - volume_mL))
    return 1230.0 + 25.0 * math.log((volume_mL - 10.0) / 10.0)


def logged(volumes_mL):
    return [
        Point(number=k, t_s=30.0 * k, volume_mL=v, potential_mV=iron_mV(v), sd_mV=0.1, drift_mV_per_s=0.0,
              drift_sd_mV_per_s=0.001, remainder_bound_mV=0.05, settled=True, waited_s=20.0, readings=200,
              lacking_mV=0.0, lacking_sd_mV=0.01)
        for k, v in enumerate(volumes_mL, start=1)
    ]  # fmt: skip


def test_a_whole_curve_has_one_jump_and_a_first_branch_none():
    whole = [0.5 * k + 0.25 for k in range(30)]
    method = load_method(METHOD)
    assert jumps_counted(method, logged(whole), 0.001) == 1
    assert jumps_counted(method, logged([v for v in whole if v < 9.5]), 0.001) == 0


@pytest.mark.parametrize(("counted", "found", "word"), [(1, 0, "ended early"), (0, 1, "longer than it had to")])
def test_a_difference_is_told(counted, found, word):
    point = EquivalencePoint(10.0, 0.01, 5.0, (9.9, 10.1), 850.0, "mV", "model-fit")
    (told,) = count_warnings(counted, Evaluation(equivalence_points=(point,) * found))
    assert word in told
    assert "control counted" in told


def test_nothing_is_told_where_both_agree():
    assert count_warnings(0, Evaluation()) == []
