"""SPEC.md, spoken to a board in bytes: frames, sound and damaged, and readings.

The simulated board in memory, on a pty and on TCP, or any other with --board ADDRESS. It is the same for all tests and
is not asked to be new. No outside source: the wire is our own; what is checked is that a board does what the page says.
"""

import itertools
import json
from importlib.resources import files

import pytest
from board_host import OTHER, arrive

from firmware_protocol.frames import frame
from firmware_protocol.messages import (
    VERSION,
    AskStatus,
    Halt,
    Hello,
    MotionEnded,
    Move,
    Readings,
    ReadingsSet,
    Reason,
    Refused,
    SetLimits,
    SetReadings,
    SetStirrer,
)


def damaged(layer, to="board"):
    rows = json.loads(files("firmware_protocol").joinpath("vectors", "damaged.json").read_text(encoding="utf-8"))
    return [
        pytest.param(bytes.fromhex(row["frame"]), id=row["about"])
        for row in rows
        if row["layer"] == layer and row.get("to", to) == to
    ]


@pytest.mark.parametrize("data", damaged("frame"))
def test_a_damaged_frame_gets_no_answer_and_is_counted(host, data):
    host.open()
    before = host.status().damaged_frames
    host.line.write(data)
    # The next answer is that to the next request: a frame that is answered is answered in its turn.
    assert host.status().damaged_frames == min(before + 1, 0xFFFF)


def test_what_is_too_long_is_dropped_and_costs_nothing_behind_it(host):
    host.open()
    for length in (66, 300, 1000):
        before = host.status().damaged_frames
        host.line.write(b"\x55" * length + b"\0")
        assert host.status().damaged_frames == before + 1


def test_rubbish_and_empty_frames_between_requests_cost_nothing(host):
    start = host.begin()
    host.line.write(b"\0\0\xff\x01rubbish\0" * 3)
    arrive(host, 1, start + 3, host.look().least_step_us)


def test_a_request_may_come_byte_by_byte(host):
    host.open()
    number = host.next_number()
    for byte in frame(bytes((AskStatus.KIND,)) + number.to_bytes(2, "little") + host.session.to_bytes(4, "little")):
        host.line.write(bytes((byte,)))
    assert host.answer(number).session == host.session


def test_requests_that_come_at_once_are_answered_in_their_order(host):
    host.open()
    numbers = [host.send(AskStatus()), host.send(Hello(VERSION), session=0), host.send(AskStatus())]
    assert [type(host.answer(number)).__name__ for number in numbers] == ["Status", "Welcome", "Status"]


@pytest.mark.parametrize("data", [each for each in damaged("message") if "header" not in each.id])
def test_a_sound_frame_that_no_board_takes_is_refused_as_unknown(host, data):
    host.open()
    host.line.write(data)
    packet = host.next_answer()
    refused = packet.message
    assert (refused.reason, refused.detail) == (Reason.UNKNOWN_REQUEST, VERSION)


def test_a_sound_frame_shorter_than_a_header_gets_no_answer_and_is_counted(host):
    host.open()
    before = host.status().damaged_frames
    host.line.write(frame(b"\x02\x01\x00"))
    assert host.status().damaged_frames == before + 1


@pytest.mark.parametrize("kind", [0x00, 0x10, 0x3F, 0x41, 0x4F, 0x81, 0xFF])
def test_every_unknown_kind_has_an_answer_in_every_session(host, kind):
    host.open()
    for session in (None, 0, OTHER):
        number = host.send_content(kind, b"", session)
        assert host.answer(number) == Refused(kind, Reason.UNKNOWN_REQUEST, VERSION)


@pytest.mark.parametrize("kind", [Hello.KIND, AskStatus.KIND, Move.KIND, SetLimits.KIND, Halt.KIND, SetStirrer.KIND])
def test_a_request_of_another_length_is_unknown(host, kind):
    host.open()
    for rest in (bytes(30), bytes(55)):
        assert host.answer(host.send_content(kind, rest)) == Refused(kind, Reason.UNKNOWN_REQUEST, VERSION)


def stamps(blocks):
    return [block.first_ms + offset for block in blocks for offset in block.offsets_ms]


def test_readings_come_in_blocks_without_a_gap(host, place):
    host.open()
    period_ms = 10 * place.speed
    assert host.say(SetReadings(period_ms, 4)) == ReadingsSet(period_ms, 4, 0)
    blocks = [host.event(Readings) for _ in range(5)]
    assert [block.first_index for block in blocks] == [0, 4, 8, 12, 16]
    assert {len(block.potentials_uV) for block in blocks} == {4}
    times = stamps(blocks)
    assert all(abs(after - before - period_ms) <= 1 for before, after in itertools.pairwise(times))
    welcome = host.look()
    potentials = [value for block in blocks for value in block.potentials_uV]
    assert all(welcome.range_low_uV <= value <= welcome.range_high_uV for value in potentials)
    assert host.events_without_gap()


def test_a_stream_that_is_set_again_is_not_disturbed_and_zero_ends_it(host, place):
    host.open()
    period_ms = 10 * place.speed
    host.say(SetReadings(period_ms, 5))
    first = host.event(Readings)
    again = host.say(SetReadings(period_ms, 5))
    assert again.period_ms == period_ms
    assert host.event(Readings).first_index == first.first_index + 5
    host.say(SetReadings(0, 1))
    status = host.status()
    assert status.period_ms == 0
    host.events.clear()
    assert host.listen(0.08) == []
    host.say(SetReadings(period_ms, 1))
    assert host.event(Readings).first_index == status.next_index


def test_a_stream_that_fits_no_frame_is_refused(host):
    host.open()
    for per_block in (0, 8, 255):
        assert host.say(SetReadings(100, per_block)) == Refused(SetReadings.KIND, Reason.BAD_VALUE, per_block)
    assert host.say(SetReadings(20_000, 7)) == Refused(SetReadings.KIND, Reason.BAD_VALUE, 20_000)


def test_the_readings_before_the_end_of_a_motion_come_before_its_news(host, place):
    start = host.begin()
    host.say(SetReadings(10 * place.speed, 7))
    host.say(Move(1, start + 5, 9000 * place.speed))  # 45 ms: four readings
    events = []
    while not events or not isinstance(events[-1], MotionEnded):
        host.status()
        events += host.events
        host.events.clear()
    blocks, ended = events[:-1], events[-1]
    assert blocks[-1].first_ms + blocks[-1].offsets_ms[-1] <= ended.at_ms
    behind = host.event(Readings)
    assert behind.first_ms >= ended.at_ms
    assert behind.first_index == blocks[-1].first_index + len(blocks[-1].offsets_ms)
