"""Blocks of readings as they come: in order, without repeats, with what went missing counted."""

from firmware_protocol.messages import Readings
from titrator.bench.board_clock import BoardClock
from titrator.bench.electrode import Amplifier
from titrator.bench.events import ReadingBlock


class ReadingStream:
    """The stream of one session after the other. `streaming`: whether readings should come."""

    def __init__(self, clock: BoardClock) -> None:
        self.amplifier = Amplifier(0, 0)
        self.streaming = False
        self._clock = clock
        self._next_index = 0
        self._after_ms = -1

    def begin(self, next_index: int, board_ms: int) -> None:
        """The board's stream stands at this index now: what was measured before is not for us.

        A block of the session before may still be on its way; its index would mean nothing here.
        """
        self._next_index = next_index
        self._after_ms = self._clock.unwrap(board_ms)

    def take(self, block: Readings) -> ReadingBlock | None:
        """A block as millivolts and seconds; None for one that was told before, or is of the session before."""
        missed = block.first_index - self._next_index
        first_ms = self._clock.unwrap(block.first_ms)
        if missed < 0 or first_ms <= self._after_ms:
            return None
        self._next_index = block.first_index + len(block.potentials_uV)
        self._after_ms = first_ms + block.offsets_ms[-1]
        times_s = tuple([(first_ms + offset) / 1000 for offset in block.offsets_ms])
        self._clock.hear(block.first_ms + block.offsets_ms[-1])
        return ReadingBlock(
            block.first_index,
            times_s,
            self.amplifier.potentials_mV(block.potentials_uV),
            missed,
            self.amplifier.saturated(block.potentials_uV),
        )
