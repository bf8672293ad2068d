"""A simulated valve between burette, vessel and reservoir, with its faults."""

from typing import Final, Literal, TypeAlias

from firmware_protocol.messages import ValvePosition

ValveFault: TypeAlias = Literal["stuck", "slow", "wrong report"]
SLOWED: Final = 10
"""A slow valve takes this many times as long: longer than any board waits that allows a few times the usual time."""


class SimulatedValve:
    """Turns in virtual microseconds. What it does and what its sensor says are two things.

    `fault` begins with the turn of number `sound_turns` (counted from 0): `stuck` stays where it is, `slow` gets there
    late, `wrong report` gets there in time while its sensor goes on seeing the position that it left.
    """

    def __init__(
        self,
        *,
        turn_us: int,
        position: ValvePosition = ValvePosition.VESSEL,
        fault: ValveFault | None = None,
        sound_turns: int = 0,
    ) -> None:
        self._turn_us = turn_us
        self._from = self._to = position
        self._there_us = 0
        self._fault = fault
        self._sound_turns = sound_turns
        self._turns = 0
        self._frozen: ValvePosition | None = None

    def turn(self, now_us: int, position: ValvePosition) -> None:
        """Begin to turn. Asking for the position where it stands already is no turn."""
        at = self.position(now_us)
        if at is position and self._frozen is None:
            return
        fault = self._fault if self._turns >= self._sound_turns else None
        self._turns += 1
        if fault == "stuck":
            return
        if fault == "wrong report":
            self._frozen = self.sensed(now_us)
        self._from, self._to = at, position
        self._there_us = now_us + self._turn_us * (SLOWED if fault == "slow" else 1)

    def position(self, now_us: int) -> ValvePosition:
        """Where it truly is."""
        return self._to if now_us >= self._there_us else ValvePosition.BETWEEN

    def sensed(self, now_us: int) -> ValvePosition:
        """What its sensor sees."""
        return self.position(now_us) if self._frozen is None else self._frozen
