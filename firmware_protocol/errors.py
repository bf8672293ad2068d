"""The two errors of the wire, told apart by who is to blame."""


class ProtocolError(Exception):
    """Base of both; catch it only where the blame does not matter."""


class OwnProtocolError(ProtocolError):
    """This side broke the protocol: a value that does not fit its field, a message that the other role sends.

    Nothing was sent. It is a defect of the calling program, not of the cable.
    """


class PeerProtocolError(ProtocolError):
    """What arrived breaks the protocol: damaged on the way, cut, too long, or of a kind this role does not take.

    `data` holds the bytes as they came. `kind` and `number` are those of the message when the frame itself was
    sound (its CRC agreed), else None: nothing in a damaged frame may be believed.
    """

    def __init__(self, what: str, data: bytes, *, kind: int | None = None, number: int | None = None) -> None:
        super().__init__(f"{what}; bytes: {show_bytes(data)}")
        self.data = data
        self.kind = kind
        self.number = number


def show_bytes(data: bytes, most: int = 80) -> str:
    """Bytes as pairs of hex digits, at most `most` bytes of them, with the count where it was cut."""
    if not data:
        return "none"
    shown = data[:most].hex(" ")
    return shown if len(data) <= most else f"{shown} … ({len(data)} in all)"
