"""Splitting additions into strokes. Pure; the reference is arithmetic by hand."""

import math

from hypothesis import given
from hypothesis import strategies as st

from titrator.control.strokes import Part, Strokes

STEP_mL = 0.000625


def strokes(volume_mL=0.0, left_mL=4.0):
    made = Strokes(STEP_mL)
    made.rests(volume_mL, left_mL)
    return made


def test_what_fits_is_delivered_at_once():
    assert strokes().next_part(0.0, 3.9) == Part(3.9, more=False)
    assert strokes().next_part(0.0, 4.0) == Part(4.0, more=False)
    assert Strokes(STEP_mL).next_part(0.0, 1e6) == Part(1e6, more=False)  # nobody said that a stroke ends


def test_what_does_not_fit_is_delivered_as_the_rest_and_the_remainder():
    made = strokes(3.0, 0.4)
    assert made.next_part(3.0, 4.0) == Part(3.4, more=True)
    assert made.next_part(3.4, 4.0) is None
    made.rests(3.4, 4.0)
    assert made.next_part(3.4, 4.0) == Part(4.0, more=False)


def test_a_rest_smaller_than_a_step_is_not_worth_a_motion():
    assert strokes(3.0, 0.0006).next_part(3.0, 4.0) is None


def test_a_goal_within_a_step_beyond_the_stroke_is_reached_at_its_end():
    assert strokes(3.0, 0.4).next_part(3.0, 3.4005) == Part(3.4, more=False)


@given(
    st.lists(st.floats(0.001, 30.0), min_size=1, max_size=30),
    st.floats(0.5, 30.0),
    st.floats(0.0, 1.0),
)
def test_every_addition_is_delivered_in_as_few_fillings_as_can_be(additions_mL, stroke_mL, first_part):
    made = strokes(0.0, stroke_mL * first_part)
    volume_mL = goal_mL = 0.0
    refills = 0
    for addition_mL in additions_mL:
        goal_mL = volume_mL + addition_mL
        for _ in range(200):
            part = made.next_part(volume_mL, goal_mL)
            if part is None:
                refills += 1
                made.rests(volume_mL, stroke_mL)
                continue
            assert volume_mL < part.target_mL <= goal_mL
            assert part.target_mL <= made.ends_mL
            volume_mL = part.target_mL
            if not part.more:
                break
            assert made.next_part(volume_mL, goal_mL) is None
        assert goal_mL - volume_mL <= STEP_mL * (1 + 1e-9)
    due = max(0, math.ceil((volume_mL - stroke_mL * first_part) / stroke_mL - 1e-9))
    assert due <= refills <= due + 1  # one more where a rest below a step was left aside
