"""A served board's end of a TCP port: one host at a time; any other is told who holds the board, and let go."""

import select
import socket
import time
from dataclasses import dataclass
from pathlib import Path

from firmware_protocol.served import refusal_line
from titrator.files.open_files import openers, process_name

_MOST_AT_ONCE = 4096
_REFUSED_FOR_S = 5.0
"""How long a refused host may take to speak and to go. It is told only when it speaks: before that, its own
cleaning of old bytes may throw the words away."""
_MOST_REFUSED = 16


@dataclass(slots=True)
class _Refused:
    connection: socket.socket
    until_s: float
    told: bool = False


class TcpLine:
    """Listens on `host`:`port` (0: any free one). Bytes that the present host does not take are lost."""

    def __init__(self, port: int = 0, host: str = "127.0.0.1") -> None:
        """OSError when the port is taken."""
        self._listener = socket.create_server((host, port))
        self._listener.setblocking(False)
        self._port = self._listener.getsockname()[1]
        self.address = f"socket://{host}:{self._port}"
        self._host: socket.socket | None = None
        self._owner = ""
        self._refused: list[_Refused] = []
        self.departures = 0

    def wait(self, timeout_s: float) -> bytes:
        """Bytes from the host, as soon as any came; empty after `timeout_s`."""
        watched = [self._listener, *([self._host] if self._host else []), *[each.connection for each in self._refused]]
        ready, _, _ = select.select(watched, [], [], timeout_s)
        data = b""
        if self._host in ready:
            data = self._receive(self._host)
        if self._listener in ready:
            self._accept()
        self._refuse(ready)
        return data

    def send(self, data: bytes) -> None:
        """Bytes to the host; lost where there is none, or where it does not read."""
        if self._host is not None:
            try:
                self._host.send(data)
            except BlockingIOError:
                pass
            except OSError:
                self._depart()

    def close(self) -> None:
        """Let everybody go and give the port free."""
        for connection in (self._listener, self._host, *[each.connection for each in self._refused]):
            if connection is not None:
                connection.close()

    def _receive(self, host: socket.socket | None) -> bytes:
        assert host is not None
        try:
            data = host.recv(_MOST_AT_ONCE)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._depart()
        return data

    def _depart(self) -> None:
        assert self._host is not None
        self._host.close()
        self._host = None
        self.departures += 1

    def _accept(self) -> None:
        try:
            connection, peer = self._listener.accept()
        except OSError:
            return  # gone before it was let in
        connection.setblocking(False)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if self._host is None:
            since = time.strftime("%H:%M:%S")
            self._host, self._owner = connection, f"{_named(peer[:2], self._port)}, since {since}"
        elif len(self._refused) < _MOST_REFUSED:
            self._refused.append(_Refused(connection, time.monotonic() + _REFUSED_FOR_S))
        else:
            connection.close()

    def _refuse(self, ready: list[socket.socket]) -> None:
        now_s = time.monotonic()
        for each in list(self._refused):
            if each.connection in ready and self._is_done(each):
                each.until_s = now_s
            if now_s >= each.until_s:
                each.connection.close()
                self._refused.remove(each)

    def _is_done(self, each: _Refused) -> bool:
        """Answer the first words with the owner's name; afterwards only wait until the other end goes."""
        try:
            spoke = bool(each.connection.recv(_MOST_AT_ONCE))
            if spoke and not each.told:
                each.told = True
                each.connection.send(refusal_line(self._owner))
                each.connection.shutdown(socket.SHUT_WR)
        except OSError:
            return True
        return not spoke


def _named(peer: tuple[str, int], port: int) -> str:
    """The program behind a connection from this computer, by Linux's /proc; else only its address."""
    inode = _inode(peer[1], port)
    pids = openers(f"socket:[{inode}]") if inode else []
    return " and ".join(process_name(pid) for pid in pids) or f"the host at {peer[0]}:{peer[1]}"


def _inode(local_port: int, remote_port: int) -> str | None:
    """Of the peer's socket, from /proc/net/tcp (proc_net_tcp: addresses in hexadecimal, the tenth field the inode)."""
    try:
        lines = Path("/proc/net/tcp").read_text(encoding="ascii").splitlines()[1:]
    except OSError:
        return None
    for line in lines:
        fields = line.split()
        if int(fields[1].rpartition(":")[2], 16) == local_port and int(fields[2].rpartition(":")[2], 16) == remote_port:
            return fields[9]
    return None
