"""Signals: not an exception in the middle of a dose, but a word to the controller, which halts the pump."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator
from types import FrameType

from titrator.control.events import Word
from titrator.run.person import login_name
from titrator.run.standing import Said


class Interruption:
    """Remembers the signal that came. `word` hands it to the driver once; `signal_number` stays."""

    def __init__(self) -> None:
        self.signal_number: int | None = None
        self._told = False

    def note(self, number: int, _frame: FrameType | None) -> None:
        """The signal handler: only remembers."""
        self.signal_number = number

    def word(self) -> Said | None:
        """`Word.STOP` once after a signal came, else None."""
        if self.signal_number is None or self._told:
            return None
        self._told = True
        return Said(Word.STOP, login_name(), f"signal {signal.Signals(self.signal_number).name}")


@contextlib.contextmanager
def catching_signals(*, detached: bool = False) -> Iterator[Interruption]:
    """While this is open, SIGINT, SIGTERM and SIGHUP are remembered instead of ending the process.

    SIGHUP (the terminal closed) is nothing to a `detached` run, nor to one that was started to ignore it (`nohup`).
    A shell's job control does not suspend the run for reading or writing at its terminal from the background.
    """
    interruption = Interruption()
    handlers: dict[signal.Signals, signal._HANDLER] = {
        signal.SIGINT: interruption.note,
        signal.SIGTERM: interruption.note,
    }
    if hasattr(signal, "SIGHUP"):
        ignored = detached or signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
        handlers[signal.SIGHUP] = signal.SIG_IGN if ignored else interruption.note
        handlers[signal.SIGTTIN] = handlers[signal.SIGTTOU] = signal.SIG_IGN
    before = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        yield interruption
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
