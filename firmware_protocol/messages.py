"""The messages of the wire and their one codec, used by the host and by the (simulated) board alike.

Everything is an integer, little-endian, without padding. Every content begins with the same seven bytes: kind (u8),
number (u16), stamp (u32). From the host the number is the request's and the stamp is the session; from the board the
number is that of the request answered (or the running number of the event) and the stamp is the boot identifier.
SPEC.md holds the same tables for readers, and says what each message means.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass, fields
from enum import IntEnum, IntFlag
from operator import attrgetter
from typing import Any, ClassVar, NamedTuple, TypeAlias

from firmware_protocol.errors import OwnProtocolError, PeerProtocolError

VERSION = 1
HEADER = struct.Struct("<BHI")
MOST_READINGS = 7
"""Readings in one block: 7 (header) + 9 + 7 x 6 = 58 bytes of the 62 that a frame may hold."""


class Role(IntEnum):
    """Who sends: a role may send only its own messages and takes only the other's."""

    HOST = 0
    BOARD = 1


class DoseState(IntEnum):
    """What became of the newest dose."""

    NONE = 0
    MOVING = 1
    ARRIVED = 2
    HALTED = 3
    DEAD_MAN = 4
    SESSION_ENDED = 5
    HOME = 6


class ValvePosition(IntEnum):
    """Which way the burette is open. BETWEEN: the valve's own sensor sees neither end."""

    BETWEEN = 0
    VESSEL = 1
    RESERVOIR = 2


class ValveState(IntEnum):
    """What the board knows of the valve. Only CONFIRMED means that the sensor sees the position that was asked for."""

    UNKNOWN = 0
    TURNING = 1
    CONFIRMED = 2
    FAULT = 3


class Capability(IntFlag):
    """Parts that a board may have, a bit each in `Welcome`."""

    VALVE = 1
    HOME_SWITCH = 2
    SIMULATED = 128
    """No part, but a confession: what this board measures is computed, and a host must say so of every result."""


class Reason(IntEnum):
    """Why the board refuses; the `detail` beside it is the value named in SPEC.md."""

    VERSION = 1
    SESSION = 2
    LIMITS_MISSING = 3
    BEYOND_LIMIT = 4
    REVERSAL = 5
    TOO_FAST = 6
    MOVING = 7
    LIMIT_CANNOT_RISE = 8
    BAD_VALUE = 9
    UNKNOWN_REQUEST = 10
    TRAVEL = 11
    VALVE = 12
    ABSENT = 13


# ------------------------------------------------------------------------------------------------ from the host
@dataclass(frozen=True, slots=True)
class Hello:
    """Opens the session in the stamp; session 0 only looks and changes nothing. Its layout never changes."""

    KIND: ClassVar[int] = 0x01
    LAYOUT: ClassVar[str] = "B"
    version: int


@dataclass(frozen=True, slots=True)
class AskStatus:
    """Asks for `Status`; with the current session it feeds the dead-man timer too."""

    KIND: ClassVar[int] = 0x02
    LAYOUT: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class SetLimits:
    """Limits of this session.

    Position and total travel towards the vessel in microsteps, least time of a step in µs when pushing and when
    refilling, dead-man time in ms.
    """

    KIND: ClassVar[int] = 0x03
    LAYOUT: ClassVar[str] = "iIIIH"
    highest_position: int
    most_travel: int
    least_step_us: int
    least_refill_step_us: int
    dead_man_ms: int


@dataclass(frozen=True, slots=True)
class Move:
    """A push: its identifier, the absolute target in microsteps, the time of one step in µs, and where it goes."""

    KIND: ClassVar[int] = 0x04
    LAYOUT: ClassVar[str] = "IiIB"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {3: ValvePosition}
    dose: int
    target: int
    step_us: int
    valve: ValvePosition = ValvePosition.VESSEL


@dataclass(frozen=True, slots=True)
class Halt:
    """Stops the motor now, in whatever session."""

    KIND: ClassVar[int] = 0x05
    LAYOUT: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class SetReadings:
    """Streams readings every `period_ms` (0: no more), `per_block` of them a block."""

    KIND: ClassVar[int] = 0x06
    LAYOUT: ClassVar[str] = "HB"
    period_ms: int
    per_block: int


@dataclass(frozen=True, slots=True)
class SetValve:
    """Turns the valve to the vessel or to the reservoir. The answer tells what is so now, `ValveTurned` the outcome."""

    KIND: ClassVar[int] = 0x07
    LAYOUT: ClassVar[str] = "B"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {0: ValvePosition}
    position: ValvePosition


@dataclass(frozen=True, slots=True)
class Refill:
    """Draws from the reservoir back to the home switch, no further than the absolute target. A dose like `Move`."""

    KIND: ClassVar[int] = 0x08
    LAYOUT: ClassVar[str] = "IiI"
    dose: int
    target: int
    step_us: int


# ------------------------------------------------------------------------------------------------ from the board
@dataclass(frozen=True, slots=True)
class Welcome:
    """Who answers: versions, the session in force, what the firmware itself holds fixed, and the board's identity."""

    KIND: ClassVar[int] = 0x41
    LAYOUT: ClassVar[str] = "BHIIiIIiiHIB"
    version: int
    firmware: int
    session: int
    board_ms: int
    position: int
    stroke_steps: int
    least_step_us: int
    range_low_uV: int
    range_high_uV: int
    adc_step_uV: int
    identity: int
    capabilities: int


@dataclass(frozen=True, slots=True)
class Status:
    """All that a host needs to go on: session, position, newest dose and its end, next reading, valve and home.

    `home_position` is the count at which the home switch last closed, and means nothing while `home_known` is 0.
    """

    KIND: ClassVar[int] = 0x42
    LAYOUT: ClassVar[str] = "IIiIIiBBIIHBBBi"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {6: ValvePosition, 7: DoseState, 11: ValvePosition, 12: ValveState}
    board_ms: int
    session: int
    position: int
    dose_session: int
    dose: int
    dose_target: int
    dose_valve: ValvePosition
    dose_state: DoseState
    dose_ended_ms: int
    next_index: int
    period_ms: int
    valve: ValvePosition
    valve_state: ValveState
    home_known: int
    home_position: int


@dataclass(frozen=True, slots=True)
class LimitsInForce:
    """The limits as they now stand; units as in `SetLimits`."""

    KIND: ClassVar[int] = 0x43
    LAYOUT: ClassVar[str] = "iIIIH"
    highest_position: int
    most_travel: int
    least_step_us: int
    least_refill_step_us: int
    dead_man_ms: int


@dataclass(frozen=True, slots=True)
class DoseReport:
    """The newest dose: its target, the position now (at rest: where it ended) and when that was true (board ms)."""

    KIND: ClassVar[int] = 0x44
    LAYOUT: ClassVar[str] = "IiiBI"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {3: DoseState}
    dose: int
    target: int
    position: int
    state: DoseState
    at_ms: int


@dataclass(frozen=True, slots=True)
class ReadingsSet:
    """How readings stream from now on (0: not), and the index that the next one bears."""

    KIND: ClassVar[int] = 0x46
    LAYOUT: ClassVar[str] = "HBI"
    period_ms: int
    per_block: int
    next_index: int


@dataclass(frozen=True, slots=True)
class ValveReport:
    """The valve: the position that its sensor sees, the one asked for, what the board makes of it, and when (ms)."""

    KIND: ClassVar[int] = 0x47
    LAYOUT: ClassVar[str] = "BBBI"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {0: ValvePosition, 1: ValvePosition, 2: ValveState}
    position: ValvePosition
    asked: ValvePosition
    state: ValveState
    at_ms: int


@dataclass(frozen=True, slots=True)
class Refused:
    """Nothing was done: the kind of the request, the reason, and the value that goes with the reason."""

    KIND: ClassVar[int] = 0x4F
    LAYOUT: ClassVar[str] = "BBi"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {1: Reason}
    request: int
    reason: Reason
    detail: int


@dataclass(frozen=True, slots=True)
class Readings:
    """A block of readings: index of the first, its board time in ms, offsets from that in ms, potentials in µV."""

    KIND: ClassVar[int] = 0x81
    first_index: int
    first_ms: int
    offsets_ms: tuple[int, ...]
    potentials_uV: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MotionEnded:
    """A motion is over: where (microsteps), how, and when (board ms)."""

    KIND: ClassVar[int] = 0x82
    LAYOUT: ClassVar[str] = "IiBI"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {2: DoseState}
    dose: int
    position: int
    state: DoseState
    at_ms: int


@dataclass(frozen=True, slots=True)
class ValveTurned:
    """The valve is where it was asked to be (CONFIRMED), or was not seen there in time (FAULT)."""

    KIND: ClassVar[int] = 0x83
    LAYOUT: ClassVar[str] = "BBBI"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {0: ValvePosition, 1: ValvePosition, 2: ValveState}
    position: ValvePosition
    asked: ValvePosition
    state: ValveState
    at_ms: int


Request: TypeAlias = Hello | AskStatus | SetLimits | Move | Halt | SetReadings | SetValve | Refill
Answer: TypeAlias = Welcome | Status | LimitsInForce | DoseReport | ReadingsSet | ValveReport | Refused
Event: TypeAlias = Readings | MotionEnded | ValveTurned
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
}
"""The answer that a request gets; any may get `Refused` instead."""
_FROM_HOST = tuple(ANSWER_TO)
EVENTS = (Readings, MotionEnded, ValveTurned)
"""What the board says unasked."""
_FROM_BOARD = (Welcome, Status, LimitsInForce, DoseReport, ReadingsSet, ValveReport, Refused, *EVENTS)


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
    if kind not in _KINDS_FROM[Role(1 - role)]:
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
