"""The simulated burette: exact steps, errors about targets that do not add up, and never a drop back."""

import math
import statistics
from random import Random

from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from sim.burette import SimulatedBurette

STEP_MS = 3.75
STEP_US = 3750


def burette(calibration=0.0, random_error_mL=0.001, seed=1):
    return SimulatedBurette(
        step_mL=0.000625, calibration=calibration, random_error_mL=random_error_mL, random=Random(seed)
    )


def test_without_errors_volume_is_steps_times_step_and_time_is_steps_times_step_time():
    ideal = burette(random_error_mL=0.0)
    assert ideal.start(1000, 1600, STEP_US) == 1000 + 1600 * STEP_US
    assert math.isclose(ideal.delivered_mL(1000 + 400 * STEP_US), 0.25)
    assert ideal.steps_at(1000 + 400 * STEP_US - 1) == 399
    assert ideal.stop(1000 + 1600 * STEP_US) == 1600
    assert math.isclose(ideal.delivered_mL(10**9), 1.0)


def test_calibration_scales_what_is_delivered_and_is_taken_out_of_what_is_indicated():
    generous = burette(calibration=0.002, random_error_mL=0.0)
    generous.stop(generous.start(0, 16000, STEP_US))
    assert math.isclose(generous.delivered_mL(10**9), 10.02)
    assert math.isclose(generous.indicated_mL(10.02), 10.0)


def test_errors_about_targets_have_the_stated_size_and_do_not_add_up():
    dosing = burette()
    now_us, errors = 0, []
    for dose in range(1, 1001):
        now_us = dosing.start(now_us, 32, STEP_US)
        dosing.stop(now_us)
        errors.append(dosing.delivered_mL(now_us) - dose * 32 * 0.000625)
    # Sum of squares over variance is chi-square distributed (any textbook of statistics): 99.9 % limits.
    low, high = chi2.ppf([0.0005, 0.9995], df=1000)
    assert low < sum(error**2 for error in errors) / 0.001**2 < high
    assert abs(statistics.correlation(errors[:-1], errors[1:])) < 3.3 / math.sqrt(999)


def test_an_early_stop_finishes_the_step_in_hand():
    dosing = burette()
    dosing.start(0, 1000, STEP_US)
    assert dosing.stop(10 * STEP_US + 1) == 11
    assert not dosing.moving
    assert dosing.stop(10 * STEP_US + 2) == 11


@given(
    st.lists(st.tuples(st.integers(0, 40), st.floats(0.0, 1.5)), min_size=1, max_size=30),
    st.integers(0, 10**6),
    st.floats(-0.002, 0.002),
)
def test_the_delivered_volume_never_decreases(doses, seed, calibration):
    dosing = burette(calibration=calibration, seed=seed)
    now_us, before_mL = 0, 0.0
    for steps, part in doses:  # steps far below the random error, stopped early or held on after the end
        end_us = dosing.start(now_us, steps, STEP_US)
        for moment in range(5):
            at_us = now_us + int((end_us - now_us) * part * moment / 4)
            volume_mL = dosing.delivered_mL(at_us)
            assert volume_mL >= before_mL - 1e-15
            before_mL = volume_mL
        now_us = at_us
        dosing.stop(now_us)
        assert dosing.delivered_mL(now_us) >= before_mL - 1e-15
        before_mL = dosing.delivered_mL(now_us)
