"""What the board keeps over a reset: memory that only a loss of power clears, with a CRC over it."""

import struct
from binascii import crc_hqx
from dataclasses import dataclass, field

from firmware_protocol.frames import CRC_SIZE, CRC_START
from firmware_protocol.messages import DoseState, ValvePosition
from sim.board_state import Dose

_LAYOUT = struct.Struct("<iIIIIIIiBBiBi")


@dataclass(slots=True)
class Retained:
    """The kept memory as it stands.

    `position` is the count of steps and `within` how far it may be off, `since` the start
    (its boot identifier) with which the count began, `session` the newest one that moved or could
    have, `travelled` its steps into the vessel, `home` the count at which the home switch last closed (None: not yet).
    """

    position: int = 0
    within: int = 0
    since: int = 0
    session: int = 0
    travelled: int = 0
    dose: Dose = field(default_factory=Dose)
    home: int | None = None

    def packed(self) -> bytes:
        """As it lies in the memory."""
        dose = self.dose
        content = _LAYOUT.pack(
            self.position,
            self.within,
            self.since,
            self.session,
            self.travelled & 0xFFFFFFFF,
            dose.session,
            dose.number,
            dose.target,
            dose.valve,
            dose.state,
            dose.position,
            self.home is not None,
            self.home or 0,
        )
        return content + crc_hqx(content, CRC_START).to_bytes(CRC_SIZE, "big")


def unpacked(memory: bytes) -> Retained | None:
    """What the memory tells; None when its CRC is wrong: then nothing of it may be believed."""
    if len(memory) != _LAYOUT.size + CRC_SIZE or crc_hqx(memory, CRC_START):
        return None
    values = _LAYOUT.unpack_from(memory)
    position, within, since, session, travelled, *told, home_known, home = values
    dose_session, number, target, valve, state, rests = told
    dose = Dose(dose_session, number, target, DoseState(state), rests, 0, ValvePosition(valve))
    return Retained(position, within, since, session, travelled, dose, home if home_known else None)
