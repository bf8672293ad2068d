"""Counting jumps: hand-made curves (mL, mV); every expectation is read off the curve by eye."""

import pytest

from titrator.control.jumps import JumpWatch
from titrator.control.point import Point


def point(number, volume_mL, potential_mV, sd_mV=0.0):
    return Point(number, 10.0 * number, volume_mL, potential_mV, sd_mV, 0.0, 0.0, 0.0, 0.0, 0.0, True, 10.0, 50)


def watched(curve, *settings, sd_mV=0.0):
    watch = JumpWatch(*settings)
    for number, (volume_mL, potential_mV) in enumerate(curve):
        watch.add_point(point(number, volume_mL, potential_mV, sd_mV))
    return watch


def curve(*slopes_mV, start_mV=450.0):
    """Points 1 mL apart with these changes between them."""
    potentials = [start_mV]
    for slope_mV in slopes_mV:
        potentials.append(potentials[-1] + slope_mV)
    return list(enumerate(potentials))


JUMP = (20, 10, 10, 20, 60, 500, 60, 20, 10, 10)


def test_a_jump_is_counted_and_points_behind_its_steepest_chord_too():
    watch = watched(curve(*JUMP), 75.0)
    assert watch.passed == 1
    assert watch.points_past_last == 5  # the chord of 500 mV ends at the first point behind the jump


def test_a_slope_that_merely_triples_is_no_jump():
    assert watched(curve(40, 10, 20, 30, 30, 10, 10, 10), 20.0).passed == 0


def test_noise_makes_no_jump():
    # Slopes differ tenfold, but each is known to 10·√2 mV/mL only.
    bumpy = curve(30, 5, 50, 5, 50, 5, 50, 5)
    assert watched(bumpy, 20.0).passed > 0
    assert watched(bumpy, 20.0, sd_mV=10.0).passed == 0


def test_an_uncertain_volume_makes_no_jump():
    # The slopes of additions of 0.02 mL that are known to 0.025·√2 mL tell nothing.
    bumpy = [(0.02 * volume, potential) for volume, potential in curve(30, 5, 50, 5, 50, 5, 50, 5)]
    assert watched(bumpy, 20.0, 0.0001).passed > 0
    assert watched(bumpy, 20.0, 0.025).passed == 0


def test_a_small_rise_is_no_jump():
    small = curve(5, 2, 2, 30, 2, 2, 2)
    assert watched(small, 20.0).passed == 1
    assert watched(small, 75.0).passed == 0


@pytest.mark.parametrize("sign", [1, -1])
def test_only_what_crosses_the_middle_in_the_order_of_the_potentials_counts(sign):
    steps = [sign * step for step in JUMP]
    start_mV = sign * 450.0
    assert watched(curve(*steps, start_mV=start_mV), 75.0, 0.0, [(sign * 470.0, sign * 1000.0)]).passed == 1
    assert watched(curve(*steps, start_mV=start_mV), 75.0, 0.0, [(sign * 1000.0, sign * 470.0)]).passed == 0
    assert watched(curve(*steps, start_mV=start_mV), 75.0, 0.0, [(sign * 1070.0, sign * 1800.0)]).passed == 0


@pytest.mark.parametrize("sign", [1, -1])
def test_what_goes_against_the_direction_is_no_jump(sign):
    steps = [sign * step for step in JUMP]
    way, other = ("rising", "falling") if sign > 0 else ("falling", "rising")
    assert watched(curve(*steps), 75.0, 0.0, [], way).passed == 1
    assert watched(curve(*steps), 75.0, 0.0, [], other).passed == 0
    against = (5, 5, -sign * 100, 5, 5, 5, 5)
    assert watched(curve(*against), 75.0, 0.0, [], way).passed == 0
    later = watched(curve(*against, *steps), 75.0, 0.0, [], way)
    assert (later.passed, later.points_past_last, later.last_mL) == (1, 5, 12.0)


def test_each_of_several_jumps_has_its_own_window():
    two = curve(*JUMP, *JUMP, start_mV=150.0)
    windows = [(250.0, 700.0), (700.0, 1300.0)]
    assert watched(two, 75.0, 0.0, windows, "rising").passed == 2
    assert watched(two, 75.0, 0.0, [None, windows[1]], "rising").passed == 2
    assert watched(two, 75.0, 0.0, [windows[0], (2000.0, 2100.0)], "rising").passed == 1
    assert watched(two, 75.0, 0.0, [], "rising").passed == 2


def test_a_small_rise_before_a_shallow_jump_does_not_count_its_points():
    # 55 mV at once and then nothing (a touched cable); the jump itself is flatter than that.
    curve_ = curve(10, 2, 2, 55, 2, 2, 2, 2, 2, 2, 10, 20, 50, 20, 10, 5, 5)
    watch = watched(curve_, 75.0, 0.0, [], "rising")
    assert watch.passed == 1
    assert watch.points_past_last == 5


@pytest.mark.parametrize("between", [(), [(470.0, 1230.0)]])
@pytest.mark.parametrize("bump_mV", [100, 600])
def test_a_rise_that_is_undone_is_no_jump_and_hides_none(between, bump_mV):
    bump = (20, 10, 10, 10, bump_mV, 10, 10, -bump_mV, 10, 10, 10)
    assert watched(curve(*bump), 75.0, 0.0, between).passed == 0
    later = watched(curve(*bump, *JUMP), 75.0, 0.0, between)
    assert (later.passed, later.points_past_last) == (1, 5)
