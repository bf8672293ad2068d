"""What a restart leaves of position, dose and travel: all but a step after a reset, nothing after a loss of power.

Checked against SPEC.md, section by section, and against the burette's own count (our own format: no outside source).
"""

import pytest
from board_talk import SESSION, VESSEL, Talk, limits

from firmware_protocol.messages import (
    AskStatus,
    DoseReport,
    DoseState,
    Hello,
    LimitsInForce,
    Move,
    Reason,
    Refused,
    SetLimits,
    SetReadings,
    Status,
    Welcome,
)
from sim.retained import Retained, unpacked


@pytest.fixture
def talk():
    talk = Talk()
    assert isinstance(talk.say(Hello(1)), Welcome)
    assert isinstance(talk.say(SetLimits(*limits(dead_man_ms=20_000))), LimitsInForce)
    return talk


def position(talk):
    return talk.say(Hello(1), session=0).position


def test_a_reset_at_rest_keeps_everything_exactly(talk):
    talk.say(Move(1, 800, 3750, VESSEL))
    talk.listen(10.0)
    talk.board.reset(0xB008)
    welcome = talk.say(Hello(1), session=0)
    assert (welcome.session, welcome.position, welcome.position_kept, welcome.position_within) == (0, 800, 1, 0)
    status = talk.say(AskStatus())
    assert isinstance(status, Status)
    assert (status.dose_session, status.dose, status.dose_target) == (SESSION, 1, 800)
    assert (status.dose_state, status.home_known) == (DoseState.ARRIVED, 1)


@pytest.mark.parametrize("miscounted", [-1, 0, 1])
def test_a_reset_in_motion_loses_no_more_than_the_step_in_hand(talk, miscounted):
    talk.say(Move(1, 800, 3750, VESSEL))
    talk.listen(1.001)
    talk.board.reset(0xB008, miscounted=miscounted)
    welcome = talk.say(Hello(1), session=0)
    assert (welcome.position_kept, welcome.position_within) == (1, 1)
    assert welcome.position == talk.board.burette.steps + miscounted
    status = talk.say(AskStatus())
    assert (status.dose_state, status.position) == (DoseState.RESET, welcome.position)
    heard = len(talk.heard)
    talk.listen(5.0)
    assert len(talk.heard) == heard
    assert position(talk) == welcome.position


def test_bounds_of_several_resets_add_up(talk):
    for number in (1, 2, 3):
        talk.say(Move(number, 800 * number, 3750, VESSEL))
        talk.listen(1.001)
        talk.board.reset(0xB008 + number)
        talk.say(Hello(1))
        talk.say(SetLimits(*limits()))
    assert talk.say(Hello(1)).position_within == 3


@pytest.mark.parametrize("fate", ["power", "damaged memory"])
def test_after_a_loss_of_power_nothing_is_kept(talk, fate):
    talk.say(Move(1, 800, 3750, VESSEL))
    talk.listen(1.0)
    if fate == "power":
        talk.board.lose_power(0xB008, snap_steps=5)
    else:
        talk.board.reset(0xB008, damaged=True)
    welcome = talk.say(Hello(1), session=0)
    assert (welcome.position, welcome.position_kept, welcome.position_within) == (0, 0, 0)
    status = talk.say(AskStatus())
    assert (status.dose_session, status.dose, status.dose_state) == (0, 0, DoseState.NONE)


def test_without_current_the_motor_snaps(talk):
    talk.say(Move(1, 800, 3750, VESSEL))
    talk.listen(10.0)
    talk.board.lose_power(0xB008, snap_steps=5)
    assert talk.board.burette.pushed_steps == 805
    talk.board.lose_power(0xB009, snap_steps=-3)
    assert (talk.board.burette.pushed_steps, talk.board.burette.carriage_steps) == (805, 802)


def test_old_commands_do_nothing_after_a_reset(talk):
    talk.say(Move(1, 800, 3750, VESSEL))
    talk.listen(1.0)
    talk.board.reset(0xB008)
    before = talk.board.burette.steps
    for command in (Move(2, 1200, 3750, VESSEL), SetLimits(*limits()), SetReadings(100, 5)):
        refused = talk.say(command)
        assert isinstance(refused, Refused)
        assert (refused.reason, refused.detail) == (Reason.SESSION, 0)
    talk.listen(5.0)
    assert talk.board.burette.steps == before


def test_the_same_session_may_be_opened_again_and_goes_on_counting(talk):
    talk.say(Move(1, 800, 3750, VESSEL))
    talk.listen(10.0)
    talk.board.reset(0xB008)
    talk.say(Hello(1))
    assert talk.say(Move(2, 900, 3750, VESSEL)).reason is Reason.LIMITS_MISSING
    talk.say(SetLimits(*limits(travel=1000)))
    report = talk.say(Move(1, 850, 3750, VESSEL))
    assert isinstance(report, DoseReport)  # not newer: the stored answer
    assert (report.dose, report.target, report.position) == (1, 800, 800)
    refused = talk.say(Move(2, 1001, 3750, VESSEL))
    assert (refused.reason, refused.detail) == (Reason.TRAVEL, 200)


def test_another_session_counts_travel_from_nothing(talk):
    talk.say(Move(1, 800, 3750, VESSEL))
    talk.listen(10.0)
    talk.board.reset(0xB008)
    talk.say(Hello(1), session=7)
    talk.say(SetLimits(*limits(travel=1000)), session=7)
    assert isinstance(talk.say(Move(1, 1800, 3750, VESSEL), session=7), DoseReport)


def test_kept_memory_is_read_back_and_no_single_flipped_bit_of_it_is_believed(talk):
    talk.say(Move(1, 800, 3750, VESSEL))
    talk.listen(0.5)
    memory = talk.board.motor.memory_at(talk.board.now_us, 0)
    kept = unpacked(memory)
    assert isinstance(kept, Retained)
    assert kept.packed() == memory
    for bit in range(8 * len(memory)):
        flipped = bytearray(memory)
        flipped[bit // 8] ^= 1 << bit % 8
        assert unpacked(bytes(flipped)) is None
    assert unpacked(b"") is None
