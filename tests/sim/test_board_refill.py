"""Valve, refill and home switch of the simulated board against SPEC.md, in bare frames."""

import pytest
from board_talk import REFILL_US, RESERVOIR, STEP_US, VESSEL, Talk, limits

from firmware_protocol.messages import (
    AskStatus,
    Capability,
    DoseReport,
    DoseState,
    Halt,
    Hello,
    MotionEnded,
    Move,
    Reason,
    Refill,
    Refused,
    SetLimits,
    SetReadings,
    SetValve,
    ValvePosition,
    ValveReport,
    ValveState,
    ValveTurned,
)


def turned(talk, position):
    report = talk.say(SetValve(position))
    assert report.state in {ValveState.TURNING, ValveState.CONFIRMED}
    return talk.listen(6)


@pytest.fixture
def talk():
    return Talk(backlash_steps=16).begin(highest=40000)


@pytest.fixture
def used(talk):
    """1000 steps delivered, the valve turned to the reservoir."""
    talk.say(Move(1, 1000, STEP_US))
    for _ in range(4):  # fed, as a host does
        talk.listen(1)
        talk.say(AskStatus())
    turned(talk, RESERVOIR)
    return talk


def test_the_board_tells_its_parts_and_that_it_stands_at_home(talk):
    assert talk.say(Hello(1)).capabilities & 3 == Capability.VALVE | Capability.HOME_SWITCH
    assert Talk(valve=False, home_switch=False).say(Hello(1), session=0).capabilities & 3 == 0
    status = talk.say(AskStatus())
    assert (status.valve, status.valve_state) == (VESSEL, ValveState.CONFIRMED)
    assert (status.home_known, status.home_position) == (1, 0)


def test_a_turn_is_told_when_the_sensor_sees_it_and_not_before(talk):
    begun_ms = talk.board.now_us // 1000
    report = talk.say(SetValve(RESERVOIR))
    assert report == ValveReport(ValvePosition.BETWEEN, RESERVOIR, ValveState.TURNING, begun_ms)
    assert talk.say(AskStatus()).valve_state is ValveState.TURNING
    (told,) = talk.listen(3)
    # The valve takes a second, the board looks at its sensor every 10 ms.
    assert told == ValveTurned(RESERVOIR, RESERVOIR, ValveState.CONFIRMED, begun_ms + 1000)
    assert talk.say(SetValve(RESERVOIR)).state is ValveState.CONFIRMED
    assert talk.listen(3) == []


def test_a_repeat_while_it_turns_changes_nothing(talk):
    talk.say(SetValve(RESERVOIR))
    talk.listen(0.5)
    assert talk.say(SetValve(RESERVOIR)).state is ValveState.TURNING
    assert [event.state for event in talk.listen(3)] == [ValveState.CONFIRMED]


@pytest.mark.parametrize("fault", ["stuck", "slow", "wrong report"])
def test_a_valve_that_is_not_seen_there_in_time_is_a_fault_and_nothing_moves_through_it(fault):
    talk = Talk(fault=fault).begin()
    talk.say(Move(1, 100, STEP_US))
    talk.listen(1)
    talk.say(SetValve(RESERVOIR))
    (told,) = talk.listen(7)
    assert (told.asked, told.state) == (RESERVOIR, ValveState.FAULT)
    assert told.position is not RESERVOIR
    assert talk.say(Refill(2, 0, REFILL_US)).reason is Reason.VALVE
    assert talk.say(Move(2, 110, STEP_US)).reason is Reason.VALVE
    assert talk.board.burette.steps == 100


def test_a_refill_goes_back_to_the_switch_and_tells_where_it_closed(used):
    begun_us = used.board.now_us
    report = used.say(Refill(2, -500, REFILL_US))
    assert (report.dose, report.state) == (2, DoseState.MOVING)
    heard = []
    for _ in range(10):
        heard += used.listen(1)
        used.say(AskStatus())
    assert heard == [MotionEnded(2, 0, DoseState.HOME, (begun_us + 1000 * REFILL_US) // 1000)]
    status = used.say(AskStatus())
    assert (status.home_known, status.home_position, status.position) == (1, 0, 0)
    assert used.say(Refill(2, -500, REFILL_US)).state is DoseState.HOME  # the stored answer


def test_a_refill_may_stop_before_the_switch_at_its_target(used):
    used.say(Refill(2, 900, REFILL_US))
    (ended,) = used.listen(1)
    assert (ended.position, ended.state) == (900, DoseState.ARRIVED)


def test_a_motor_that_stalled_is_found_out_by_the_switch(talk):
    talk.board.burette.slip_next(30)
    talk.say(Move(1, 200, STEP_US))
    talk.listen(1)
    turned(talk, RESERVOIR)
    talk.say(Refill(2, -500, REFILL_US))
    (ended,) = talk.listen(1.9)
    assert (ended.position, ended.state) == (30, DoseState.HOME)
    status = talk.say(AskStatus())
    assert (status.home_known, status.home_position) == (1, 30)


def test_a_refill_is_refused_unless_the_valve_is_confirmed_at_the_reservoir(talk):
    talk.say(Move(1, 100, STEP_US))
    talk.listen(1)
    assert talk.say(Refill(2, 0, REFILL_US)) == Refused(Refill.KIND, Reason.VALVE, VESSEL)
    talk.say(SetValve(RESERVOIR))
    assert talk.say(Refill(2, 0, REFILL_US)) == Refused(Refill.KIND, Reason.VALVE, ValvePosition.BETWEEN)
    talk.listen(3)
    assert isinstance(talk.say(Refill(2, 0, REFILL_US)), DoseReport)


def test_a_dose_never_goes_to_the_reservoir_by_mistake_nor_backlash_into_the_sample(used):
    assert used.say(Move(2, 1100, STEP_US, VESSEL)) == Refused(Move.KIND, Reason.VALVE, RESERVOIR)
    turned(used, VESSEL)
    assert used.say(Move(2, 1100, STEP_US, RESERVOIR)) == Refused(Move.KIND, Reason.VALVE, VESSEL)
    assert used.say(Move(2, 1100, STEP_US, VESSEL)).state is DoseState.MOVING


def test_a_refill_too_fast_too_far_or_forward_is_refused(used):
    assert used.say(Refill(2, 0, REFILL_US - 1)) == Refused(Refill.KIND, Reason.TOO_FAST, REFILL_US)
    lowest = 1000 - 40000 - 625  # a stroke and a 64th below where it stands
    assert used.say(Refill(2, lowest - 1, REFILL_US)) == Refused(Refill.KIND, Reason.BEYOND_LIMIT, lowest)
    assert used.say(Refill(2, 1001, REFILL_US)) == Refused(Refill.KIND, Reason.REVERSAL, 1000)


def test_the_valve_is_not_turned_while_the_motor_runs(talk):
    talk.say(Move(1, 1000, STEP_US))
    assert talk.say(SetValve(RESERVOIR)) == Refused(SetValve.KIND, Reason.MOVING, 1000)
    assert talk.say(SetValve(ValvePosition.BETWEEN)) == Refused(SetValve.KIND, Reason.BAD_VALUE, 0)


def test_a_halt_in_a_refill_is_obeyed_and_its_place_is_known(used):
    used.say(Refill(2, -500, REFILL_US))
    used.listen(1)
    report = used.say(Halt())
    assert report.state is DoseState.HALTED
    assert report.position == used.board.burette.steps == 1000 - 134  # 1 s and an answer's 3 ms, the step finished
    assert used.board.burette.delivered_mL(10**12) == used.board.burette.delivered_mL(0)


def test_a_refill_is_fed_by_the_dead_man_timer_too(used):
    used.say(Refill(2, -500, REFILL_US))
    (ended,) = used.listen(8)
    assert ended.state is DoseState.DEAD_MAN


def test_total_travel_into_the_vessel_is_limited_over_all_fillings():
    talk = Talk()
    talk.say(Hello(1))
    talk.say(SetLimits(*limits(40000, travel=300)))
    talk.say(Move(1, 200, STEP_US))
    talk.listen(1)
    assert talk.say(Move(2, 301, STEP_US)) == Refused(Move.KIND, Reason.TRAVEL, 100)
    turned(talk, RESERVOIR)
    talk.say(Refill(2, -500, REFILL_US))
    talk.listen(1.9)
    talk.say(Move(3, 50, STEP_US, RESERVOIR))  # towards the reservoir: not counted
    talk.listen(1)
    turned(talk, VESSEL)
    assert talk.say(Move(4, 151, STEP_US)) == Refused(Move.KIND, Reason.TRAVEL, 100)
    assert talk.say(Move(4, 150, STEP_US)).state is DoseState.MOVING
    talk.listen(0.19)
    made = talk.say(Halt()).position - 50
    assert 0 < made < 100
    assert talk.say(Move(5, 1000, STEP_US)) == Refused(Move.KIND, Reason.TRAVEL, 100 - made)
    talk.say(Hello(1), session=7)
    talk.say(SetLimits(*limits(40000, travel=300)), session=7)
    assert isinstance(talk.say(Move(1, 300, STEP_US), session=7), DoseReport)  # a session of its own


def test_a_board_without_a_valve_knows_only_the_vessel():
    talk = Talk(valve=False).begin()
    assert talk.say(SetValve(RESERVOIR)) == Refused(SetValve.KIND, Reason.ABSENT, Capability.VALVE)
    assert talk.say(Refill(1, 0, REFILL_US)) == Refused(Refill.KIND, Reason.ABSENT, Capability.VALVE)
    assert talk.say(Move(1, 10, STEP_US, RESERVOIR)) == Refused(Move.KIND, Reason.ABSENT, Capability.VALVE)
    assert talk.say(Move(1, 10, STEP_US)).state is DoseState.MOVING
    assert talk.say(AskStatus()).valve_state is ValveState.UNKNOWN


def test_without_a_home_switch_no_refill_goes_below_the_start():
    talk = Talk(home_switch=False).begin()
    talk.say(Move(1, 100, STEP_US))
    talk.listen(1)
    turned(talk, RESERVOIR)
    assert talk.say(Refill(2, -1, REFILL_US)) == Refused(Refill.KIND, Reason.BEYOND_LIMIT, 0)
    talk.say(Refill(2, 0, REFILL_US))
    (ended,) = talk.listen(1)
    assert (ended.position, ended.state) == (0, DoseState.ARRIVED)
    assert talk.say(AskStatus()).home_known == 0


def test_after_a_restart_away_from_home_the_end_of_the_stroke_counts_from_the_switch_once_it_is_found(used):
    used.board.restart(0xB008)
    used.begin(highest=40000)
    status = used.say(AskStatus())
    assert (status.position, status.home_known, status.valve) == (0, 0, RESERVOIR)
    used.say(Refill(1, -40000, REFILL_US))
    ended = []
    while not ended:
        ended = used.listen(1)
        used.say(AskStatus())
    assert (ended[0].position, ended[0].state) == (-1000, DoseState.HOME)
    turned(used, VESSEL)
    # The stroke ends 40 000 steps from home, whatever the session's limit said when home was not known.
    assert used.say(Move(2, 39001, STEP_US)) == Refused(Move.KIND, Reason.BEYOND_LIMIT, 39000)
    assert used.say(Move(2, 39000, STEP_US)).state is DoseState.MOVING


def test_readings_go_on_while_the_valve_turns_and_all_is_told_in_order_of_time(talk):
    talk.say(SetReadings(100, 5))
    talk.say(SetValve(RESERVOIR))
    heard = talk.listen(2)
    kinds = [type(event).__name__ for event in heard]
    at = kinds.index("ValveTurned")
    before, after = heard[at - 1], heard[at + 1]
    assert before.first_ms + before.offsets_ms[-1] <= heard[at].at_ms <= after.first_ms
