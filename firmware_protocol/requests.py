"""What the host asks of a board. Units and meanings in SPEC.md; layouts are those of `struct`, without the header."""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar, TypeAlias

from firmware_protocol.words import Pump, ValvePosition


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


@dataclass(frozen=True, slots=True)
class SetStirrer:
    """Lets the stirrer turn at `speed_permille` of its full speed, 0 to 1000; 0 stops it."""

    KIND: ClassVar[int] = 0x09
    LAYOUT: ClassVar[str] = "H"
    speed_permille: int


@dataclass(frozen=True, slots=True)
class RunPump:
    """Lets a pump run for `duration_ms`. `run` is numbered like a dose, for each pump by itself."""

    KIND: ClassVar[int] = 0x0A
    LAYOUT: ClassVar[str] = "BIH"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {0: Pump}
    pump: Pump
    run: int
    duration_ms: int


@dataclass(frozen=True, slots=True)
class SetChanger:
    """Brings a place of the sample changer under the head, 1 to `changer_places`; 0 lifts the head only."""

    KIND: ClassVar[int] = 0x0B
    LAYOUT: ClassVar[str] = "B"
    place: int


@dataclass(frozen=True, slots=True)
class AskTemperatures:
    """Asks for `Temperatures`, in whatever session."""

    KIND: ClassVar[int] = 0x0C
    LAYOUT: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class SetPartLimits:
    """Limits of optional parts: running time of the rinse in ms over the session, hundredths of a kelvin.

    Nothing is delivered while the first temperature is outside of them.
    """

    KIND: ClassVar[int] = 0x0D
    LAYOUT: ClassVar[str] = "IHH"
    most_rinse_ms: int
    lowest_cK: int
    highest_cK: int


Request: TypeAlias = (
    Hello
    | AskStatus
    | SetLimits
    | Move
    | Halt
    | SetReadings
    | SetValve
    | Refill
    | SetStirrer
    | RunPump
    | SetChanger
    | AskTemperatures
    | SetPartLimits
)
