"""The words of the wire: roles, states, positions, parts, reasons. SPEC.md says what each one means."""

from enum import IntEnum, IntFlag


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
    RESET = 7


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


class Pump(IntEnum):
    """The pumps that are no burette: one brings water into the vessel, one takes the vessel's content away."""

    RINSE = 1
    DRAIN = 2


class PumpState(IntEnum):
    """What became of the newest run of a pump."""

    NONE = 0
    RUNNING = 1
    DONE = 2
    HALTED = 3
    DEAD_MAN = 4
    SESSION_ENDED = 5


class Capability(IntFlag):
    """Parts that a board may have, a bit each in `Welcome`."""

    VALVE = 1
    HOME_SWITCH = 2
    STIRRER = 4
    RINSE = 8
    DRAIN = 16
    CHANGER = 32
    TEMPERATURE = 64
    SIMULATED = 128
    """No part, but a confession: what this board measures is computed, and a host must say so of every result."""
    SECOND_TEMPERATURE = 256


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
    TEMPERATURE = 14
