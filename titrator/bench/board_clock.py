"""The board's clock as seen from here: milliseconds that wrap around, carried on between two tellings."""

from typing import Protocol

_WRAP = 1 << 32


class Timed(Protocol):
    """Whatever knows the time here."""

    def now_s(self) -> float:
        """The time in seconds, never going back."""
        ...


class BoardClock:
    """Board time in seconds. The board counts ms in 32 bits, which wrap after 49 days; here they do not."""

    def __init__(self, transport: Timed) -> None:
        self._transport = transport
        self._told_ms = 0
        self._heard_s = transport.now_s()
        self._latest_s = 0.0

    def unwrap(self, board_ms: int) -> int:
        """The moment nearest to the last one told, in ms without wrapping."""
        ahead = (board_ms - self._told_ms) % _WRAP
        return self._told_ms + (ahead if ahead < _WRAP // 2 else ahead - _WRAP)

    def hear(self, board_ms: int) -> float:
        """Take a telling of the board's present time; that time in s."""
        told_ms = self.unwrap(board_ms)
        if told_ms >= self._told_ms:
            self._told_ms = told_ms
            self._heard_s = self._transport.now_s()
        return told_ms / 1000

    @property
    def now_s(self) -> float:
        """The last telling and what has passed here since; never goes back."""
        estimate_s = self._told_ms / 1000 + (self._transport.now_s() - self._heard_s)
        self._latest_s = max(self._latest_s, estimate_s)
        return self._latest_s
