"""Opening the port of a rig's board, which is known by the identity that it reports and not by the port's name.

rig = load_rig("bench.yaml")              # kind: serial
bench = Bench(open_port(rig), rig)
bench.connect()
"""

import math
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Final, NamedTuple

from firmware_protocol.messages import AskStatus, Status, Welcome
from titrator.bench.board_section import ANY_PORT, BoardSection, identity_text
from titrator.bench.errors import (
    BenchError,
    BoardNotFoundError,
    NoAnswerError,
    PortBusyError,
    PortDeniedError,
    RigMismatchError,
    UnpluggedError,
    WrongBoardError,
)
from titrator.bench.link import Link
from titrator.bench.port_failure import listed_ports
from titrator.bench.rig import LinkSection, Rig
from titrator.bench.serial_transport import SerialTransport
from titrator.bench.transport import Transport

SERVED_PORT: Final = 4717
"""TCP port on which a simulated board is served unless another is asked for. Chosen freely."""
SERVED_ADDRESS: Final = f"socket://127.0.0.1:{SERVED_PORT}"


class Found(NamedTuple):
    """A board that answered: where, and what it says of itself."""

    port: str
    boot: int
    welcome: Welcome


def open_port(rig: Rig, *, ports: Callable[[], Iterable[str]] | None = None) -> SerialTransport:
    """The way to the board of a rig of kind `serial`, once that board has answered and is the right one.

    `ports` lists where to look when the rig file says `any` (default: `known_ports`). UnpluggedError, PortBusyError,
    PortDeniedError, BoardNotFoundError, NoAnswerError, WrongBoardError; RigMismatchError for a rig of another kind.
    """
    return open_board(rig, ports=ports)[0]


def open_board(rig: Rig, *, ports: Callable[[], Iterable[str]] | None = None) -> tuple[SerialTransport, Found]:
    """As `open_port`, with what the board said of itself."""
    board = rig.board
    if board is None:
        raise RigMismatchError(
            f"rig '{rig.name}' should be of kind serial, with the identity of its board, got kind {rig.kind}: there is "
            f"no port to open. Next: name the rig file of the real bench"
        )
    if board.port == ANY_PORT:
        return _search(board, rig.link, (ports or known_ports)())
    transport, found = greet(board.port, board.baud, rig.link)
    if found.welcome.identity != board.identity:
        transport.close()
        raise WrongBoardError(
            f"{board.port}: expected board {board.identity_text} of rig '{rig.name}', got board "
            f"{identity_text(found.welcome.identity)}. Next: plug in the right board, correct the port (`titrator rig "
            f"list` shows all boards) or write `port: any`, or name the rig file that belongs to this board"
        )
    return transport, found


def greet(port: str, baud: int, link: LinkSection) -> tuple[SerialTransport, Found]:
    """Open `port` and ask who is there, without changing anything on the board. Errors as `open_port`.

    Opening a port restarts some boards, so the question is repeated for `link.starts_within_s`.
    """
    transport = SerialTransport(port, baud)
    try:
        attempts = math.ceil(link.starts_within_s / link.answer_within_s)
        asking = Link(transport, answer_within_s=link.answer_within_s, attempts=attempts)
        try:
            welcome = asking.hello(0)
        except NoAnswerError as error:
            raise NoAnswerError(f"{port}: {error}") from error
    except BaseException:
        transport.close()
        raise
    assert asking.boot is not None
    return transport, Found(port, asking.boot, welcome)


class PortWay:
    """The way back to the board of a rig of kind `serial`, whatever its port is called by then."""

    def __init__(
        self,
        rig: Rig,
        pause: Callable[[float], None] = time.sleep,
        open_transport: Callable[[Rig], Transport] = open_port,
    ) -> None:
        self._rig = rig
        self._open = open_transport
        self._pause = pause

    def open(self) -> Transport:
        """As `open_port`."""
        return self._open(self._rig)

    def pause(self, duration_s: float) -> None:
        """Wait, in real time."""
        self._pause(duration_s)


def known_ports() -> list[str]:
    """Where a board may be: the serial ports that the operating system lists, and a simulated board's usual address."""
    return [*listed_ports(), SERVED_ADDRESS]


def ask_status(transport: SerialTransport, link: LinkSection) -> Status:
    """Where the board that was greeted stands now. Errors of the link."""
    asking = Link(transport, answer_within_s=link.answer_within_s, attempts=link.attempts)
    asking.hello(0)
    return asking.ask(AskStatus(), Status)


def survey(ports: Iterable[str], baud: int, link: LinkSection) -> Iterator[tuple[str, Found | BenchError]]:
    """Ask one port after the other who is there; each is closed again before its answer, or what hindered, is told."""
    for port in ports:
        try:
            transport, found = greet(port, baud, link)
        except BenchError as error:
            yield port, error
        else:
            transport.close()
            yield port, found


def in_few_words(error: BenchError) -> str:
    """Why there is no board at a port, for a list; the error itself says more."""
    match error:
        case PortBusyError():
            return f"held by {error.owner or 'another program'}"
        case PortDeniedError():
            return "this user may not open it"
        case UnpluggedError():
            return "nothing there"
        case NoAnswerError():
            return "no answer"
        case _:
            return "no board of ours"


def _search(board: BoardSection, link: LinkSection, ports: Iterable[str]) -> tuple[SerialTransport, Found]:
    others: list[str] = []
    for port in ports:
        try:
            transport, found = greet(port, board.baud, link)
        except BenchError as error:
            others.append(f"{port}: {in_few_words(error)}")
            continue
        if found.welcome.identity == board.identity:
            return transport, found
        transport.close()
        others.append(f"{port}: board {identity_text(found.welcome.identity)}")
    raise BoardNotFoundError(
        f"expected board {board.identity_text} on one of this computer's ports, got none. Asked: {'; '.join(others)}. "
        f"Next: plug it in and switch it on; if it is there, name its port in the rig file and try again: that "
        f"tells in full what hinders"
    )
