"""The one codec of the wire, used by the host and by the (simulated) board alike.

Everything is an integer, little-endian, without padding. Every content begins with the same seven bytes: kind (u8),
number (u16), stamp (u32). From the host the number is the request's and the stamp is the session; from the board the
number is that of the request answered (or the running number of the event) and the stamp is the boot identifier.
SPEC.md holds the same tables for readers, and says what each message means.
"""

import struct
from collections.abc import Callable
from dataclasses import fields
from enum import IntEnum
from operator import attrgetter
from typing import Any, NamedTuple, TypeAlias

from firmware_protocol.answers import (
    EVENTS,
    Answer,
    ChangerReport,
    DoseReport,
    Event,
    LimitsInForce,
    PartLimitsInForce,
    PumpReport,
    Readings,
    ReadingsSet,
    Refused,
    Status,
    StirrerReport,
    Temperatures,
    ValveReport,
    Welcome,
)
from firmware_protocol.errors import OwnProtocolError, PeerProtocolError
from firmware_protocol.requests import (
    AskStatus,
    AskTemperatures,
    Halt,
    Hello,
    Move,
    Refill,
    Request,
    RunPump,
    SetChanger,
    SetLimits,
    SetPartLimits,
    SetReadings,
    SetStirrer,
    SetValve,
)
from firmware_protocol.words import Role

VERSION = 1
HEADER = struct.Struct("<BHI")
MOST_READINGS = 7
"""Readings in one block: 7 (header) + 9 + 7 x 6 = 58 bytes of the 62 that a frame may hold."""

Message: TypeAlias = Request | Answer | Event

ANSWER_TO: dict[type[Request], type[Answer]] = {
    Hello: Welcome,
    AskStatus: Status,
    SetLimits: LimitsInForce,
    Move: DoseReport,
    Halt: DoseReport,
    SetReadings: ReadingsSet,
    SetValve: ValveReport,
    Refill: DoseReport,
    SetStirrer: StirrerReport,
    RunPump: PumpReport,
    SetChanger: ChangerReport,
    AskTemperatures: Temperatures,
    SetPartLimits: PartLimitsInForce,
}
"""The answer that a request gets; any may get `Refused` instead."""
_FROM_HOST = tuple(ANSWER_TO)
_FROM_BOARD = (*dict.fromkeys(ANSWER_TO.values()), Refused, *EVENTS)


class Packet(NamedTuple):
    """A message with its number and its stamp (session from the host, boot identifier from the board)."""

    number: int
    stamp: int
    message: Message

    def __str__(self) -> str:
        """For people: `Move #12 of session 0000beef: dose 3, target 1600, step_us 3750`."""
        message = self.message
        whose = "session" if isinstance(message, _FROM_HOST) else "boot"
        values = ", ".join(f"{f.name} {_spoken(getattr(message, f.name))}" for f in fields(message))
        return f"{type(message).__name__} #{self.number} of {whose} {self.stamp:08x}" + (
            f": {values}" if values else ""
        )


def _spoken(value: object) -> str:
    return value.name.lower().replace("_", "-") if isinstance(value, IntEnum) else str(value)


# ------------------------------------------------------------------------------------------------ the codec
class _Layout:
    """Struct, field getter and enumerations of one message of fixed size."""

    def __init__(self, cls: type[Any]) -> None:
        self.cls = cls
        self.struct = struct.Struct("<BHI" + cls.LAYOUT)
        self.enums: tuple[tuple[int, type[IntEnum]], ...] = tuple(getattr(cls, "ENUMS", {}).items())
        names = [f.name for f in fields(cls)]
        self.values = _getter(names)


def _getter(names: list[str]) -> Callable[[Any], tuple[int, ...]]:
    if not names:
        return lambda _message: ()
    if len(names) == 1:
        only = attrgetter(names[0])
        return lambda message: (only(message),)
    return attrgetter(*names)


_LAYOUTS = {cls: _Layout(cls) for cls in (*_FROM_HOST, *_FROM_BOARD) if cls is not Readings}
_BY_KIND = {cls.KIND: layout for cls, layout in _LAYOUTS.items()}
_BLOCKS = tuple(struct.Struct(f"<BHIIIB{n}H{n}i") for n in range(MOST_READINGS + 1))
_BLOCK_HEAD = struct.Struct("<BHIIIB")
_KINDS_FROM = {
    Role.HOST: frozenset(cls.KIND for cls in _FROM_HOST),
    Role.BOARD: frozenset(cls.KIND for cls in _FROM_BOARD),
}
_KINDS_TO = {role: _KINDS_FROM[Role(1 - role)] for role in Role}


def encode(role: Role, packet: Packet) -> bytes:
    """Content of the frame for a packet sent by `role`.

    OwnProtocolError when the role does not send such a message or a value does not fit its field.
    """
    number, stamp, message = packet
    if message.KIND not in _KINDS_FROM[role]:
        raise OwnProtocolError(f"{type(message).__name__} is not a message that the {role.name.lower()} sends")
    try:
        if isinstance(message, Readings):
            return _encode_block(number, stamp, message)
        layout = _LAYOUTS[type(message)]
        return layout.struct.pack(message.KIND, number, stamp, *layout.values(message))
    except struct.error as problem:
        raise OwnProtocolError(f"a value does not fit its field ({problem}) in {packet}") from None


def _encode_block(number: int, stamp: int, block: Readings) -> bytes:
    count = len(block.potentials_uV)
    if not 1 <= count <= MOST_READINGS or len(block.offsets_ms) != count:
        raise OwnProtocolError(
            f"a block holds 1 to {MOST_READINGS} readings, each with its offset; got {count} potentials and "
            f"{len(block.offsets_ms)} offsets"
        )
    return _BLOCKS[count].pack(
        block.KIND, number, stamp, block.first_index, block.first_ms, count, *block.offsets_ms, *block.potentials_uV
    )


def decode(role: Role, content: bytes) -> Packet:
    """The packet in a sound frame's content, received by `role` from the other one.

    PeerProtocolError when the kind is unknown or not the other role's to send, the length is wrong, or a value is
    none of its enumeration; it bears kind and number when they could be read.
    """
    if len(content) < HEADER.size:
        raise PeerProtocolError(f"message of {len(content)} bytes is shorter than its header, {HEADER.size}", content)
    kind, number, stamp = HEADER.unpack_from(content)
    if kind not in _KINDS_TO[role]:
        raise PeerProtocolError(
            f"message kind {kind:#04x} is none that the {role.name.lower()} takes", content, kind=kind, number=number
        )
    if kind == Readings.KIND:
        return Packet(number, stamp, _decode_block(content, number))
    layout = _BY_KIND[kind]
    if len(content) != layout.struct.size:
        raise _wrong_length(layout.cls.__name__, layout.struct.size, content, kind, number)
    values = list(layout.struct.unpack(content)[3:])
    for place, enum in layout.enums:
        try:
            values[place] = enum(values[place])
        except ValueError:
            raise PeerProtocolError(
                f"{layout.cls.__name__} holds {values[place]}, which is no {enum.__name__}",
                content,
                kind=kind,
                number=number,
            ) from None
    return Packet(number, stamp, layout.cls(*values))


def _decode_block(content: bytes, number: int) -> Readings:
    size = len(content)
    count = content[_BLOCK_HEAD.size - 1] if size >= _BLOCK_HEAD.size else 0
    if not 1 <= count <= MOST_READINGS or size != _BLOCKS[count].size:
        raise _wrong_length("Readings", _BLOCKS[min(count, MOST_READINGS)].size, content, Readings.KIND, number)
    values = _BLOCKS[count].unpack(content)
    return Readings(values[3], values[4], values[6 : 6 + count], values[6 + count :])


def _wrong_length(name: str, due: int, content: bytes, kind: int, number: int) -> PeerProtocolError:
    return PeerProtocolError(
        f"{name} should be {due} bytes long, got {len(content)}", content, kind=kind, number=number
    )
