"""SPEC.md, spoken to a board in bytes: handshake, doses, limits, halt and the dead-man timer.

The simulated board in memory, on a pty and on TCP, or any other with --board ADDRESS. It is the same for all tests and
is not asked to be new. No outside source: the wire is our own; what is checked is that a board does what the page says.
"""

import pytest
from board_host import DEAD_MAN_MS, OTHER, RESERVOIR, SLOW_US, VESSEL, arrive, slow

from firmware_protocol.messages import (
    VERSION,
    Capability,
    DoseState,
    Halt,
    Hello,
    LimitsInForce,
    MotionEnded,
    Move,
    Pump,
    Reason,
    Refill,
    Refused,
    RunPump,
    SetChanger,
    SetLimits,
    SetPartLimits,
    SetReadings,
    SetStirrer,
    SetValve,
)


def test_session_zero_looks_and_opens_nothing(host):
    before = host.look()
    again = host.look()
    assert (again.session, again.position) == (before.session, before.position)
    assert again.version == VERSION
    assert again.identity
    assert again.stroke_steps > 0
    assert again.least_step_us > 0
    assert again.range_low_uV < 0 < again.range_high_uV
    assert again.adc_step_uV > 0
    assert bool(again.changer_places) == bool(again.capabilities & Capability.CHANGER)
    assert again.position_kept in {0, 1}
    assert again.position_kept or again.position_within == 0


def test_a_session_is_opened_by_its_number_and_opened_again_goes_on(host):
    start = host.begin()
    step_us = host.look().least_step_us
    arrive(host, 1, start + 5, step_us)
    assert host.open().session == host.session
    assert host.say(Move(1, start + 9, step_us)).target == start + 5  # the dose is still known
    arrive(host, 2, start + 7, step_us)  # and so are the limits


def test_a_new_session_begins_without_limits_and_with_dose_numbers_of_its_own(host, place):
    start = host.begin()
    step_us = host.look().least_step_us
    arrive(host, 7, start + 5, step_us)
    host.open(next(place.sessions))
    assert host.say(Move(1, start + 6, step_us)) == Refused(Move.KIND, Reason.LIMITS_MISSING, 0)
    host.begin()
    status = host.status()
    assert (status.dose, status.dose_session != host.session) == (7, True)
    arrive(host, 1, start + 6, step_us)


def test_another_version_is_refused_with_the_boards_own(host):
    host.open()
    for version in (0, VERSION + 1, 255):
        assert host.say(Hello(version), session=OTHER) == Refused(Hello.KIND, Reason.VERSION, VERSION)
    assert host.look().session == host.session


def test_commands_of_another_session_are_refused_and_do_nothing(host):
    start = host.begin()
    in_force = host.session - (1 << 32) if host.session >= 1 << 31 else host.session
    for command in (
        Move(1, start + 10, 0xFFFF),
        Refill(1, start, 0xFFFF),
        SetLimits(start, 0, 0xFFFF, 0xFFFF, 1),
        SetReadings(1, 1),
        SetValve(RESERVOIR),
        SetStirrer(0),
        RunPump(Pump.RINSE, 1, 1),
        SetChanger(0),
        SetPartLimits(0, 0, 0),
    ):
        for session in (OTHER, 0):
            assert host.say(command, session=session) == Refused(command.KIND, Reason.SESSION, in_force)
    status = host.status()
    assert (status.position, status.session, status.period_ms) == (start, host.session, 0)


# --- doses
def test_a_dose_arrives_and_is_told_once(host):
    start = host.begin()
    arrive(host, 1, start + 12, host.look().least_step_us)
    status = host.status()
    assert (status.dose_session, status.dose, status.dose_target) == (host.session, 1, start + 12)
    assert (status.position, status.dose_state, status.dose_valve) == (start + 12, DoseState.ARRIVED, VESSEL)
    assert not [event for event in host.listen(0.05) if isinstance(event, MotionEnded)]


def test_no_way_is_a_way(host):
    start = host.begin()
    arrive(host, 1, start, host.look().least_step_us)
    assert host.status().dose == 1


def test_a_dose_that_is_not_newer_gets_the_stored_answer(host):
    start = host.begin()
    step_us = host.look().least_step_us
    arrive(host, 5, start + 8, step_us)
    stored = host.say(Move(5, start + 8, step_us))
    assert (stored.dose, stored.target, stored.position) == (5, start + 8, start + 8)
    assert stored.state is DoseState.ARRIVED
    for repeat in (Move(5, start + 20, step_us), Move(4, start + 20, step_us), Refill(5, start, step_us)):
        assert host.say(repeat) == stored
    assert host.status().position == start + 8


def test_a_repeat_under_way_tells_where_it_is_and_starts_nothing(host, place):
    start = host.begin()
    assert host.say(Move(1, start + 20, slow(place))).state is DoseState.MOVING
    again = host.say(Move(1, start + 40, slow(place)))
    assert (again.dose, again.target, again.state) == (1, start + 20, DoseState.MOVING)
    assert start <= again.position <= start + 20
    assert host.say(Move(2, start + 30, slow(place))) == Refused(Move.KIND, Reason.MOVING, start + 20)
    host.say(Halt())


def test_a_refused_dose_is_not_stored_and_its_number_may_be_used_again(host):
    start = host.begin(steps=30)
    step_us = host.look().least_step_us
    assert host.say(Move(1, start + 31, step_us)).reason is Reason.BEYOND_LIMIT
    assert host.status().dose_session != host.session
    arrive(host, 1, start + 3, step_us)


def test_what_cannot_be_is_refused_with_the_value_that_would_do(host):
    start = host.begin(steps=30)
    step_us = host.look().least_step_us
    assert host.say(Move(1, start + 31, step_us)) == Refused(Move.KIND, Reason.BEYOND_LIMIT, start + 30)
    assert host.say(Move(1, start + 5, step_us - 1)) == Refused(Move.KIND, Reason.TOO_FAST, step_us)
    assert host.say(Move(0, start + 5, step_us)) == Refused(Move.KIND, Reason.BAD_VALUE, 0)
    arrive(host, 1, start + 5, step_us)
    assert host.say(Move(2, start + 4, step_us)) == Refused(Move.KIND, Reason.REVERSAL, start + 5)
    assert host.status().position == start + 5


def test_of_several_reasons_the_first_is_told(host):
    start = host.begin(steps=30)
    for move, reason in (
        (Move(0, start + 31, 0), Reason.BAD_VALUE),
        (Move(1, start + 31, 0), Reason.BEYOND_LIMIT),
        (Move(1, start - 1, 0), Reason.REVERSAL),
    ):
        assert host.say(move).reason is reason


# --- limits
def test_limits_can_be_repeated_and_made_stricter_but_never_rise(host):
    welcome = host.open()
    limits = host.limits(welcome, steps=40, step_us=3 * welcome.least_step_us)
    standing = LimitsInForce(*[getattr(limits, name) for name in limits.__slots__])
    assert host.say(limits) == standing
    assert host.say(limits) == standing
    names = ("highest_position", "most_travel", "least_step_us", "least_refill_step_us", "dead_man_ms")
    values = [getattr(limits, name) for name in names]
    for place, looser in enumerate((1, 1, -1, -1, 1)):
        asked = [value + looser * (at == place) for at, value in enumerate(values)]
        refused = Refused(SetLimits.KIND, Reason.LIMIT_CANNOT_RISE, values[place])
        assert host.say(SetLimits(*asked)) == refused, names[place]
    stricter = [value + step for value, step in zip(values, (-10, -10, 1, 1, -1), strict=True)]
    assert host.say(SetLimits(*stricter)) == LimitsInForce(*stricter)
    assert host.say(limits).reason is Reason.LIMIT_CANNOT_RISE


def test_the_first_limits_are_within_what_the_firmware_allows(host):
    welcome = host.open()
    step_us = welcome.least_step_us
    refused = host.say(host.limits(welcome, step_us=step_us - 1))
    assert refused == Refused(SetLimits.KIND, Reason.LIMIT_CANNOT_RISE, step_us)
    assert host.say(host.limits(welcome, steps=2 * welcome.stroke_steps)).reason is Reason.LIMIT_CANNOT_RISE
    assert host.say(host.limits(welcome, dead_man_ms=0)) == Refused(SetLimits.KIND, Reason.BAD_VALUE, 0)
    assert host.say(Move(1, welcome.position, step_us)) == Refused(Move.KIND, Reason.LIMITS_MISSING, 0)


def test_the_travel_of_a_session_counts_what_was_made(host, place):
    start = host.begin(steps=100, travel=25)
    step_us = host.look().least_step_us
    assert host.say(Move(1, start + 26, step_us)) == Refused(Move.KIND, Reason.TRAVEL, 25)
    arrive(host, 1, start + 10, step_us)
    host.say(Move(2, start + 25, slow(place)))
    halted = host.say(Halt()).position
    host.event(MotionEnded)
    left = start + 25 - halted
    assert host.say(Move(3, halted + left + 1, step_us)) == Refused(Move.KIND, Reason.TRAVEL, left)
    arrive(host, 3, halted + left, step_us)
    assert host.say(Move(4, start + 26, step_us)) == Refused(Move.KIND, Reason.TRAVEL, 0)


# --- halt
@pytest.mark.parametrize("session", [None, 0, OTHER])
def test_halt_is_obeyed_in_every_session_and_the_position_is_exact(host, place, session):
    start = host.begin()
    host.say(Move(1, start + 30, slow(place)))
    report = host.say(Halt(), session=session)
    assert (report.dose, report.state) == (1, DoseState.HALTED)
    ended = host.event(MotionEnded)
    assert (ended.dose, ended.state, ended.position) == (1, DoseState.HALTED, report.position)
    assert start <= report.position < start + 30
    assert host.status().position == report.position
    assert host.say(Halt()) == report  # at rest it changes nothing
    arrive(host, 2, report.position + 2, host.look().least_step_us)


def test_the_motor_stops_when_its_host_is_silent(host, place):
    start = host.begin(dead_man_ms=DEAD_MAN_MS)
    moving = host.say(Move(1, start + 40, slow(place)))
    ended = host.event(MotionEnded)
    assert ended.state is DoseState.DEAD_MAN
    ran_ms, step_ms = (ended.at_ms - moving.at_ms) / place.speed, SLOW_US / 1000
    assert 0.9 * DEAD_MAN_MS <= ran_ms <= 1.1 * DEAD_MAN_MS + step_ms
    made = ended.position - start
    assert abs(made - ran_ms / step_ms) <= 1.5
    status = host.status()
    assert (status.position, status.dose_state) == (ended.position, DoseState.DEAD_MAN)
    assert status.dose_ended_ms == ended.at_ms


def test_only_the_session_in_force_keeps_the_motor_running(host, place):
    start = host.begin(dead_man_ms=DEAD_MAN_MS)
    host.say(Move(1, start + 30, slow(place)))  # 1.5 times the dead-man time
    status = host.at_rest()
    assert (status.dose_state, status.position) == (DoseState.ARRIVED, start + 30)
    host.say(Move(2, start + 60, slow(place)))
    status = host.at_rest(session=OTHER)
    assert status.dose_state is DoseState.DEAD_MAN
    assert start + 30 < status.position < start + 60


def test_a_new_session_ends_the_motion_of_the_old_one(host, place):
    start = host.begin()
    old = host.session
    host.say(Move(1, start + 30, slow(place)))
    host.open(next(place.sessions))
    ended = host.event(MotionEnded)
    assert ended.state is DoseState.SESSION_ENDED
    status = host.status()
    assert (status.dose_session, status.dose, status.position) == (old, 1, ended.position)
