"""What disturbs an electrode in passing, and unsettled readings; truths by bisection (titration_curves.py)."""

from random import Random

import numpy as np
import pytest
from titration_curves import SLOPE_mV, measured, redox_mV, volumes_about

from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.model_fit import Fit
from titrator.evaluate.redox_model import RedoxModel

IRON = Expectation.of_redox(
    analyte_potential_mV=470.0, titrant_potential_mV=1230.0, nernst_slope_mV=SLOPE_mV, sd_volume_mL=0.001
)
TRUTH_mL = 15.3


def disturbed(low_mL: float, high_mL: float, shift_mV: float, last_mL: float, seed: int = 1) -> Curve:
    """Readings every 0.5 mL, those between two volumes shifted."""
    volume = np.arange(0.5, last_mL + 0.1, 0.5)
    signal = measured(lambda v: redox_mV(v, equivalence_mL=TRUTH_mL), volume, seed, 0.001, 0.3)
    return Curve(volume, signal + np.where((volume > low_mL) & (volume < high_mL), shift_mV, 0.0), "mV")


@pytest.mark.parametrize(("high_mL", "shift_mV"), [(6.2, 100.0), (99.0, 80.0), (6.2, -100.0), (99.0, -100.0)])
def test_a_disturbance_before_the_jump_is_no_point_of_a_method(high_mL, shift_mV):
    evaluation = find_equivalence_points(disturbed(5.0, high_mL, shift_mV, 12.5), IRON)
    assert evaluation.equivalence_points == ()
    assert evaluation.warnings
    for estimate in evaluation.estimates:
        assert estimate.reason


def test_a_permanent_step_is_an_estimate_with_its_reason():
    (estimate,) = find_equivalence_points(disturbed(5.0, 99.0, 80.0, 12.5), IRON).estimates
    assert estimate.volume_mL == pytest.approx(5.25, abs=0.3)
    assert "does not cross the equivalence potential" in estimate.reason


@pytest.mark.parametrize(("high_mL", "shift_mV"), [(6.2, 100.0), (99.0, 80.0), (6.2, -100.0)])
def test_the_true_jump_is_found_behind_a_disturbance(high_mL, shift_mV):
    (point,) = find_equivalence_points(disturbed(5.0, high_mL, shift_mV, 19.0), IRON).equivalence_points
    assert point.interval_95_mL[0] < TRUTH_mL < point.interval_95_mL[1]


@pytest.mark.parametrize("expectation", [None, IRON])
@pytest.mark.parametrize("shift_mV", [-150.0, -80.0, 80.0, 150.0])
def test_two_bad_readings_side_by_side_are_no_jump(expectation, shift_mV):
    for seed in range(5):
        low_mL = Random(f"two bad readings/{seed}").randrange(6, 18) / 2.0 + 0.2
        evaluation = find_equivalence_points(disturbed(low_mL, low_mL + 1.0, shift_mV, 12.5, seed), expectation)
        assert evaluation.equivalence_points == ()


def test_a_step_that_no_model_describes_is_an_estimate_without_a_method():
    evaluation = find_equivalence_points(disturbed(5.0, 99.0, 80.0, 12.5))
    assert evaluation.equivalence_points == ()
    assert "no titration curve does: a disturbance" in evaluation.estimates[0].reason


def not_settled(volume: np.ndarray, signal: np.ndarray, bound_mV: np.ndarray) -> Curve:
    count = len(volume)
    return Curve(volume, signal, "mV", np.full(count, 0.1), np.zeros(count, bool), bound_mV)


@pytest.mark.parametrize("beside_mL", [None, 5.001])
def test_bounds_of_readings_not_settled_do_not_hide_a_large_jump(beside_mL):
    """Every reading may lack up to 100 mV; the jump between 10 and 11 mL is far more than two such bounds."""
    volume = np.arange(1.0, 21.0)
    if beside_mL is not None:
        volume = np.sort(np.append(volume, beside_mL))
    signal = np.array([redox_mV(v, equivalence_mL=10.4) for v in volume])
    if beside_mL is not None:
        signal[volume == beside_mL] += 50.0
    evaluation = find_equivalence_points(not_settled(volume, signal, np.full(len(volume), 100.0)), IRON)
    (point,) = evaluation.equivalence_points
    assert point.interval_95_mL[0] < 10.4 < point.interval_95_mL[1]
    assert 10.0 <= point.volume_mL <= 11.0


def test_a_rise_within_the_bounds_is_no_jump():
    volume = np.arange(1.0, 21.0)
    signal = np.where(volume < 10.5, 450.0, 1200.0) + volume
    evaluation = find_equivalence_points(not_settled(volume, signal, np.full(20, 400.0)), IRON)
    assert evaluation.equivalence_points == ()


def test_two_ways_that_must_disagree_are_told():
    """The three readings on the jump stand 0.05 mL too low, the rest do not: model against differences."""
    volume = volumes_about(17.3)
    signal = measured(lambda v: redox_mV(v, equivalence_mL=17.3), volume, 1, 0.001, 0.1)
    moved = np.where(np.abs(volume - 17.3) < 0.03, volume - 0.05, volume)
    evaluation = find_equivalence_points(Curve(moved, signal, "mV", np.full(len(volume), 0.1)), IRON)
    assert any("disagree beyond their uncertainties" in text for text in evaluation.warnings)
    straight = find_equivalence_points(Curve(volume, signal, "mV", np.full(len(volume), 0.1)), IRON)
    assert not any("disagree" in text for text in straight.warnings)


def test_a_small_misfit_narrows_little_on_few_degrees_of_freedom():
    """By hand: stated u 0.01 mL, misfit 0.3; u² = 0.01² (4 + n 0.09)/(4 + n) for n = 5 and 50 degrees of freedom.

    Student's t of 9 and 54 degrees of freedom: any table.
    """
    few, many = (
        Fit(RedoxModel(), np.array([10.0]), np.array([[1e-4]]), 0.3, dof, 0.0, np.zeros(9), np.ones(9), 0.0)
        for dof in (5.0, 50.0)
    )
    assert few.u_mL == pytest.approx(0.0070317, rel=1e-4)
    assert few.half_interval_mL == pytest.approx(2.2622 * 0.0070317, rel=1e-4)
    assert many.u_mL == pytest.approx(0.0039675, rel=1e-4)
    assert many.half_interval_mL == pytest.approx(2.0049 * 0.0039675, rel=1e-4)
