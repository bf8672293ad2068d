"""The simulated board against SPEC.md, spoken to in bare frames."""

import pytest
from board_talk import REFILL_US, RESERVOIR, SECOND_US, SESSION, STEP_US, VESSEL, Talk, limits

from firmware_protocol.frames import frame
from firmware_protocol.messages import (
    AskStatus,
    DoseReport,
    DoseState,
    Halt,
    Hello,
    LimitsInForce,
    MotionEnded,
    Move,
    Packet,
    ReadingsSet,
    Reason,
    Refill,
    Refused,
    Role,
    SetLimits,
    SetReadings,
    SetValve,
    Status,
    ValvePosition,
    ValveState,
    encode,
)


@pytest.fixture
def talk():
    return Talk().begin()


def test_session_zero_only_looks():
    talk = Talk()
    welcome = talk.say(Hello(1), session=0)
    assert (welcome.session, welcome.stroke_steps, welcome.position) == (0, 40000, 0)
    assert talk.say(Move(1, 10, STEP_US), session=0) == Refused(Move.KIND, Reason.SESSION, 0)


def test_another_version_is_refused_with_the_boards_own():
    assert Talk().say(Hello(9)) == Refused(Hello.KIND, Reason.VERSION, 1)


def test_a_dose_ends_at_its_target_in_the_time_of_its_steps(talk):
    begun_us = talk.board.now_us
    assert talk.say(Move(1, 400, STEP_US)) == DoseReport(1, 400, 0, DoseState.MOVING, begun_us // 1000)
    (ended,) = talk.listen(3)
    assert ended == MotionEnded(1, 400, DoseState.ARRIVED, (begun_us + 400 * STEP_US) // 1000)
    assert talk.board.burette.steps == 400


def test_motion_needs_limits_in_this_session():
    talk = Talk()
    talk.say(Hello(1))
    assert talk.say(Move(1, 10, STEP_US)) == Refused(Move.KIND, Reason.LIMITS_MISSING, 0)
    talk.begin()
    talk.say(Hello(1), session=7)
    assert talk.say(Move(1, 10, STEP_US), session=7) == Refused(Move.KIND, Reason.LIMITS_MISSING, 0)


def test_another_sessions_commands_are_refused_and_move_nothing(talk):
    for command in (
        Move(1, 10, STEP_US),
        SetLimits(*limits(1)),
        SetValve(RESERVOIR),
        Refill(1, 0, REFILL_US),
        SetReadings(100, 5),
    ):
        assert talk.say(command, session=SESSION + 1) == Refused(command.KIND, Reason.SESSION, SESSION)
    assert talk.listen(1) == []
    assert talk.board.burette.steps == 0


def test_an_identifier_that_is_not_newer_gets_the_stored_answer(talk):
    talk.say(Move(5, 100, STEP_US))
    talk.listen(1)
    stored = talk.say(Move(5, 100, STEP_US))
    assert (stored.dose, stored.position, stored.state) == (5, 100, DoseState.ARRIVED)
    assert talk.say(Move(5, 300, STEP_US)) == stored
    assert talk.say(Move(4, 300, STEP_US)) == stored
    assert talk.listen(2) == []
    assert talk.board.burette.steps == 100


def test_a_repeat_under_way_tells_where_it_is(talk):
    talk.say(Move(1, 1000, STEP_US))
    talk.listen(0.5)
    under_way = talk.say(Move(1, 1000, STEP_US))
    assert under_way.state is DoseState.MOVING
    assert 100 < under_way.position < 150  # 0.5 s of 3.75 ms steps, and two answers' time


def test_targets_beyond_the_limit_back_too_fast_or_meanwhile_are_refused(talk):
    assert talk.say(Move(1, 32001, STEP_US)) == Refused(Move.KIND, Reason.BEYOND_LIMIT, 32000)
    assert talk.say(Move(1, 100, STEP_US - 1)) == Refused(Move.KIND, Reason.TOO_FAST, STEP_US)
    assert talk.say(Move(0, 100, STEP_US)) == Refused(Move.KIND, Reason.BAD_VALUE, 0)
    talk.say(Move(1, 100, STEP_US))
    assert talk.say(Move(2, 200, STEP_US)) == Refused(Move.KIND, Reason.MOVING, 100)
    talk.listen(1)
    assert talk.say(Move(2, 99, STEP_US)) == Refused(Move.KIND, Reason.REVERSAL, 100)
    assert talk.say(Move(2, 100, STEP_US)).state is DoseState.ARRIVED  # a refused number is free, no way is a way
    assert talk.board.burette.steps == 100


def test_limits_cannot_rise_within_a_session_but_may_be_repeated_or_tightened(talk):
    for looser, standing in (
        (limits(32001), 32000),
        (limits(step_us=STEP_US - 1), STEP_US),
        (limits(travel=100_001), 100_000),
        (limits(refill_us=REFILL_US - 1), REFILL_US),
    ):
        assert talk.say(SetLimits(*looser)) == Refused(SetLimits.KIND, Reason.LIMIT_CANNOT_RISE, standing)
    assert talk.say(SetLimits(*limits(dead_man_ms=2001))) == Refused(SetLimits.KIND, Reason.LIMIT_CANNOT_RISE, 2000)
    assert talk.say(SetLimits(*limits())) == LimitsInForce(*limits())
    assert talk.say(SetLimits(*limits(100, 2 * STEP_US, 500))) == LimitsInForce(*limits(100, 2 * STEP_US, 500))
    assert talk.say(Move(1, 101, STEP_US)).reason is Reason.BEYOND_LIMIT
    assert talk.say(SetLimits(*limits())).reason is Reason.LIMIT_CANNOT_RISE


def test_first_limits_cannot_exceed_the_firmwares_own():
    talk = Talk()
    talk.say(Hello(1))
    assert talk.say(SetLimits(*limits(40001))) == Refused(SetLimits.KIND, Reason.LIMIT_CANNOT_RISE, 40000)
    assert talk.say(SetLimits(*limits(dead_man_ms=0))) == Refused(SetLimits.KIND, Reason.BAD_VALUE, 0)


def test_dead_man_stops_with_a_known_position(talk):
    talk.say(Move(1, 30000, STEP_US))
    heard = talk.listen(10)
    # The timer runs 2000 ms from the Move: 533.3 steps of 3.75 ms, the last one finished.
    (ended,) = heard
    assert (ended.position, ended.state) == (534, DoseState.DEAD_MAN)
    assert talk.board.burette.steps == 534
    status = talk.say(AskStatus())
    assert (status.position, status.dose_state, status.dose_ended_ms) == (534, DoseState.DEAD_MAN, ended.at_ms)


def test_only_the_session_in_force_feeds_the_dead_man(talk):
    talk.say(Move(1, 30000, STEP_US))
    heard = []
    for _ in range(4):
        heard += talk.listen(1)
        talk.say(AskStatus())
    assert heard == []
    for _ in range(4):
        heard += talk.listen(1)
        talk.say(AskStatus(), session=SESSION + 1)
    assert [event.state for event in heard] == [DoseState.DEAD_MAN]


def test_rubbish_does_not_feed_the_dead_man(talk):
    talk.say(Move(1, 30000, STEP_US))
    heard = []
    for _ in range(8):
        talk.board.receive(b"\x05\x01\x02\x03\x04\0")
        heard += talk.listen(0.5)
    assert [event.state for event in heard] == [DoseState.DEAD_MAN]


def test_halt_is_obeyed_in_every_session(talk):
    talk.say(Move(1, 30000, STEP_US))
    talk.listen(1)
    report = talk.say(Halt(), session=0)
    assert report.state is DoseState.HALTED
    assert report.position == talk.board.burette.steps == 267 + 1  # 1 s and an answer's 3 ms, the step finished
    assert [event.state for event in talk.listen(3)] == [DoseState.HALTED]


def test_a_new_session_stops_the_motor_and_forgets_limits(talk):
    talk.say(Move(1, 30000, STEP_US))
    talk.listen(1)
    talk.say(Hello(1), session=77)
    assert [event.state for event in talk.listen(1)] == [DoseState.SESSION_ENDED]
    status = talk.say(AskStatus(), session=77)
    assert (status.session, status.dose_session, status.dose) == (77, SESSION, 1)
    assert status.position == talk.board.burette.steps


def test_the_same_session_again_changes_nothing(talk):
    talk.say(Move(1, 300, STEP_US))
    assert talk.say(Hello(1)).session == SESSION
    assert [event.state for event in talk.listen(2)] == [DoseState.ARRIVED]
    assert isinstance(talk.say(Move(2, 400, STEP_US)), DoseReport)


def test_an_unknown_request_is_refused_by_name(talk):
    talk.number += 1
    content = bytearray(encode(Role.HOST, Packet(talk.number, SESSION, Halt())))
    content[0] = 0x3F
    talk.board.receive(frame(bytes(content)))
    assert talk.answer(talk.number) == Refused(0x3F, Reason.UNKNOWN_REQUEST, 1)


def test_readings_bear_the_time_of_their_sample_and_a_running_index(talk):
    begun_us = talk.board.now_us
    assert talk.say(SetReadings(100, 5)) == ReadingsSet(100, 5, 0)
    blocks = talk.listen(2)
    assert [block.first_index for block in blocks] == [0, 5, 10, 15]
    stamps = [block.first_ms + offset for block in blocks for offset in block.offsets_ms]
    assert stamps == [(begun_us + 100_000 * n) // 1000 for n in range(1, 21)]
    for (t_s, _), stamp in zip(talk.cell.asked, stamps, strict=False):
        assert stamp == int(t_s * 1000 + 1e-6)
    potentials = [value for block in blocks for value in block.potentials_uV]
    for (t_s, _), potential in zip(talk.cell.asked, potentials, strict=False):
        assert potential % 100 == 0
        assert abs(potential - 1000 * (100.0 * t_s + 0.04)) <= 50.001


def test_setting_the_same_stream_again_disturbs_nothing_and_zero_ends_it(talk):
    talk.say(SetReadings(100, 5))
    blocks = talk.listen(0.7)
    assert talk.say(SetReadings(100, 5)).next_index == 5
    blocks += talk.listen(1)
    assert [block.first_index for block in blocks] == [0, 5, 10]
    talk.say(SetReadings(0, 0))
    rest = talk.listen(1)
    assert [block.first_index for block in rest] == [15]
    assert talk.listen(5) == []
    assert talk.say(SetReadings(200, 1)).next_index == 15 + len(rest[0].offsets_ms)
    assert talk.say(SetReadings(100, 8)) == Refused(SetReadings.KIND, Reason.BAD_VALUE, 8)


def test_all_is_told_in_order_of_time_also_when_a_motion_ends_within_a_block(talk):
    talk.say(SetReadings(100, 5))
    talk.say(Move(1, 70, STEP_US))
    heard = talk.listen(1)
    kinds = [type(event).__name__ for event in heard]
    assert kinds[:2] == ["Readings", "MotionEnded"]
    assert heard[0].first_ms + heard[0].offsets_ms[-1] <= heard[1].at_ms <= heard[2].first_ms
    assert heard[2].first_index == len(heard[0].offsets_ms) < 5


def test_the_cell_sees_a_straight_line_to_the_target(talk):
    talk.say(SetReadings(100, 5))
    begun_us = talk.board.now_us
    talk.say(Move(1, 1600, STEP_US))
    talk.say(AskStatus())
    for _ in range(7):
        talk.listen(1)
        talk.say(AskStatus())
    end_mL = talk.board.burette.delivered_mL(talk.board.now_us)
    assert abs(end_mL - 1.001) < 0.005
    for t_s, volume_mL in talk.cell.asked:
        part = min(max((t_s - begun_us / SECOND_US) / 6.0, 0.0), 1.0)
        assert volume_mL == pytest.approx(end_mL * part if t_s * SECOND_US < begun_us + 6e6 else end_mL, abs=1e-9)


@pytest.mark.parametrize(("potential_mV", "told_uV"), [(2500.0, 2_000_000), (-9e9, -2_000_000), (12.34, 12_300)])
def test_potentials_are_held_at_the_ends_of_the_range(talk, potential_mV, told_uV):
    talk.cell.sample = lambda _t_s, _volume_mL: potential_mV
    talk.say(SetReadings(100, 1))
    assert talk.listen(0.15)[0].potentials_uV == (told_uV,)


def test_a_restart_forgets_all_and_a_command_left_in_a_buffer_does_nothing(talk):
    talk.say(Move(1, 1000, STEP_US))
    talk.listen(1)
    left = frame(encode(Role.HOST, Packet(999, SESSION, Move(2, 5000, STEP_US))))
    talk.board.restart(0xB008)
    true_steps = talk.board.burette.steps
    talk.board.receive(left)
    assert talk.answer(999) == Refused(Move.KIND, Reason.SESSION, 0)
    assert talk.listen(3) == []
    assert talk.board.burette.steps == true_steps > 0
    status = talk.say(AskStatus())
    assert status == Status(
        status.board_ms,
        0,
        0,
        0,
        0,
        0,
        ValvePosition.BETWEEN,
        DoseState.NONE,
        0,
        0,
        0,
        VESSEL,
        ValveState.CONFIRMED,
        0,
        0,
        0,
    )
