"""Takes one guard of board or host away, so that the checks of the fault injection can be seen to find it missing."""

from contextlib import ExitStack
from typing import Any
from unittest import mock

from firmware_protocol import frames
from firmware_protocol.frames import CRC_SIZE, unstuff
from firmware_protocol.messages import Move, Packet, Refill
from sim.board import SimulatedBoard
from sim.motor import Motor
from titrator.run.driver import Driver


def remove(guard: str, stack: ExitStack) -> None:
    """Remove `guard` until `stack` is left."""
    for owner, name, replacement in _REMOVALS[guard]():
        stack.enter_context(mock.patch.object(owner, name, replacement))


def _session() -> list[tuple[Any, str, Any]]:
    """The board takes motions of any session."""
    answer = SimulatedBoard._answer

    def of_any_session(self: Any, packet: Packet) -> Any:
        if isinstance(packet.message, Move):
            return self.motor.move(self.now_us, packet.message)
        if isinstance(packet.message, Refill):
            return self.motor.refill(self.now_us, packet.message)
        return answer(self, packet)

    return [(SimulatedBoard, "_answer", of_any_session)]


def _identifier() -> list[tuple[Any, str, Any]]:
    """The board carries out whatever comes, newer or not."""
    refusal = Motor._refusal

    def never_old(self: Any, now_us: int, motion: Any) -> Any:
        number, self.kept.dose.number = self.kept.dose.number, 0
        try:
            return refusal(self, now_us, motion)
        finally:
            self.kept.dose.number = number

    return [(Motor, "_refusal", never_old)]


def _crc() -> list[tuple[Any, str, Any]]:
    """Neither side looks at the CRC."""

    def believed(encoded: bytes) -> bytes:
        raw = unstuff(encoded)
        if len(raw) <= CRC_SIZE:
            raise frames.PeerProtocolError("frame cut short", encoded)
        return raw[:-CRC_SIZE]

    return [(frames, "unframe", believed)]


def _intent() -> list[tuple[Any, str, Any]]:
    """A dose is sent before it is on record."""

    def sent_first(self: Any, move: Any, t_s: float) -> None:
        steps = self._bench.steps_at(move.volume_mL)
        self._bench.move_to(move.dose, move.volume_mL)
        more = {"more": True} if move.more else {}
        fields = {"dose": move.dose, "volume_mL": move.volume_mL, "steps": steps, **more}
        self._journal.write("intent", t_s, fields, durable=True)

    return [(Driver, "_move", sent_first)]


def _dead_man() -> list[tuple[Any, str, Any]]:
    """The motor runs on, whoever is there."""
    return [(Motor, "feed", lambda _self, _now_us: None)]


_REMOVALS = {
    "session": _session,
    "identifier": _identifier,
    "crc": _crc,
    "intent": _intent,
    "dead-man": _dead_man,
}
