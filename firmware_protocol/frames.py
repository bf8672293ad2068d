"""Framing: COBS byte stuffing, a CRC, and a bounded reader that finds frames in whatever arrives.

A frame on the wire is `COBS(content + CRC) + 00`. COBS: S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing",
IEEE/ACM Transactions on Networking 7 (1999) 159. The CRC is CRC-16/CCITT-FALSE sent complemented (catalogued as
CRC-16/GENIBUS): polynomial 0x1021, start 0xFFFF, not reflected, final XOR 0xFFFF, most significant byte first; SPEC.md
says why this one.
"""

from binascii import crc_hqx

from firmware_protocol.errors import OwnProtocolError, PeerProtocolError

DELIMITER = b"\0"
CRC_START = 0xFFFF
CRC_SIZE = 2
CRC_COMPLEMENT = 0xFFFF
CRC_RESIDUE = 0x1D0F
"""What the CRC, not complemented, of content and sent CRC together gives when they agree. Were it 0, as without the
complement, zeros added behind a frame would go unnoticed: one flipped bit in the delimiter is enough for that."""
MOST_CONTENT = 62
"""Longest content of a frame in bytes; with its CRC 64, so that a board needs two buffers of 65 bytes."""
MOST_ENCODED = MOST_CONTENT + CRC_SIZE + 1
"""Longest frame on the wire in bytes, without its delimiter (COBS adds one byte to anything below 254)."""
MOST_STUFFED = 253
"""Longest input of `stuff`: below it COBS never needs its 0xFF code, which small firmware can then leave out."""

_CODES = tuple(bytes((length + 1,)) for length in range(MOST_STUFFED + 1))


def stuff(raw: bytes) -> bytes:
    """COBS: the same bytes without any zero, one byte longer. At most `MOST_STUFFED` bytes, else OwnProtocolError."""
    if len(raw) > MOST_STUFFED:
        raise OwnProtocolError(f"at most {MOST_STUFFED} bytes can be stuffed in one piece, got {len(raw)}")
    codes = _CODES
    return b"".join([codes[len(run)] + run for run in raw.split(DELIMITER)])


def unstuff(stuffed: bytes) -> bytes:
    """Undo `stuff`. PeerProtocolError when the codes do not add up, or a zero or the code 0xFF stands inside."""
    end = len(stuffed)
    raw = bytearray(stuffed)
    at = 0
    while at < end:
        code = stuffed[at]
        following = at + code
        if not 0 < code < 0xFF or following > end:
            raise PeerProtocolError(
                f"frame damaged: the COBS code {code:#04x} at byte {at} does not fit into {end} bytes", stuffed
            )
        raw[at] = 0  # what the code stands for; of the first one nothing
        at = following
    if not stuffed or DELIMITER in stuffed:
        raise PeerProtocolError("frame damaged: empty, or a zero inside", stuffed)
    return bytes(raw[1:])


def _crc(content: bytes) -> int:
    return crc_hqx(content, CRC_START) ^ CRC_COMPLEMENT


def frame(content: bytes) -> bytes:
    """The bytes to send for one message: content (1 to `MOST_CONTENT` bytes), CRC, stuffed, delimiter behind."""
    if not 0 < len(content) <= MOST_CONTENT:
        raise OwnProtocolError(f"the content of a frame is 1 to {MOST_CONTENT} bytes, got {len(content)}")
    return stuff(content + _crc(content).to_bytes(CRC_SIZE, "big")) + DELIMITER


def unframe(encoded: bytes) -> bytes:
    """Content of one frame, given without its delimiter. PeerProtocolError, with both CRCs, when it is damaged."""
    raw = unstuff(encoded)
    if len(raw) <= CRC_SIZE:
        raise PeerProtocolError(f"frame cut short: {len(raw)} bytes hold no content", encoded)
    if crc_hqx(raw, CRC_START) != CRC_RESIDUE:
        content, came = raw[:-CRC_SIZE], int.from_bytes(raw[-CRC_SIZE:], "big")
        computed = _crc(content)
        raise PeerProtocolError(f"frame damaged: its CRC says {came:#06x}, its bytes give {computed:#06x}", encoded)
    return raw[:-CRC_SIZE]


class FrameReader:
    """Finds frames in a stream of bytes that comes in pieces of any size, with rubbish in between.

    Keeps at most `MOST_ENCODED` bytes: a longer run without a delimiter is given up as one damaged frame and the
    rest of it is skipped up to the next delimiter.
    """

    def __init__(self) -> None:
        self._kept = b""
        self._skipping = False

    def feed(self, data: bytes) -> list[bytes | PeerProtocolError]:
        """Contents of the frames that `data` completes, in order; a damaged one appears as the error it is.

        Errors are returned, not raised, so that a sound frame behind a damaged one in the same bytes is not lost.
        """
        pieces = (self._kept + data).split(DELIMITER)
        rest = pieces.pop()
        found: list[bytes | PeerProtocolError] = []
        for piece in pieces:
            if self._skipping:
                self._skipping = False
            elif len(piece) > MOST_ENCODED:
                found.append(_too_long(piece))
            elif piece:
                try:
                    found.append(unframe(piece))
                except PeerProtocolError as damaged:
                    found.append(damaged)
        if len(rest) > MOST_ENCODED and not self._skipping:
            found.append(_too_long(rest))
            self._skipping = True
        self._kept = b"" if self._skipping else rest
        return found


def _too_long(data: bytes) -> PeerProtocolError:
    # How much of an endless run is seen at once depends on how it was cut, so the error shows only what never does.
    return PeerProtocolError(f"no delimiter within {MOST_ENCODED} bytes", data[: MOST_ENCODED + 1])
