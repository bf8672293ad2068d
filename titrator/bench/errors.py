"""One tree of everything that can go wrong on the bench.

BenchError
├── LinkError                 the way to the board or the talk over it
│   ├── LinkBrokenError       the transport itself failed (unplugged, closed)
│   ├── NoAnswerError         a request was repeated and never answered
│   ├── BoardRestartedError   the boot identifier changed
│   └── AnswerMismatchError   a sound answer that makes no sense here
├── RigMismatchError          the board is not the one that the rig file describes
├── BoardRefusedError         the board understood and said no (`reason`)
└── DoseError                 a dose that this side refuses to send, or whose story does not fit
"""

from firmware_protocol.messages import Reason


class BenchError(Exception):
    """Base of the tree. The text says what was expected, what came, and what to do next."""


class LinkError(BenchError):
    """The board cannot be talked to as it should. A dose under way ends by itself at a position the board knows."""


class LinkBrokenError(LinkError):
    """The transport raised an error of its own."""


class NoAnswerError(LinkError):
    """No answer after all attempts. Whether the request was carried out is not known; the same may be asked again."""


class BoardRestartedError(LinkError):
    """The board came up anew since the handshake: it forgot session, limits and its count of steps."""


class AnswerMismatchError(LinkError):
    """The answer bears the right number but is not the kind that the request gets."""


class RigMismatchError(BenchError):
    """What the board says of itself contradicts the rig file."""


class BoardRefusedError(BenchError):
    """The board refused a request. `reason` is the protocol's, `detail` the number that goes with it."""

    def __init__(self, text: str, reason: Reason, detail: int) -> None:
        super().__init__(text)
        self.reason = reason
        self.detail = detail


class DoseError(BenchError):
    """Refused on this side, before anything was sent: backwards, beyond the travel, or out of order."""
