"""One tree of everything that can go wrong on the bench.

BenchError
├── PortError                 the port cannot be had, for another reason than those below
│   ├── PortBusyError         another program holds it (`owner`, where it can be known)
│   ├── PortDeniedError       this user may not open it
│   └── BoardNotFoundError    no port has the board that is looked for
├── LinkError                 the way to the board or the talk over it
│   ├── LinkBrokenError       the transport itself failed (closed)
│   │   └── UnpluggedError    nothing is there, or it vanished in mid-run
│   ├── NoAnswerError         a request was repeated and never answered
│   ├── BoardRestartedError   the boot identifier changed
│   └── AnswerMismatchError   a sound answer that makes no sense here
├── PositionLostError         the board's count and the record's cannot be brought together: the volume is uncertain
├── RigMemoryError            what the rig holds is not what the run needs (bench/memory.py)
├── RigMismatchError          the board is not the one that the rig file describes
│   └── WrongBoardError       it reports another identity
├── BoardRefusedError         the board understood and said no (`reason`)
├── BuretteError              a refill or a priming did not go as it must
│   ├── ValveError            the valve is not where it has to be
│   └── HomeError             the home switch tells of steps that were counted and not made
└── DoseError                 a dose that this side refuses to send, or whose story does not fit
"""

from firmware_protocol.messages import Reason
from titrator.bench.bounds import Bounds


class BenchError(Exception):
    """Base of the tree. The text says what was expected, what came, and what to do next."""


class PortError(BenchError):
    """The port cannot be used. Nothing was sent."""


class PortBusyError(PortError):
    """Another program holds the port. `owner` names it, or is None where that cannot be known."""

    def __init__(self, text: str, owner: str | None) -> None:
        super().__init__(text)
        self.owner = owner


class PortDeniedError(PortError):
    """The port is there, but this user may not open it."""


class BoardNotFoundError(PortError):
    """All ports were asked, and the board that is looked for answered on none of them."""


class LinkError(BenchError):
    """The board cannot be talked to as it should. A dose under way ends by itself at a position the board knows."""


class LinkBrokenError(LinkError):
    """The transport raised an error of its own."""


class UnpluggedError(LinkBrokenError):
    """Nothing is at the port, or what was there vanished in mid-run. A dose under way ends by the dead-man timer."""


class NoAnswerError(LinkError):
    """No answer after all attempts. Whether the request was carried out is not known; the same may be asked again."""


class BoardRestartedError(LinkError):
    """The board came up anew since the handshake: it forgot session, limits and its count of steps."""


class AnswerMismatchError(LinkError):
    """The answer bears the right number but is not the kind that the request gets."""


class PositionLostError(BenchError):
    """Where the plunger is cannot be known any more. `bounds` hold what was delivered; nothing may move."""

    def __init__(self, text: str, bounds: Bounds) -> None:
        super().__init__(text)
        self.bounds = bounds


class RigMismatchError(BenchError):
    """What the board says of itself contradicts the rig file."""


class WrongBoardError(RigMismatchError):
    """The board at the port reports another identity than the rig file names."""


class BoardRefusedError(BenchError):
    """The board refused a request. `reason` is the protocol's, `detail` the number that goes with it."""

    def __init__(self, text: str, reason: Reason, detail: int) -> None:
        super().__init__(text)
        self.reason = reason
        self.detail = detail


class DoseError(BenchError):
    """Refused on this side, before anything was sent: backwards, beyond the travel, or out of order."""


class BuretteError(BenchError):
    """A refill or a priming came to rest elsewhere than it must. Nothing moves any more until somebody has looked."""


class ValveError(BuretteError):
    """The valve was not seen where it was asked to be. Nothing is moved through it."""


class HomeError(BuretteError):
    """The home switch closed at another count than it must: steps were counted and not made, or made and not counted.

    What was delivered since the last refill is uncertain by as much: by up to `fewer` steps less than was counted, or
    up to `more` steps more.
    """

    def __init__(self, text: str, *, fewer: int, more: int) -> None:
        super().__init__(text)
        self.fewer = fewer
        self.more = more
