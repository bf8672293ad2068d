"""The way to a real board, or to a served one: a serial device or `socket://HOST:PORT`, through pyserial.

There is no thread. The caller's own thread waits in `read` for bytes or for the time it named, which is all that a link
with one request in flight needs: nothing to hand over, no queue to overflow, nothing that outlives `close`, and what
goes wrong is raised where it can be dealt with. The operating system buffers 4096 bytes meanwhile, half a minute
of readings.
"""

import contextlib
import io
import select
import time
from typing import Any

from firmware_protocol.served import may_be_refusal, owner_in
from titrator.bench.port_failure import busy, failure

WRITE_WITHIN_S = 1.0
"""A frame of 65 bytes takes 68 ms at 9600 baud; a second without taking it means that nothing takes bytes any more."""
_MOST_AT_ONCE = 4096
_REFUSAL_WITHIN_S = 1.0


class SerialTransport:
    """A Transport (see `titrator.bench.transport`) that nobody else can open meanwhile. Time is time.monotonic().

    A device is locked twice: by `flock`, which programs that ask will honour and which names the holder, and by
    TIOCEXCL, which refuses every further open but root's (tty_ioctl(4)). A served board has one host by its server.
    """

    def __init__(self, port: str, baud: int) -> None:
        """Open `port`. UnpluggedError, PortBusyError, PortDeniedError, or PortError for what is no port at all."""
        self.port = port
        self._serial = _opened(port, baud)
        self._fileno = _fileno(self._serial)
        self._is_device = "://" not in port
        if self._is_device:
            _set_exclusive(self._fileno, wanted=True)
        self._heard = self._is_device
        """Whether the first bytes have come, which from a server may be a refusal."""

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        self._check_open()
        try:
            self._serial.write(data)
        except _write_time_out() as problem:
            raise TimeoutError(f"{self.port} took no bytes for {WRITE_WITHIN_S:g} s") from problem
        except OSError as problem:
            raise self._vanished(problem) from problem

    def read(self, timeout_s: float) -> bytes:
        """What arrived, as soon as anything did. PortBusyError when a server refuses us."""
        self._check_open()
        try:
            data = self._read(timeout_s)
            if data and not self._heard:
                data = self._first_heard(data)
        except OSError as problem:
            raise self._vanished(problem) from problem
        return data

    def now_s(self) -> float:
        """time.monotonic(): set clocks do not move it, and it goes on in every process of this computer."""
        return time.monotonic()

    def close(self) -> None:
        """Give the port free."""
        if self._is_device and self._serial.is_open:
            # On a pty the mark would outlive us, for the other end keeps the device alive.
            with contextlib.suppress(OSError):
                _set_exclusive(self._fileno, wanted=False)
        inner = getattr(self._serial, "_socket", None)
        self._serial.close()
        if inner is not None:
            inner.close()  # pyserial forgets to where the other end had gone first

    def _read(self, timeout_s: float) -> bytes:
        if self._fileno is None:  # Windows: there is nothing to select on
            self._serial.timeout = timeout_s
            first: bytes = self._serial.read(1)
            return first + self._serial.read(self._serial.in_waiting) if first else b""
        ready, _, _ = select.select([self._fileno], [], [], timeout_s)
        return bytes(self._serial.read(_MOST_AT_ONCE)) if ready else b""

    def _first_heard(self, data: bytes) -> bytes:
        deadline_s = self.now_s() + _REFUSAL_WITHIN_S
        while may_be_refusal(data) and (left_s := deadline_s - self.now_s()) > 0.0:
            try:
                data += self._read(left_s)
            except OSError:
                break  # the server closed: what came is all there is
        owner = owner_in(data)
        if owner is not None:
            raise busy(self.port, owner)
        self._heard = True
        return data

    def _check_open(self) -> None:
        if not self._serial.is_open:
            raise OSError(f"{self.port} was closed by this program")

    def _vanished(self, problem: OSError) -> ConnectionError:
        silent = "" if self._heard else " before a word was heard: it may be serving another host"
        return ConnectionError(f"{self.port}: {problem}{silent}")


def _opened(port: str, baud: int) -> Any:
    import serial

    try:
        return serial.serial_for_url(port, baudrate=baud, timeout=0, write_timeout=WRITE_WITHIN_S, exclusive=True)
    except (OSError, ValueError) as problem:
        raise failure(port, problem) from problem


def _fileno(opened: Any) -> int | None:
    try:
        return int(opened.fileno())
    except (AttributeError, io.UnsupportedOperation):
        return None


def _write_time_out() -> type[OSError]:
    import serial

    return serial.SerialTimeoutException


def _set_exclusive(fileno: int | None, *, wanted: bool) -> None:
    try:
        import fcntl
        import termios
    except ImportError:  # Windows opens every serial port for one program only
        return
    if fileno is not None:
        fcntl.ioctl(fileno, termios.TIOCEXCL if wanted else termios.TIOCNXCL)
