"""What the board's refusals mean to the person at the bench, and what to do next."""

from firmware_protocol.messages import Packet, Reason, Refused
from titrator.bench.errors import BoardRefusedError

_MEANINGS = {
    Reason.VERSION: "it speaks protocol version {detail} only. Next: put matching firmware on the board",
    Reason.SESSION: "the session is not the one in force there ({session:08x}; 0 after a restart): the board restarted "
    "or another program opened a session. Next: end the other program, then resume the run",
    Reason.LIMITS_MISSING: "no limits were set in this session. Next: this is a defect of the host; report it",
    Reason.BEYOND_LIMIT: "this session ends at step {detail}. Next: lower the volume at which the run ends",
    Reason.REVERSAL: "the plunger stands at step {detail} and never goes back. Next: compare record and burette",
    Reason.TOO_FAST: "a step takes at least {detail} µs there. Next: lower the top speed in the rig file",
    Reason.MOVING: "a dose to step {detail} is still under way. Next: wait for its end or halt it",
    Reason.LIMIT_CANNOT_RISE: "a limit would rise above the {detail} set in this session. Next: open a new session",
    Reason.BAD_VALUE: "the value {detail} is not allowed there. Next: this is a defect of the host; report it",
    Reason.TRAVEL: "only {detail} steps into the vessel are left in this session. Next: lower the volume at which the "
    "run ends",
    Reason.VALVE: "the valve is not confirmed where this needs it (its sensor sees position {detail}; 0 neither end, 1 "
    "vessel, 2 reservoir). Next: look at the valve, then turn it again",
    Reason.ABSENT: "it lacks a part (capability {detail}; 1 valve, 2 home switch, 4 stirrer, 8 rinse, 16 drain, "
    "32 changer, 64 temperature). Next: set refills: false in the rig file where it is the valve, or choose "
    "the rig file that belongs to this board",
    Reason.TEMPERATURE: "the temperature is {detail} hundredths of a kelvin, outside the limits of this session (0: "
    "its sensor is broken). Next: bring the vessel to its temperature, or look at the sensor",
    Reason.UNKNOWN_REQUEST: "it does not know this request; it speaks version {detail}. Next: update its firmware",
}


def refusal(packet: Packet, refused: Refused) -> BoardRefusedError:
    """The error for a refused request."""
    meaning = _MEANINGS[refused.reason].format(detail=refused.detail, session=refused.detail & 0xFFFFFFFF)
    return BoardRefusedError(f"the board refused {packet}: {meaning}", refused.reason, refused.detail)
