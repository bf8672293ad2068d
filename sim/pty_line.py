"""A served board's end of a pseudo terminal: to the host it is a serial device with a name in /dev/pts."""

import contextlib
import fcntl
import os
import select
import termios
import time
import tty
from pathlib import Path

from titrator.files.open_files import lockers

_MOST_AT_ONCE = 4096
_LOOK_EVERY_S = 0.25
_TIOCGEXCL = 0x80045440
"""Linux's question for the mark (asm-generic/ioctls.h); Python's termios has no name for it."""


class PtyLine:
    """Carries bytes as a serial line does: what nobody takes is lost, and a host may come and go.

    The host's end stays open here too. So its settings (raw: no echo, no line editing) and the device outlive the
    hosts, and a host that was killed cannot leave it marked as exclusive for ever. Who holds it is told by the lock
    that a host takes (`flock`, seen in Linux's /proc/locks).
    """

    def __init__(self, link: Path | None = None) -> None:
        """`link`: a symbolic link to the device, made here and removed at the end. OSError when it cannot be made."""
        self._master, self._slave = os.openpty()
        try:
            tty.setraw(self._slave)
            os.set_blocking(self._master, False)
            self.address = self._device = os.ttyname(self._slave)
            self._link = link
            if link is not None:
                if link.is_symlink() and not link.exists():
                    link.unlink()  # of a server that was killed
                link.symlink_to(self.address)
                self.address = str(link)
        except OSError:
            os.close(self._master)
            os.close(self._slave)
            raise
        self._held = False
        self._looked_s = time.monotonic()
        self.departures = 0

    def wait(self, timeout_s: float) -> bytes:
        """Bytes from the host, as soon as any came; empty after `timeout_s`."""
        ready, _, _ = select.select([self._master], [], [], timeout_s)
        data = b""
        if self._master in ready:
            with contextlib.suppress(BlockingIOError):
                data = os.read(self._master, _MOST_AT_ONCE)
        if (data and not self._held) or time.monotonic() - self._looked_s >= _LOOK_EVERY_S:
            self._look()
        return data

    def send(self, data: bytes) -> None:
        """Bytes to the host; lost where nobody reads them, as on a wire that leads nowhere."""
        with contextlib.suppress(BlockingIOError):
            os.write(self._master, data)

    def close(self) -> None:
        """Remove the device."""
        if self._link is not None:
            self._link.unlink(missing_ok=True)
        os.close(self._master)
        os.close(self._slave)

    def _look(self) -> None:
        self._looked_s = time.monotonic()
        # A host locks first and marks then: what is marked and, asked after that, not locked, was left by a dead one.
        marked = _is_exclusive(self._slave)
        held = bool(lockers(self._device))
        if marked and not held:
            fcntl.ioctl(self._slave, termios.TIOCNXCL)
        self.departures += self._held and not held
        self._held = held


def _is_exclusive(device: int) -> bool:
    try:
        told = fcntl.ioctl(device, _TIOCGEXCL, bytes(4))
    except OSError:
        return False
    return any(told)
