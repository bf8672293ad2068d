"""The board's clock as seen from here: milliseconds that wrap around, carried on between two tellings."""

from typing import Protocol

_WRAP = 1 << 32


class Timed(Protocol):
    """Whatever knows the time here."""

    def now_s(self) -> float:
        """The time in seconds, never going back."""
        ...


class BoardClock:
    """Board time in seconds. The board counts ms in 32 bits, which wrap after 49 days; here they do not.

    Over a restart of the board it goes on: `base_ms` is what is added to the board's own milliseconds.
    """

    def __init__(self, transport: Timed) -> None:
        self._transport = transport
        self._told_ms = 0
        self._heard_s = transport.now_s()
        self._latest_s = 0.0
        self.base_ms = 0

    def unwrap(self, board_ms: int) -> int:
        """The moment nearest to the last one told, in ms without wrapping."""
        ahead = (board_ms + self.base_ms - self._told_ms) % _WRAP
        return self._told_ms + (ahead if ahead < _WRAP // 2 else ahead - _WRAP)

    def hear(self, board_ms: int) -> float:
        """Take a telling of the board's present time; that time in s."""
        told_ms = self.unwrap(board_ms)
        if told_ms >= self._told_ms:
            self._told_ms = told_ms
            self._heard_s = self._transport.now_s()
        return told_ms / 1000

    def recall(self, t_ms: int) -> None:
        """Go on from the last moment of a record."""
        self._told_ms, self._heard_s, self._latest_s = t_ms, self._transport.now_s(), t_ms / 1000

    def restart(self, board_ms: int) -> float:
        """The board's clock began anew: its time now is what it was here."""
        self._told_ms = round(self.now_s * 1000)
        self.base_ms = self._told_ms - board_ms
        return self.hear(board_ms)

    def follow(self, transport: Timed) -> None:
        """Another transport from now on, with a clock that agrees with the one before or begins anew."""
        self._told_ms, self._transport = round(self.now_s * 1000), transport
        self._heard_s = transport.now_s()

    @property
    def now_s(self) -> float:
        """The last telling and what has passed here since; never goes back."""
        estimate_s = self._told_ms / 1000 + (self._transport.now_s() - self._heard_s)
        self._latest_s = max(self._latest_s, estimate_s)
        return self._latest_s
