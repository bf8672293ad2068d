"""Ctrl-C and SIGTERM: not an exception in the middle of a dose, but a word to the controller, which halts the pump."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator
from types import FrameType

from titrator.control.events import Word


class Interruption:
    """Remembers the signal that came. `word` hands it to the driver once; `signal_number` stays."""

    def __init__(self) -> None:
        self.signal_number: int | None = None
        self._told = False

    def note(self, number: int, _frame: FrameType | None) -> None:
        """The signal handler: only remembers."""
        self.signal_number = number

    def word(self) -> Word | None:
        """`Word.STOP` once after a signal came, else None."""
        if self.signal_number is None or self._told:
            return None
        self._told = True
        return Word.STOP


@contextlib.contextmanager
def catching_signals() -> Iterator[Interruption]:
    """While this is open, SIGINT and SIGTERM are remembered instead of ending the process."""
    interruption = Interruption()
    numbers = (signal.SIGINT, signal.SIGTERM)
    before = {number: signal.signal(number, interruption.note) for number in numbers}
    try:
        yield interruption
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
