"""When a point is told to rest on its model instead of on readings: gaps about the jump and beside it.

Curves by bisection (titration_curves.py) and by titrator.chemistry (family_curves.py), with seeded errors: simulated.
"""

from random import Random

import numpy as np
import pytest
from family_curves import family_curve, method_like
from titration_curves import SLOPE_mV, measured, redox_mV

from titrator.chemistry.reactions import REACTIONS
from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.evaluation import Evaluation
from titrator.evaluate.expectation import Expectation
from titrator.run.expectations import expectation_of

IRON = Expectation.of_redox(
    analyte_potential_mV=470.0, titrant_potential_mV=1230.0, nernst_slope_mV=SLOPE_mV, sd_volume_mL=0.001,
    calibration_half_width=0.002,
)  # fmt: skip
POINT_mL = 17.3
BEFORE_mL, BEHIND_mL = (3.0, 3.4, 4.6, 15.0, 17.0), (17.5, 18.5, 19.5)


def iron(volume_mL: list[float], expectation: Expectation | None = IRON, seed: int = 1) -> Evaluation:
    volume = np.array(volume_mL)
    signal = measured(lambda v: redox_mV(v, equivalence_mL=POINT_mL), volume, seed, 0.001, 0.1)
    return find_equivalence_points(Curve(volume, signal, "mV", np.full(len(volume), 0.1)), expectation)


def about(*apart_uL: float) -> list[float]:
    """Volumes with readings so far from the point, and a few far from it on either side."""
    return [*BEFORE_mL, *(POINT_mL + each / 1000.0 for each in apart_uL), *BEHIND_mL]


def coarse(evaluation: Evaluation) -> list[str]:
    return [text for text in evaluation.warnings if "coarse" in text]


@pytest.mark.parametrize("step_mL", [0.2, 0.5, 1.0])
def test_even_steps_over_the_jump_are_coarse_however_narrow_the_fit(step_mL):
    """The readings named are the two about the point."""
    volume = np.arange(0.37, 22.0, step_mL)
    for seed in range(1, 4):
        evaluation = iron(volume.tolist(), seed=seed)
        (point,) = evaluation.equivalence_points
        low, high = point.interval_95_mL
        assert high - low < 0.05 * step_mL, "the fit claims far more than the readings hold"
        (told,) = coarse(evaluation)
        below, above = max(volume[volume < POINT_mL]), min(volume[volume > POINT_mL])
        assert f"no reading between {below:g} and {above:g} mL" in told
        assert "rests on the method's model" in told


def test_a_wide_gap_before_close_readings_says_nothing():
    """Ten millilitres without a reading, then some a few microlitres apart; one of twenty microlitres before them."""
    for seed in range(1, 6):
        assert coarse(iron(about(-20.0, -2.0, 2.0, 6.0, 10.0), seed=seed)) == []


@pytest.mark.parametrize(("reach_uL", "told"), [(2.0, 0), (5.0, 0), (50.0, 1), (100.0, 1)])
def test_the_line_lies_where_the_interval_of_readings_is_many_times_that_of_the_fit(reach_uL, told):
    evaluation = iron(about(-2.0 * reach_uL, -reach_uL, reach_uL, 2.0 * reach_uL))
    (point,) = evaluation.equivalence_points
    assert point.interval_95_mL[0] < POINT_mL < point.interval_95_mL[1]
    assert len(coarse(evaluation)) == told


def test_a_gap_beside_the_second_of_two_shallow_jumps_says_nothing():
    """Few readings, most of the second rise between two of them, and the point between two others close together."""
    volume = np.array([0.0, 0.05, 1.07, 4.0, 5.18, 5.324, 5.328, 5.376, 5.38, 5.384, 5.388, 5.648, 6.208,
                       10.3, 11.86, 11.88, 12.58])  # fmt: skip
    (reaction,) = (each for each in REACTIONS if each.analytes[:1] == ("phosphoric acid",) and len(each.steps) == 2)
    curve = family_curve(reaction, (5.37, 11.87))
    expectation = expectation_of(method_like(reaction), {"random_error_mL": 0.001, "calibration_half_width": 0.002})
    for seed in range(1, 6):
        random = Random(f"gap beside/{seed}")
        signal = np.array([curve.potential_mV(each) + random.gauss(0.0, 0.5) for each in volume])
        close = find_equivalence_points(Curve(volume, signal, "mV", np.full(len(volume), 0.5)), expectation)
        assert len(close.equivalence_points) == 2
        assert coarse(close) == []


def test_without_a_stated_model_the_interval_is_the_gap_and_says_so():
    evaluation = iron(np.arange(0.37, 22.0, 0.5).tolist(), expectation=None)
    (point,) = evaluation.equivalence_points
    assert point.interval_95_mL[1] - point.interval_95_mL[0] >= 0.5
    (told,) = coarse(evaluation)
    assert "lies on the jump between" in told
    assert "model" not in told.split(";")[0]
