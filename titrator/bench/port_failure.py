"""Why a port could not be opened: absent, busy and denied are three different things, each with its own next step."""

import errno
import os
import socket
import stat
from pathlib import Path

from titrator.bench.errors import BenchError, PortBusyError, PortDeniedError, PortError, UnpluggedError
from titrator.files.open_files import lockers, openers, process_name

_ABSENT = frozenset((errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO, errno.ENOTDIR))
_BUSY = frozenset((errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK))
_DENIED = frozenset((errno.EACCES, errno.EPERM))


def failure(port: str, problem: Exception) -> BenchError:
    """The error for a port that did not open: UnpluggedError, PortBusyError, PortDeniedError or a plain PortError."""
    if "://" in port:
        return _unreachable(port, problem)
    number = getattr(problem, "errno", None)
    if number in _BUSY:
        return busy(port, owner_of(port))
    if number in _DENIED:
        return PortDeniedError(_denied(port))
    if number in _ABSENT:
        return UnpluggedError(
            f"{port}: expected a board there, got {_reason(number)}. {_ports_here()}. "
            f"Next: plug the board in and switch it on. The name of a port may change whenever it is plugged in: with "
            f"`port: any` in the rig file the board is found by the identity that it reports"
        )
    return PortError(
        f"{port}: expected a serial port, got: {problem}. {_ports_here()}. Next: name one of "
        f" these in the rig file, and a speed that the port can do"
    )


def busy(port: str, owner: str | None) -> PortBusyError:
    """The error for a port that another program holds."""
    held = f"is held by {owner}" if owner else "is held by another program, whose name cannot be known from here"
    return PortBusyError(
        f"{port} {held}; a board has one host at a time. Next: wait until that program is done, or end it, then try "
        f"again",
        owner,
    )


def owner_of(device: str) -> str | None:
    """The programs that hold `device`: who locked it; without a lock, everybody who has it open. None if unknown."""
    pids = lockers(device) or openers(os.path.realpath(device))
    return " and ".join(process_name(pid) for pid in pids) or None


def listed_ports() -> list[str]:
    """The serial ports that the operating system lists, sorted."""
    from serial.tools.list_ports import comports

    return sorted(port.device for port in comports())


def _ports_here() -> str:
    return f"Ports here now: {', '.join(listed_ports()) or 'none'}"


def _reason(number: int | None) -> str:
    return os.strerror(number).lower() if number is not None else "nothing"


def _unreachable(url: str, problem: Exception) -> BenchError:
    """pyserial keeps the reason only as the context of its own error."""
    reason = problem.__context__
    if isinstance(reason, PermissionError):
        return PortDeniedError(
            f"{url}: the operating system forbids this connection ({reason}). Next: check firewall and user"
        )
    if isinstance(reason, OSError):
        why = {
            ConnectionRefusedError: "nobody listens there",
            TimeoutError: "nobody answers there",
            socket.gaierror: "no computer of this name is known",
        }.get(type(reason), str(reason))
        return UnpluggedError(
            f"{url}: expected a board's server there, got: {why}. Next: start it (`titrator rig serve` for the "
            f"simulated board), or correct the address in the rig file"
        )
    return PortError(
        f"{url}: expected an address such as socket://127.0.0.1:4717, a computer and a port of at most 65535, got "
        f"another text. Next: correct it"
    )


def _denied(port: str) -> str:
    told = f"{port}: this user may not open it"
    try:
        info = Path(port).stat()
    except OSError:
        return f"{told}. Next: ask whoever looks after this computer for the right to read and write it"
    group = _group_name(info.st_gid)
    if stat.S_IMODE(info.st_mode) & 0o060 != 0o060 or info.st_gid == 0 or group is None:
        return (
            f"{told}: only its owner may ({stat.filemode(info.st_mode)}). Next: ask whoever looks after this computer "
            f"to give it to a group (on most systems `dialout` or `uucp`) and you to that group"
        )
    return (
        f"{told}, but the group {group!r} may. Next: join it (`sudo usermod -aG {group} $USER`), log out and in again; "
        f"`id` then lists it"
    )


def _group_name(gid: int) -> str | None:
    try:
        import grp

        return grp.getgrgid(gid).gr_name
    except (ImportError, KeyError):
        return None
