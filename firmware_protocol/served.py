"""What a server of a board says to a second host: one line of text in place of frames.

A board on a serial line has one host because the port is exclusive. A server on a network takes connections from
everywhere, so it lets one host in and answers the first bytes of any other with `busy: OWNER` and a line's end, then
closes. The letter b is a COBS code of 98, longer than any frame, so no frame can begin like this; and to a host
that does not know the line it is a damaged frame, followed by the end of the connection.
"""

MARK = b"busy: "
_END = b"\n"
LONGEST = 400
"""Bytes of the whole line; what does not end by then is no refusal."""


def refusal_line(owner: str) -> bytes:
    """The line that names the owner: what it is and where, in plain words."""
    told = " ".join(owner.split()).encode()[: LONGEST - len(MARK) - len(_END)]
    return MARK + told + _END


def may_be_refusal(data: bytes) -> bool:
    """Whether the first bytes that came may be such a line, or its beginning."""
    return len(data) < LONGEST and (data.startswith(MARK) or MARK.startswith(data)) and _END not in data


def owner_in(data: bytes) -> str | None:
    """The owner that the first bytes name, None when they are no refusal. A line without its end is taken as it is."""
    if not data.startswith(MARK):
        return None
    line, _, _ = data[len(MARK) :].partition(_END)
    return line.decode(errors="replace").strip() or "an unnamed host"
