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


def with_play(backlash_steps=16, **options):
    return SimulatedBurette(
        step_mL=0.000625,
        calibration=0.0,
        random_error_mL=0.0,
        random=Random(1),
        backlash_steps=backlash_steps,
        **options,
    )


def moved(playing, steps, *, into_vessel=True):
    now_us = 10**12
    playing.stop(playing.start(now_us, steps, STEP_US, into_vessel=into_vessel))
    return playing.delivered_mL(now_us + 10**9)


def test_a_reversal_loses_the_backlash_until_it_is_taken_up():
    playing = with_play()
    # At home, filled: the first 16 steps move nothing. By hand: (100 - 16) x 0.625 µL = 52.5 µL.
    assert math.isclose(moved(playing, 100), 0.0525)
    assert math.isclose(moved(playing, 100), 0.0525 + 0.0625)
    moved(playing, -200, into_vessel=False)
    assert playing.refills == 1
    before_mL = playing.delivered_mL(0)
    moved(playing, 16, into_vessel=False)  # taken up towards the reservoir
    assert math.isclose(moved(playing, 40) - before_mL, 0.025)
    assert playing.pushed_steps == 84 + 100 + 40


def test_a_turn_shorter_than_the_play_draws_nothing_and_is_no_refill():
    playing = with_play()
    moved(playing, 100)
    moved(playing, -10, into_vessel=False)
    assert playing.refills == 0
    before_mL = playing.delivered_mL(0)
    assert moved(playing, 10) == before_mL
    assert math.isclose(moved(playing, 8) - before_mL, 0.005)


@given(st.lists(st.tuples(st.integers(-60, 60), st.booleans()), max_size=25), st.integers(0, 20))
def test_plunger_and_carriage_never_part_by_more_than_the_play(moves, backlash_steps):
    playing = with_play(backlash_steps)
    counted = pushed = 0
    carriage = plunger = 0  # a play operator by hand: the plunger is dragged along at either end of the gap
    plunger = backlash_steps
    for steps, wanted in moves:
        into_vessel = wanted and steps >= 0
        moved(playing, steps, into_vessel=into_vessel)
        counted += steps
        carriage += steps
        at = min(max(plunger, carriage), carriage + backlash_steps)
        if into_vessel:
            pushed += at - plunger
        plunger = at
    assert playing.steps == counted
    assert playing.pushed_steps == pushed


def test_slipped_steps_are_counted_and_not_made():
    slipping = with_play(0)
    slipping.slip_next(40)
    assert math.isclose(moved(slipping, 100), 60 * 0.000625)
    assert (slipping.steps, slipping.carriage_steps) == (100, 60)
    assert math.isclose(moved(slipping, 10), 70 * 0.000625)


def test_what_a_refill_leaves_wrong_stays_in_every_later_volume_and_has_the_stated_size():
    shifts = []
    for seed in range(400):
        filled = with_play(0, refill_error_mL=0.002, refill_random=Random(seed))
        moved(filled, 1600)
        moved(filled, -1600, into_vessel=False)
        shifts.append(moved(filled, 1600) - 2.0)
        assert math.isclose(moved(filled, 1600) - 3.0, shifts[-1], abs_tol=1e-12)
    low, high = chi2.ppf([0.0005, 0.9995], df=400)
    assert low < sum(shift**2 for shift in shifts) / 0.002**2 < high
