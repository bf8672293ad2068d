"""The seam under the link: a way for bytes, with its own clock."""

from typing import Protocol


class Transport(Protocol):
    """Bytes to and from a board. One thread owns it.

    Time belongs to the transport because a simulated board keeps virtual time: whoever waits, waits by `read`, and
    asks `now_s` what time it is, never the host's clock.
    """

    def write(self, data: bytes) -> None:
        """Send all of `data`. ConnectionError when what was there vanished, another OSError when closed."""
        ...

    def read(self, timeout_s: float) -> bytes:
        """What arrived, as soon as anything did; empty after `timeout_s`. Errors as for `write`."""
        ...

    def now_s(self) -> float:
        """The time in seconds, never going back; its zero means nothing."""
        ...

    def close(self) -> None:
        """Let go of the way. Harmless when repeated."""
        ...


class Way(Protocol):
    """How to get to a board again whose transport broke."""

    def open(self) -> Transport:
        """A new transport to the same board; its clock goes on where the old one's was. BenchError if there is none."""
        ...

    def pause(self, duration_s: float) -> None:
        """Let time pass before the next try."""
        ...
