"""Many fillings, one count: no step lost, none counted twice. Pure."""

from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.messages import ValvePosition, ValveState
from titrator.bench.burette import Burette, Filling
from titrator.bench.errors import DoseError
from titrator.bench.plunger import Plunger

BURETTE = Burette(step_mL=0.000625, stroke_mL=4.0, top_speed_mL_per_min=10.0)
STROKE = 6400


def status(position=0, home=0, valve=ValvePosition.VESSEL, state=ValveState.CONFIRMED):
    return SimpleNamespace(
        position=position, home_known=int(home is not None), home_position=home or 0, valve=valve, valve_state=state
    )


def plunger(*, refills=True, backlash=16, **about):
    made = Plunger(BURETTE, backlash_steps=backlash, refills=refills)
    made.has_home_switch = made.has_valve = True
    made.begin(status(**about), about.get("position", 0), 10**6)
    return made


@given(st.integers(-(10**6), 10**6), st.integers(0, 10**6), st.lists(st.integers(0, 6400), max_size=8))
def test_total_and_position_run_side_by_side_within_a_filling(position, total, deliveries):
    filling = Filling(total, position)
    for steps in deliveries:
        there = filling.position_of(total + steps)
        assert there - position == steps
        assert filling.total_at(there) == total + steps


@given(
    st.lists(st.tuples(st.integers(1, 20_000), st.integers(-9, 9), st.integers(0, 40)), max_size=30),
    st.integers(-(10**5), 10**5),
)
def test_over_many_fillings_the_total_is_the_sum_of_what_was_pushed(deliveries, origin):
    """The reference is a ledger that knows nothing of positions: every step pushed while delivering, added up."""
    filling, at, home = Filling(0, origin), origin, origin
    ledger = 0
    for wanted, home_shift, backlash in deliveries:
        goal = ledger + wanted
        while ledger < goal:
            left = home + STROKE - at
            pushed = min(goal - ledger, left)
            ledger += pushed
            at = filling.position_of(ledger)
            assert at <= home + STROKE
            assert filling.total_at(at) == ledger
            if ledger < goal:  # refill: back to a switch that may close a few steps off, then the backlash
                home += home_shift
                for stop in (home, home + backlash):
                    filling, at = filling.moved_aside(at, stop), stop
                    assert filling.total_at(at) == ledger


@given(st.lists(st.floats(0.0, 3.0), max_size=40))
def test_roundings_do_not_add_up_over_fillings(additions_mL):
    filling, at, total_mL = Filling(0, 0), 0, 0.0
    for addition_mL in additions_mL:
        total_mL += addition_mL
        at = filling.position_of(BURETTE.steps(total_mL))
        assert abs(BURETTE.volume_mL(filling.total_at(at)) - total_mL) <= 0.000625 / 2 * (1 + 1e-9)
        filling, at = filling.moved_aside(at, 16), 16


def test_what_has_to_be_taken_up_is_taken_up_wholly():
    assert BURETTE.covering_steps(0.0) == 0
    assert BURETTE.covering_steps(0.010) == 16  # 10 µL / 0.625 µL, a whole number in spite of binary fractions
    assert BURETTE.covering_steps(0.0101) == 17


class TestWhatIsLeft:
    def test_nothing_before_the_backlash_is_taken_up(self):
        assert plunger(position=0).left_steps == 0
        assert plunger(position=0, backlash=0).left_steps == STROKE
        assert plunger(position=16).left_steps == STROKE - 16

    def test_nothing_while_home_is_unknown_for_then_the_end_of_the_stroke_is(self):
        assert plunger(position=100, home=None).left_steps == 0

    @pytest.mark.parametrize(
        ("valve", "state"),
        [
            (ValvePosition.RESERVOIR, ValveState.CONFIRMED),
            (ValvePosition.BETWEEN, ValveState.TURNING),
            (ValvePosition.VESSEL, ValveState.FAULT),
            (ValvePosition.VESSEL, ValveState.UNKNOWN),
        ],
    )
    def test_nothing_unless_the_valve_is_seen_at_the_vessel(self, valve, state):
        assert plunger(position=100, valve=valve, state=state).left_steps == 0

    def test_nothing_after_a_draw_until_the_backlash_is_taken_up(self):
        used = plunger(position=500)
        used.moved_aside(300, drawn=True)
        assert (used.left_steps, used.total_steps) == (0, 0)
        used.moved_aside(316, drawn=False)
        assert (used.left_steps, used.total_steps) == (STROKE - 316, 0)

    def test_the_end_of_the_stroke_counts_from_home(self):
        assert plunger(position=100, home=-50).left_steps == STROKE - 150

    def test_without_refills_a_run_is_one_filling(self):
        with pytest.raises(DoseError, match=r"4 mL left from step 0"):
            plunger(position=0, refills=False)
        one = Plunger(BURETTE, backlash_steps=0, refills=False)
        one.begin(status(position=0), 0, 1000)
        assert one.left_steps == 1000
