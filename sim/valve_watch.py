"""The board's side of the valve: it turns it, and believes nothing but the sensor."""

from typing import Final

from firmware_protocol.messages import ValvePosition, ValveReport, ValveState, ValveTurned
from sim.board_state import NEVER
from sim.valve import SimulatedValve

LOOK_EVERY_US: Final = 10_000
"""How often the board looks at the sensor while the valve turns."""


class ValveWatch:
    """What was asked of the valve and what has become of it. `turn_within_us`: seen there by then, or a fault."""

    def __init__(self, valve: SimulatedValve, turn_within_us: int) -> None:
        self._valve = valve
        self._turn_within_us = turn_within_us
        self.asked = ValvePosition.BETWEEN
        self.state = ValveState.UNKNOWN
        self.next_us = NEVER
        """When the board looks at the sensor again."""
        self._give_up_us = NEVER

    def start(self, now_us: int) -> None:
        """As the board comes up: what the sensor sees counts, until something is asked."""
        self.asked = self._valve.sensed(now_us)
        self.state = ValveState.UNKNOWN if self.asked is ValvePosition.BETWEEN else ValveState.CONFIRMED
        self.next_us = self._give_up_us = NEVER

    def ask(self, now_us: int, position: ValvePosition) -> None:
        """Turn to a position. What is asked already, and on its way or there, changes nothing."""
        if position is self.asked and self.state in (ValveState.TURNING, ValveState.CONFIRMED):
            return
        self._valve.turn(now_us, position)
        self.asked, self.state = position, ValveState.TURNING
        self.next_us = now_us + LOOK_EVERY_US
        self._give_up_us = now_us + self._turn_within_us

    def look(self, now_us: int) -> bool:
        """Look at the sensor; whether the turn is over, for good or bad."""
        if self._valve.sensed(now_us) is self.asked:
            self.state = ValveState.CONFIRMED
        elif now_us >= self._give_up_us:
            self.state = ValveState.FAULT
        else:
            self.next_us = now_us + LOOK_EVERY_US
            return False
        self.next_us = NEVER
        return True

    def confirmed(self, now_us: int, position: ValvePosition) -> bool:
        """Whether the valve was turned there and its sensor sees it there now."""
        return self.state is ValveState.CONFIRMED and self.asked is position is self._valve.sensed(now_us)

    def sensed(self, now_us: int) -> ValvePosition:
        """What the sensor sees."""
        return self._valve.sensed(now_us)

    def truly_at(self, now_us: int) -> ValvePosition:
        """Where the liquid goes: the valve itself, whatever its sensor says."""
        return self._valve.position(now_us)

    def report(self, now_us: int, at_ms: int) -> ValveReport:
        """As an answer."""
        return ValveReport(self.sensed(now_us), self.asked, self.state, at_ms)

    def turned(self, now_us: int, at_ms: int) -> ValveTurned:
        """As an event."""
        return ValveTurned(self.sensed(now_us), self.asked, self.state, at_ms)
