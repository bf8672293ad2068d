"""SPEC.md, spoken to a board in bytes: valve, home, optional parts, and what a restart leaves.

The simulated board in memory, on a pty and on TCP, or any other with --board ADDRESS. It is the same for all tests and
is not asked to be new. No outside source: the wire is our own; what is checked is that a board does what the page says.
"""

import pytest
from board_host import RESERVOIR, VESSEL, arrive, has, slow, turn

from firmware_protocol.messages import (
    VERSION,
    AskTemperatures,
    Capability,
    ChangerReport,
    DoseState,
    Halt,
    Hello,
    MotionEnded,
    Move,
    Pump,
    Reason,
    Refill,
    Refused,
    RunPump,
    SetChanger,
    SetPartLimits,
    SetStirrer,
    SetValve,
    StirrerReport,
    Temperatures,
    ValvePosition,
    ValveState,
    Welcome,
)


def test_a_valve_is_never_taken_to_be_where_it_was_sent(host, place):
    start = host.begin()
    step_us = host.look().least_step_us
    if not has(host, Capability.VALVE):
        assert host.say(SetValve(VESSEL)) == Refused(SetValve.KIND, Reason.ABSENT, Capability.VALVE)
        assert host.say(Move(1, start + 1, step_us, RESERVOIR)) == Refused(Move.KIND, Reason.ABSENT, Capability.VALVE)
        assert host.say(Refill(1, start, 2 * step_us)) == Refused(Refill.KIND, Reason.ABSENT, Capability.VALVE)
        return
    turn(host, VESSEL)
    assert host.say(SetValve(ValvePosition.BETWEEN)) == Refused(SetValve.KIND, Reason.BAD_VALUE, 0)
    assert host.say(Move(1, start + 1, step_us, RESERVOIR)) == Refused(Move.KIND, Reason.VALVE, VESSEL)
    assert host.say(Refill(1, start, 2 * step_us)) == Refused(Refill.KIND, Reason.VALVE, VESSEL)
    assert host.say(SetValve(VESSEL)).state is ValveState.CONFIRMED  # nothing to do
    host.say(Move(1, start + 30, slow(place)))
    assert host.say(SetValve(RESERVOIR)) == Refused(SetValve.KIND, Reason.MOVING, start + 30)
    position = host.say(Halt()).position
    turn(host, RESERVOIR)
    assert host.say(Move(2, position + 1, step_us)) == Refused(Move.KIND, Reason.VALVE, RESERVOIR)
    status = host.status()
    assert (status.valve, status.valve_state, status.position) == (RESERVOIR, ValveState.CONFIRMED, position)
    turn(host, VESSEL)
    arrive(host, 2, position + 1, step_us)


def test_a_refill_ends_at_home_or_at_its_target_and_is_no_travel(host):
    start = host.begin(steps=20, travel=20)
    welcome = host.look()
    refill_us = 2 * welcome.least_step_us
    if not has(host, Capability.VALVE):
        pytest.skip("a board without a valve does not refill: refused as absent, which another test checks")
    arrive(host, 1, start + 15, welcome.least_step_us)
    turn(host, RESERVOIR)
    lowest = start + 15 - welcome.stroke_steps - welcome.stroke_steps // 64
    if has(host, Capability.HOME_SWITCH):
        assert host.say(Refill(2, lowest - 1, refill_us)) == Refused(Refill.KIND, Reason.BEYOND_LIMIT, lowest)
    assert host.say(Refill(2, start + 16, refill_us)) == Refused(Refill.KIND, Reason.REVERSAL, start + 15)
    assert host.say(Refill(2, start + 5, refill_us - 1)) == Refused(Refill.KIND, Reason.TOO_FAST, refill_us)
    assert host.say(Refill(2, start + 5, refill_us)).state is DoseState.MOVING
    status = host.at_rest()
    assert status.dose_state in {DoseState.ARRIVED, DoseState.HOME}
    assert host.say(Move(3, start + 6, refill_us, RESERVOIR)).target == start + 6  # backlash, which is no travel
    at = host.at_rest().position
    turn(host, VESSEL)
    refused = host.say(Move(4, at + 6, welcome.least_step_us))
    assert refused == Refused(Move.KIND, Reason.TRAVEL, 5)


def test_home_is_where_the_switch_closes(host):
    if not has(host, Capability.VALVE) or not has(host, Capability.HOME_SWITCH):
        pytest.skip("the board has no home switch, or no valve to refill through")
    start = host.begin(steps=5)
    welcome = host.look()
    turn(host, RESERVOIR)
    lowest = start - welcome.stroke_steps - welcome.stroke_steps // 64
    host.say(Refill(1, lowest, 2 * welcome.least_step_us))
    status = host.at_rest()
    assert status.dose_state is DoseState.HOME
    assert (status.home_known, status.home_position) == (1, status.position)
    ended = [event for event in host.events if isinstance(event, MotionEnded)]
    assert [(event.position, event.state) for event in ended] == [(status.position, DoseState.HOME)]
    assert host.say(Refill(2, status.position, 2 * welcome.least_step_us)).state is DoseState.HOME
    assert host.look().position_within == 0
    turn(host, VESSEL)


@pytest.mark.parametrize(
    ("request_", "capability", "answer"),
    [
        (SetStirrer(0), Capability.STIRRER, StirrerReport),
        (RunPump(Pump.RINSE, 1, 0), Capability.RINSE, Refused),  # no limits yet
        (RunPump(Pump.DRAIN, 1, 0), Capability.DRAIN, Refused),
        (SetChanger(0), Capability.CHANGER, ChangerReport),
        (AskTemperatures(), Capability.TEMPERATURE, Temperatures),
    ],
    ids=str,
)
def test_a_part_that_is_not_there_is_refused_as_absent(host, request_, capability, answer):
    host.open()
    told = host.say(request_)
    if has(host, capability):
        assert isinstance(told, answer)
    else:
        assert told == Refused(request_.KIND, Reason.ABSENT, capability)


def test_limits_of_parts_need_one_of_them(host):
    host.open()
    told = host.say(SetPartLimits(1000, 28000, 32000))
    if has(host, Capability.RINSE | Capability.TEMPERATURE):
        assert not isinstance(told, Refused)
    else:
        assert told == Refused(SetPartLimits.KIND, Reason.ABSENT, Capability.RINSE)


def restarted(host, place, action):
    if place.act is None:
        pytest.skip("a board at an address cannot be reset by this suite: do it by hand and compare Welcome")
    place.act(action)
    host.boot = None
    host.events.clear()
    return host.look()


def test_a_reset_keeps_count_and_dose_and_ends_the_session(host, place):
    start = host.begin()
    before, boot = host.look(), host.boot
    arrive(host, 3, start + 6, before.least_step_us)
    welcome = restarted(host, place, lambda board: board.reset(0xB008))
    assert host.boot != boot
    assert (welcome.session, welcome.position, welcome.position_kept) == (0, start + 6, 1)
    assert welcome.counting_since == before.counting_since
    assert welcome.position_within == before.position_within
    assert host.say(Move(4, start + 9, before.least_step_us)) == Refused(Move.KIND, Reason.SESSION, 0)
    status = host.status()
    assert (status.dose_session, status.dose, status.dose_state) == (host.session, 3, DoseState.ARRIVED)
    host.begin()  # the same session again: its doses stand
    assert host.say(Move(3, start + 9, before.least_step_us)).position == start + 6
    arrive(host, 4, start + 8, before.least_step_us)


def test_a_reset_in_motion_leaves_a_position_within_its_bound(host, place):
    start = host.begin()
    host.say(Move(1, start + 30, slow(place)))
    welcome = restarted(host, place, lambda board: board.reset(0xB009))
    assert (welcome.position_kept, welcome.session) == (1, 0)
    assert welcome.position_within >= 1
    status = host.status()
    assert (status.dose, status.dose_state, status.position) == (1, DoseState.RESET, welcome.position)
    assert start <= welcome.position <= start + 30


@pytest.mark.parametrize("how", ["power", "memory"])
def test_after_a_loss_of_power_or_memory_nothing_is_kept(host, place, how):
    start = host.begin()
    arrive(host, 1, start + 4, host.look().least_step_us)

    def lose(board):
        if how == "power":
            board.lose_power(0xB00A)
        else:
            board.reset(0xB00B, damaged=True)

    welcome = restarted(host, place, lose)
    assert (welcome.position, welcome.position_kept, welcome.position_within) == (0, 0, 0)
    assert (welcome.session, welcome.counting_since) == (0, host.boot)
    status = host.status()
    assert (status.dose_session, status.dose, status.dose_state) == (0, 0, DoseState.NONE)
    assert isinstance(host.say(Hello(VERSION)), Welcome)
