"""A refill and a priming on the simulated board: in order, confirmed, accounted for, and safe when something fails."""

import dataclasses
import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from procedures import run

from firmware_protocol.messages import Reason, ValvePosition
from sim.world import Hardware, World, build_board
from titrator.bench.bench import Bench
from titrator.bench.errors import BoardRefusedError, BuretteError, DoseError, HomeError, NoAnswerError, ValveError
from titrator.bench.events import MotionEnded
from titrator.bench.refill import (
    MOST_MOTIONS_OF_A_PRIMING,
    MOST_MOTIONS_OF_A_REFILL,
    Draw,
    Push,
    Rest,
    TurnValve,
    prime,
    refill,
)
from titrator.control.actions import PRIMING_NUMBERS, REFILL_NUMBERS

VESSEL, RESERVOIR = ValvePosition.VESSEL, ValvePosition.RESERVOIR
STEP_MS = 0.000625
STROKE = 6400


class Still:
    def sample(self, _t_s, _delivered_mL):
        return 0.0


@pytest.fixture(scope="module")
def small(rig):
    burette = rig.burette.model_copy(
        update={
            "stroke_mL": 4.0,
            "refills": True,
            "refill_speed_mL_per_min": 5.0,
            "settle_after_refill_s": 3.0,
            "backlash_mL": 0.010,
        }
    )
    return rig.model_copy(update={"burette": burette})


def hardware(rig, **changes):
    burette = rig.burette
    made = Hardware(
        step_mL=burette.step_mL,
        stroke_mL=burette.stroke_mL,
        least_step_us=burette.arithmetic.least_step_us,
        random_error_mL=0.0,
        calibration_half_width=0.0,
        adc_step_mV=rig.amplifier.step_mV,
        range_mV=(rig.amplifier.range.low_mV, rig.amplifier.range.high_mV),
        backlash_mL=burette.backlash_mL,
    )
    return dataclasses.replace(made, **changes)


@pytest.fixture
def begun(small):
    def begin(travel_mL=20.0, priming_mL=0.0, **changes):
        world = World(build_board(Still(), hardware(small, **changes), seed=1))
        bench = Bench(world, small)
        bench.begin_run(0xBEEF, travel_mL, priming_mL=priming_mL)
        bench.start_readings()
        return bench, world

    return begin


def delivered(bench, dose, volume_mL):
    bench.move_to(dose, volume_mL)
    while True:
        for event in bench.wait(1.0):
            if isinstance(event, MotionEnded):
                assert (event.dose, event.reason, event.aside) == (dose, "arrived", False)
                return event


def test_a_refill_goes_step_by_step_and_leaves_a_full_burette(begun):
    bench, world = begun()
    steps, outcomes = run(bench, refill(bench, 1))
    # From home: nothing to draw, 16 steps of backlash (10 µL / 0.625 µL), both turns confirmed.
    assert steps == [
        TurnValve(RESERVOIR),
        Draw(1, -100),  # a 64th of the stroke beyond home
        Rest(3.0),
        Push(2, 16, RESERVOIR),
        TurnValve(VESSEL),
    ]
    assert [outcome.confirmed for outcome in (outcomes[0], outcomes[4])] == [True, True]
    assert (outcomes[1].reason, outcomes[1].steps) == ("home", 0)
    assert outcomes[2].t_s - outcomes[1].t_s == pytest.approx(3.0, abs=0.01)
    assert bench.left_mL == pytest.approx((STROKE - 16) * STEP_MS)
    assert world.truth()["delivered_mL"] == 0.0


def test_every_step_of_a_run_over_four_fillings_is_accounted_for(begun):
    bench, world = begun()
    dose, total_mL = 1, 0.0
    for _ in range(4):
        run(bench, refill(bench, dose))
        total_mL += bench.left_mL
        ended = delivered(bench, dose + 2, total_mL)
        assert ended.volume_mL == pytest.approx(total_mL)
        assert bench.left_mL == 0.0
        dose += 3
    truth = world.truth()
    assert truth["pushed_steps"] == 4 * (STROKE - 16) == bench.plunger.total_steps
    assert truth["delivered_mL"] == pytest.approx(total_mL)  # no error was simulated: not a microlitre of backlash
    assert truth["steps"] == ended.steps == STROKE
    assert truth["refills"] == 3  # the first one began at home


def test_without_taking_it_up_the_backlash_would_be_missing(small):
    careless = small.model_copy(update={"burette": small.burette.model_copy(update={"backlash_mL": 0.0})})
    world = World(build_board(Still(), hardware(small), seed=1))
    bench = Bench(world, careless)
    bench.begin_run(1, 3.0)
    delivered(bench, 1, 1.0)
    assert world.truth()["delivered_mL"] == pytest.approx(1.0 - 0.010)


def test_filling_takes_the_time_of_the_refill_speed(begun):
    bench, _ = begun()
    run(bench, refill(bench, 1))
    delivered(bench, 3, 1.0)
    _, outcomes = run(bench, refill(bench, 4))
    drawn = outcomes[1].t_s - outcomes[0].t_s
    assert drawn == pytest.approx((1.0 + 0.010) / 5.0 * 60.0, abs=0.05)  # mL over mL/min, by hand


def test_a_dose_beyond_what_is_left_is_refused_before_anything_is_sent(begun):
    bench, _ = begun()
    with pytest.raises(DoseError, match="within the 0 mL that may be delivered before a refill"):
        bench.move_to(1, 0.1)
    run(bench, refill(bench, 1))
    requests = bench.counters.requests
    with pytest.raises(DoseError, match=r"within the 3\.99 mL .* got 4 mL: refill the burette first"):
        bench.move_to(3, 4.0)
    assert bench.counters.requests == requests


def test_the_total_of_a_run_is_limited_over_all_fillings_here_and_on_the_board(begun):
    bench, _ = begun(travel_mL=5.0)
    run(bench, refill(bench, 1))
    delivered(bench, 3, 3.9)
    run(bench, refill(bench, 4))
    with pytest.raises(DoseError, match=r"within the travel of this run, 5 mL, got 5\.001 mL"):
        bench.move_to(6, 5.001)
    bench.plunger.travel_steps = 10**6  # a host that forgot its own limit
    with pytest.raises(BoardRefusedError, match="only 1760 steps into the vessel are left") as caught:
        bench.move_to(6, 5.001)
    assert caught.value.reason is Reason.TRAVEL
    delivered(bench, 6, 5.0)


def test_drawing_with_the_valve_at_the_vessel_is_refused_by_the_board(begun):
    bench, world = begun()
    run(bench, refill(bench, 1))
    delivered(bench, 3, 1.0)
    with pytest.raises(BoardRefusedError, match="the valve is not confirmed where this needs it") as caught:
        bench.draw(4, 0)
    assert caught.value.reason is Reason.VALVE
    assert world.truth()["refills"] == 0


@pytest.mark.parametrize("fault", ["stuck", "slow", "wrong report"])
@pytest.mark.parametrize("sound_turns", [0, 1, 2, 3])
def test_a_valve_fault_ends_the_refill_before_anything_moves_through_it(begun, fault, sound_turns):
    bench, world = begun(valve_fault=fault, sound_turns=sound_turns)
    volume_mL = 0.0
    if sound_turns >= 2:
        run(bench, refill(bench, 1))
        delivered(bench, 3, 1.5)
        volume_mL = 1.5
    before = world.truth()
    where = "the reservoir" if sound_turns % 2 == 0 else "the vessel"
    with pytest.raises(ValveError, match=f"the valve should be at {where}, but its sensor sees it at"):
        run(bench, refill(bench, 4))
    after = world.truth()
    assert after["pushed_steps"] == before["pushed_steps"]
    assert after["delivered_mL"] == pytest.approx(volume_mL)
    assert bench.left_mL == 0.0
    assert bench.halt() == pytest.approx(volume_mL)


def test_steps_counted_and_not_made_are_found_at_home_and_the_volume_is_called_uncertain(begun):
    bench, world = begun()
    run(bench, refill(bench, 1))
    world.board.burette.slip_next(40)
    delivered(bench, 3, 2.0)
    with pytest.raises(HomeError, match=re.escape("40 steps (25 µL) were counted, not made")) as caught:
        run(bench, refill(bench, 4))
    assert "uncertain" in str(caught.value)
    assert world.truth()["delivered_mL"] == pytest.approx(2.0 - 0.025)
    assert bench.left_mL == 0.0


def test_a_few_steps_within_the_random_error_are_let_pass(begun):
    bench, world = begun()
    run(bench, refill(bench, 1))
    world.board.burette.slip_next(5)  # 3 sd of 1 µL are 4.8 steps, and one
    delivered(bench, 3, 2.0)
    run(bench, refill(bench, 4))
    assert bench.plunger.home == 5
    assert bench.left_mL == pytest.approx((STROKE - 16 - 5) * STEP_MS)  # the limit of the session stands
    assert delivered(bench, 6, 2.1).volume_mL == pytest.approx(2.1)


def test_a_board_that_came_up_away_from_home_looks_for_it_first(begun, small):
    bench, world = begun()
    run(bench, refill(bench, 1))
    delivered(bench, 3, 2.5)
    world.board.restart(0x1234)
    again = Bench(world, small)
    again.begin_run(7, 20.0)
    assert again.left_mL == 0.0
    steps, _ = run(again, refill(again, 1))
    assert steps[1] == Draw(1, -STROKE - 100)
    assert again.plunger.home == -4016
    assert again.left_mL == pytest.approx((STROKE - 16) * STEP_MS)
    delivered(again, 3, 1.0)
    assert world.truth()["delivered_mL"] == pytest.approx(3.5)


def test_a_halt_within_a_refill_keeps_the_total_and_asks_for_another_refill(begun):
    bench, world = begun()
    run(bench, refill(bench, 1))
    delivered(bench, 3, 1.0)
    procedure = refill(bench, 4)
    bench.turn_valve(next(procedure).position)
    while not [event for event in bench.wait(1.0) if hasattr(event, "confirmed")]:
        pass
    bench.draw(4, -100)
    bench.wait(1.0)
    bench.wait(1.0)
    assert bench.halt() == pytest.approx(1.0)
    (ended,) = [event for event in bench.wait(1.0) if isinstance(event, MotionEnded)]
    assert (ended.reason, ended.aside, ended.volume_mL) == ("halted", True, pytest.approx(1.0))
    assert 0 < ended.steps < 1616
    assert bench.left_mL == 0.0
    run(bench, refill(bench, 10))
    delivered(bench, 12, 2.0)
    assert world.truth()["delivered_mL"] == pytest.approx(2.0)


def test_a_lost_outcome_is_asked_for(begun, faulty):
    bench, world = begun()
    wire = faulty(world, lambda direction, count: "lose" if direction == "in" and count % 2 else "pass")
    bench._link._transport = bench._clock._transport = bench._transport = wire
    run(bench, refill(bench, 1))
    wire.fates = lambda *_: "pass"
    assert bench.left_mL == pytest.approx((STROKE - 16) * STEP_MS)
    delivered(bench, 3, 1.0)
    assert world.truth()["pushed_steps"] == 1600


@given(st.data())
def test_whatever_the_wire_does_to_a_refill_no_step_is_lost_or_counted_twice(small, faulty, data):
    struck = data.draw(st.sets(st.tuples(st.sampled_from(["in", "out"]), st.integers(0, 40)), max_size=6))
    fate = data.draw(st.sampled_from(["lose", "double", "corrupt", "delay"]))
    world = World(build_board(Still(), hardware(small), seed=1))
    bench = Bench(world, small)
    bench.begin_run(1, 20.0)
    run(bench, refill(bench, 1))
    delivered(bench, 3, 1.2)
    wire = faulty(world, lambda *frame: fate if frame in struck else "pass", delay_s=0.6)
    bench._link._transport = bench._clock._transport = bench._transport = wire
    try:
        run(bench, refill(bench, 4))
    except (NoAnswerError, BuretteError):
        bench._link._transport = bench._clock._transport = bench._transport = world
        assert bench.halt() == pytest.approx(1.2)
    bench._link._transport = bench._clock._transport = bench._transport = world
    run(bench, refill(bench, 20))
    delivered(bench, 22, 2.0)
    truth = world.truth()
    assert truth["pushed_steps"] == 3200
    assert truth["delivered_mL"] == pytest.approx(2.0)


class TestPriming:
    def test_a_purge_goes_over_waste_and_is_not_counted_and_the_run_begins_full(self, begun):
        bench, world = begun(travel_mL=5.0, priming_mL=6.0)
        steps, _ = run(bench, prime(bench, 1, 6.0, empty_first=False))
        pushed = [step for step in steps if isinstance(step, Push) and step.valve is VESSEL]
        assert [step.steps - 16 for step in pushed] == [STROKE - 16, 9600 - STROKE + 16]  # 6 mL are 9600 steps
        assert world.truth()["pushed_steps"] == 9600
        assert bench.plunger.total_steps == 0
        assert bench.left_mL == pytest.approx((STROKE - 16) * STEP_MS)
        assert delivered(bench, 101, 1.0).volume_mL == pytest.approx(1.0)

    def test_another_titrant_is_expelled_first(self, begun):
        bench, world = begun(priming_mL=0.75 + 4.0)
        run(bench, refill(bench, 1))
        delivered(bench, 3, 1.0)
        steps, _ = run(bench, prime(bench, 4, 0.75, empty_first=True))
        kinds = [type(step).__name__ for step in steps if not isinstance(step, TurnValve | Rest)]
        assert kinds == ["Push", "Draw", "Push", "Push", "Draw", "Push"]
        # 1 mL as a dose, the rest of the stroke, then the purge.
        assert world.truth()["pushed_steps"] == 1600 + (STROKE - 16 - 1600) + 1200

    def test_the_board_limits_what_a_priming_may_deliver_too(self, begun):
        bench, _ = begun(travel_mL=1.0, priming_mL=0.5)
        with pytest.raises(BoardRefusedError, match="steps into the vessel are left"):
            run(bench, prime(bench, 1, 2.0, empty_first=False))

    def test_the_numbers_set_aside_are_enough_and_the_same_in_both_rooms(self, begun):
        assert (MOST_MOTIONS_OF_A_REFILL, MOST_MOTIONS_OF_A_PRIMING) == (REFILL_NUMBERS, PRIMING_NUMBERS)
        bench, _ = begun(priming_mL=20.0)
        steps, _ = run(bench, prime(bench, 1, 16.0, empty_first=True))
        doses = [step.dose for step in steps if isinstance(step, Draw | Push)]
        assert doses == list(range(1, len(doses) + 1))
        assert math.isclose(bench.plunger.total_steps, 0)
        assert len(doses) < MOST_MOTIONS_OF_A_PRIMING / 4
