"""The vectors, which were made with `int.to_bytes`, `cobs` and `fastcrc` and not with the codec under test."""

import json
import re
from dataclasses import fields
from importlib.resources import files

import cobs.cobs
import fastcrc
import pytest

from firmware_protocol import codec, messages
from firmware_protocol.errors import PeerProtocolError
from firmware_protocol.frames import FrameReader, frame, unframe
from firmware_protocol.messages import Packet, Readings, Role, decode, encode

TYPES = {"u8": (1, False), "u16": (2, False), "u32": (4, False), "i32": (4, True)}


def rows(name):
    return json.loads(files("firmware_protocol").joinpath("vectors", name).read_text(encoding="utf-8"))


def message_of(row):
    """The message as its vector spells it, field by field."""
    cls = getattr(messages, row["message"])
    values = [value for _, _, value in row["content"][3:]]
    if cls is Readings:
        count = values[2]
        return Readings(values[0], values[1], tuple(values[3 : 3 + count]), tuple(values[3 + count :]))
    enums = getattr(cls, "ENUMS", {})
    assert [name for name, _, _ in row["content"][3:]] == [field.name for field in fields(cls)]
    return cls(*[enums[place](value) if place in enums else value for place, value in enumerate(values)])


@pytest.mark.parametrize("row", rows("messages.json"), ids=lambda row: f"{row['message']} {row['about']}")
def test_a_vector_is_sent_and_received_as_written(row):
    data = bytes.fromhex(row["frame"])
    content = b"".join(
        value.to_bytes(TYPES[kind][0], "little", signed=TYPES[kind][1]) for _, kind, value in row["content"]
    )
    assert cobs.cobs.decode(data[:-1]) == content + fastcrc.crc16.genibus(content).to_bytes(2, "big")
    packet = Packet(row["content"][1][2], row["content"][2][2], message_of(row))
    role = Role[row["from"].upper()]
    assert frame(encode(role, packet)) == data
    assert decode(Role(1 - role), unframe(data[:-1])) == packet


def test_there_is_a_vector_for_every_message():
    known = {layout.cls.__name__ for layout in codec._LAYOUTS.values()} | {"Readings"}
    assert {row["message"] for row in rows("messages.json")} == known


@pytest.mark.parametrize("row", rows("damaged.json"), ids=lambda row: row["about"])
@pytest.mark.parametrize("piece", [1, 1000])
def test_a_damaged_vector_is_refused_in_its_layer(row, piece):
    data = bytes.fromhex(row["frame"])
    reader = FrameReader()
    found = [item for at in range(0, len(data), piece) for item in reader.feed(data[at : at + piece])]
    assert len(found) == 1
    if row["layer"] == "frame":
        assert isinstance(found[0], PeerProtocolError)
        return
    assert isinstance(found[0], bytes)
    with pytest.raises(PeerProtocolError):
        decode(Role[row["to"].upper()], found[0])


@pytest.mark.parametrize("row", rows("messages.json"), ids=lambda row: f"{row['message']} {row['about']}")
def test_no_single_flipped_bit_goes_unnoticed(row):
    data = bytes.fromhex(row["frame"])
    for bit in range(8 * len(data)):  # the delimiter's too: then that of the next frame ends this one
        flipped = bytearray(data)
        flipped[bit // 8] ^= 1 << bit % 8
        found = FrameReader().feed(bytes(flipped) + b"\0")
        assert found, "something must be told"
        assert not any(isinstance(item, bytes) for item in found)


def test_the_talk_in_the_specification_is_made_of_vectors():
    text = files("firmware_protocol").joinpath("SPEC.md").read_text(encoding="utf-8")
    talk = text[text.index("## A first talk") : text.index("## Vectors")]
    hexes = "".join(re.findall(r"\b[0-9a-f]{12,}\b", talk))
    known = sorted((row["frame"] for row in rows("messages.json")), key=len, reverse=True)
    assert hexes
    while hexes:
        (frame_,) = [each for each in known if hexes.startswith(each)]
        hexes = hexes.removeprefix(frame_)
