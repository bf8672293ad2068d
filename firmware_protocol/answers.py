"""What a board says: answers, and events that nobody asked for. Units, meanings: SPEC.md; layouts as in `requests`."""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar, TypeAlias

from firmware_protocol.words import DoseState, Pump, PumpState, Reason, ValvePosition, ValveState


@dataclass(frozen=True, slots=True)
class Welcome:
    """Who answers: versions, the session in force, what the firmware itself holds fixed, and the board's identity.

    `position_kept` is 1 when the count went on over the reset that this start was, and is then off by at most
    `position_within` steps; 0 when the count began at 0 with this start. `counting_since` is the boot identifier of the
    start with which the count began: the same one means the same count, over however many resets.
    """

    KIND: ClassVar[int] = 0x41
    LAYOUT: ClassVar[str] = "BHIIiBIIIIiiHIHB"
    version: int
    firmware: int
    session: int
    board_ms: int
    position: int
    position_kept: int
    position_within: int
    counting_since: int
    stroke_steps: int
    least_step_us: int
    range_low_uV: int
    range_high_uV: int
    adc_step_uV: int
    identity: int
    capabilities: int
    changer_places: int


@dataclass(frozen=True, slots=True)
class Status:
    """All that a host needs to go on: session, position, newest dose and its end, next reading, valve and home.

    `home_position` is the count at which the home switch last closed, and means nothing while `home_known` is 0.
    `damaged_frames` counts what the board dropped since it started, up to 65535.
    """

    KIND: ClassVar[int] = 0x42
    LAYOUT: ClassVar[str] = "IIiIIiBBIIHBBBiH"
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
    damaged_frames: int


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
class StirrerReport:
    """The stirrer: the speed asked for, and the turns a minute that it makes (65535: nothing counts them)."""

    KIND: ClassVar[int] = 0x49
    LAYOUT: ClassVar[str] = "HH"
    speed_permille: int
    turns_per_min: int


@dataclass(frozen=True, slots=True)
class PumpReport:
    """The newest run of a pump: its number, what became of it, how long it ran, all its runs in the session, when."""

    KIND: ClassVar[int] = 0x4A
    LAYOUT: ClassVar[str] = "BIBIII"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {0: Pump, 2: PumpState}
    pump: Pump
    run: int
    state: PumpState
    ran_ms: int
    total_ms: int
    at_ms: int


@dataclass(frozen=True, slots=True)
class ChangerReport:
    """The sample changer, as `ValveReport`: the place that its sensor sees (255: none), the one asked for, and when."""

    KIND: ClassVar[int] = 0x4B
    LAYOUT: ClassVar[str] = "BBBI"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {2: ValveState}
    place: int
    asked: int
    state: ValveState
    at_ms: int


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Temperatures in hundredths of a kelvin (0: no sensor, or a broken one), and when (board ms)."""

    KIND: ClassVar[int] = 0x4C
    LAYOUT: ClassVar[str] = "HHI"
    first_cK: int
    second_cK: int
    at_ms: int


@dataclass(frozen=True, slots=True)
class PartLimitsInForce:
    """The limits as they now stand; units as in `SetPartLimits`."""

    KIND: ClassVar[int] = 0x4D
    LAYOUT: ClassVar[str] = "IHH"
    most_rinse_ms: int
    lowest_cK: int
    highest_cK: int


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


@dataclass(frozen=True, slots=True)
class PumpEnded:
    """A run of a pump is over; fields as in `PumpReport`."""

    KIND: ClassVar[int] = 0x84
    LAYOUT: ClassVar[str] = "BIBIII"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {0: Pump, 2: PumpState}
    pump: Pump
    run: int
    state: PumpState
    ran_ms: int
    total_ms: int
    at_ms: int


@dataclass(frozen=True, slots=True)
class ChangerTurned:
    """The changer is where it was asked to be (CONFIRMED), or was not seen there in time (FAULT)."""

    KIND: ClassVar[int] = 0x85
    LAYOUT: ClassVar[str] = "BBBI"
    ENUMS: ClassVar[dict[int, type[IntEnum]]] = {2: ValveState}
    place: int
    asked: int
    state: ValveState
    at_ms: int


Answer: TypeAlias = (
    Welcome
    | Status
    | LimitsInForce
    | DoseReport
    | ReadingsSet
    | ValveReport
    | StirrerReport
    | PumpReport
    | ChangerReport
    | Temperatures
    | PartLimitsInForce
    | Refused
)
Event: TypeAlias = Readings | MotionEnded | ValveTurned | PumpEnded | ChangerTurned
EVENTS = (Readings, MotionEnded, ValveTurned, PumpEnded, ChangerTurned)
"""What the board says unasked."""
