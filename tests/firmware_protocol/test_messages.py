"""The codec, both ways, and whom it blames."""

from dataclasses import fields
from enum import IntEnum

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol import codec, messages
from firmware_protocol.errors import OwnProtocolError, PeerProtocolError
from firmware_protocol.frames import MOST_CONTENT
from firmware_protocol.messages import (
    ANSWER_TO,
    MOST_READINGS,
    DoseState,
    Halt,
    Hello,
    Move,
    Packet,
    Readings,
    Role,
    Status,
    ValvePosition,
    ValveState,
    decode,
    encode,
)

VESSEL = ValvePosition.VESSEL
LIMITS = {
    "B": (0, 2**8 - 1),
    "H": (0, 2**16 - 1),
    "I": (0, 2**32 - 1),
    "i": (-(2**31), 2**31 - 1),
}
FIXED = [layout.cls for layout in codec._LAYOUTS.values()]
U16, U32, I32 = (st.integers(*LIMITS[code]) for code in "HIi")


def messages_of(cls):
    values = []
    enums = getattr(cls, "ENUMS", {})
    for place, code in enumerate(cls.LAYOUT):
        values.append(st.sampled_from(enums[place]) if place in enums else st.integers(*LIMITS[code]))
    return st.builds(cls, *values)


@st.composite
def blocks(draw):
    count = draw(st.integers(1, MOST_READINGS))
    offsets = draw(st.lists(U16, min_size=count, max_size=count))
    potentials = draw(st.lists(I32, min_size=count, max_size=count))
    return Readings(draw(U32), draw(U32), tuple(offsets), tuple(potentials))


def sender(message):
    return Role.HOST if type(message) in ANSWER_TO else Role.BOARD


@given(U16, U32, st.one_of([messages_of(cls) for cls in FIXED] + [blocks()]))
def test_every_message_comes_back_as_it_went(number, stamp, message):
    role = sender(message)
    content = encode(role, Packet(number, stamp, message))
    assert len(content) <= MOST_CONTENT
    back = decode(Role(1 - role), content)
    assert back == Packet(number, stamp, message)
    assert type(back.message) is type(message)


@given(st.sampled_from(Role), st.binary(max_size=MOST_CONTENT))
def test_rubbish_is_a_message_or_the_peers_error_and_nothing_else(role, content):
    try:
        packet = decode(role, content)
    except PeerProtocolError:
        return
    assert encode(Role(1 - role), packet) == content


@pytest.mark.parametrize("cls", FIXED)
def test_a_role_sends_only_its_own(cls):
    message = cls(*[0 if i not in getattr(cls, "ENUMS", {}) else 1 for i in range(len(fields(cls)))])
    wrong = Role(1 - sender(message))
    with pytest.raises(OwnProtocolError, match=f"{cls.__name__} is not a message that the {wrong.name.lower()} sends"):
        encode(wrong, Packet(1, 1, message))


@pytest.mark.parametrize(
    "packet",
    [
        Packet(1 << 16, 1, Halt()),
        Packet(1, 1 << 32, Halt()),
        Packet(1, 1, Move(1, 1 << 31, 1)),
        Packet(1, 1, Move(-1, 0, 1)),
        Packet(1, 1, Hello(256)),
    ],
)
def test_a_value_that_does_not_fit_is_our_own_error(packet):
    with pytest.raises(OwnProtocolError, match="does not fit its field"):
        encode(Role.HOST, packet)


def test_a_block_holds_one_to_seven_readings_each_with_its_offset():
    for offsets, potentials in (((), ()), ((0,) * 8, (0,) * 8), ((0,), (0, 1))):
        with pytest.raises(OwnProtocolError, match="1 to 7 readings"):
            encode(Role.BOARD, Packet(1, 1, Readings(0, 0, offsets, potentials)))


def test_messages_of_different_kinds_are_never_equal():
    assert Halt() != messages.AskStatus()


def test_kinds_are_unique_and_in_their_ranges():
    kinds = [cls.KIND for cls in (*FIXED, Readings)]
    assert len(set(kinds)) == len(kinds)
    for cls in (*FIXED, Readings):
        if cls in ANSWER_TO:
            assert 0x01 <= cls.KIND <= 0x3F
        elif cls in messages.EVENTS:
            assert 0x81 <= cls.KIND <= 0xFF
        else:
            assert 0x41 <= cls.KIND <= 0x7F


def test_a_packet_reads_as_a_sentence():
    assert str(Packet(12, 0xBEEF, Move(3, 1600, 3750))) == (
        "Move #12 of session 0000beef: dose 3, target 1600, step_us 3750, valve vessel"
    )
    status = Status(
        70, 0xBEEF, 5, 0xBEEF, 1, 9, VESSEL, DoseState.DEAD_MAN, 60, 0, 100, VESSEL, ValveState.CONFIRMED, 0, 0, 0
    )
    assert str(Packet(2, 0xC0FFEE01, status)).startswith("Status #2 of boot c0ffee01: board_ms 70, session")
    assert "dose_state dead-man" in str(Packet(2, 1, status))
    assert str(Packet(5, 1, Halt())) == "Halt #5 of session 00000001"


def test_the_specification_lists_every_message_field_and_value():
    from importlib.resources import files

    text = files("firmware_protocol").joinpath("SPEC.md").read_text(encoding="utf-8")
    names = {"B": "u8", "H": "u16", "I": "u32", "i": "i32"}
    for cls in FIXED:
        row = next(line for line in text.splitlines() if line.startswith(f"| {cls.KIND:02X} | {cls.__name__} |"))
        for field, code in zip(fields(cls), cls.LAYOUT, strict=True):
            assert f"{field.name} {names[code]}" in row
    for enum in (DoseState, messages.Reason, ValvePosition, ValveState, messages.Pump, messages.PumpState):
        assert issubclass(enum, IntEnum)
        for member in enum:
            word = member.name.lower().replace("_", "-")
            assert f"{member.value} {word}" in text, member
    for part in messages.Capability:
        assert f"| {part.name.lower().replace('_', '-')} | {part.value} |" in text, part
