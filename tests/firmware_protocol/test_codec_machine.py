"""The reader against a line that does what it likes, step by step: frames in any pieces, flipped, lost, doubled.

The oracle is written from SPEC.md around two independent libraries, `cobs` and `fastcrc`, and sees the stream whole.
"""

import cobs.cobs
import fastcrc
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, initialize, invariant, rule
from test_messages import FIXED, blocks, messages_of, sender

from firmware_protocol.errors import PeerProtocolError
from firmware_protocol.frames import MOST_CONTENT, MOST_ENCODED, FrameReader, frame
from firmware_protocol.messages import Packet, Role, decode, encode

U16, U32 = st.integers(0, 2**16 - 1), st.integers(0, 2**32 - 1)
MESSAGES = st.one_of([messages_of(cls) for cls in FIXED] + [blocks()])
DAMAGED = None


def by_the_page(stream):
    """What a receiver of this stream must find: contents, and DAMAGED for each frame that it drops."""
    *pieces, rest = stream.split(b"\0")
    found = []
    for piece in pieces:
        if piece:
            found.append(unframed(piece))
    if len(rest) > MOST_ENCODED:
        found.append(DAMAGED)  # told at once: there is no waiting for its end
    return found


def unframed(piece):
    if len(piece) > MOST_ENCODED or 0xFF in codes_of(piece):
        return DAMAGED
    try:
        raw = cobs.cobs.decode(piece)
    except cobs.cobs.DecodeError:
        return DAMAGED
    content, crc = raw[:-2], int.from_bytes(raw[-2:], "big")
    return content if content and fastcrc.crc16.genibus(content) == crc else DAMAGED


def codes_of(piece):
    """The bytes of a piece that COBS takes for codes, as far as they lead."""
    at, codes = 0, []
    while at < len(piece):
        codes.append(piece[at])
        at += piece[at]
    return codes


class Line(RuleBasedStateMachine):
    """Bytes on their way to a reader; what has arrived is kept, for the oracle to look at as a whole."""

    frames = Bundle("frames")

    @initialize()
    def begin(self):
        self.reader = FrameReader()
        self.on_the_way = bytearray()
        self.arrived = bytearray()
        self.found = []

    @rule(target=frames, number=U16, stamp=U32, message=MESSAGES)
    def say(self, number, stamp, message):
        packet = Packet(number, stamp, message)
        data = frame(encode(sender(message), packet))
        self.on_the_way += data
        return data

    @rule(content=st.binary(min_size=1, max_size=MOST_CONTENT))
    def say_anything(self, content):
        self.on_the_way += frame(content)

    @rule(data=frames)
    def double(self, data):
        self.on_the_way += data

    @rule(data=st.binary(max_size=90))
    def rustle(self, data):
        self.on_the_way += data

    @rule(
        length=st.integers(MOST_ENCODED - 2, MOST_ENCODED + 4),
        byte=st.sampled_from([1, 2, 66, 255]),
        ends=st.booleans(),
    )
    def run_on(self, length, byte, ends):
        """Lengths about the longest that may be, sound by their codes or not, with or without an end."""
        self.on_the_way += bytes((byte,)) * length + b"\0" * ends

    @rule(content=st.binary(max_size=3))
    def say_in_short(self, content):
        """What is stuffed rightly, and too short to be anything."""
        self.on_the_way += cobs.cobs.encode(content) + b"\0"

    @rule(content=st.binary(min_size=MOST_CONTENT + 1, max_size=MOST_CONTENT + 2))
    def say_too_much(self, content):
        """A frame that is sound but for its length."""
        self.on_the_way += cobs.cobs.encode(content + fastcrc.crc16.genibus(content).to_bytes(2, "big")) + b"\0"

    @rule(bits=st.lists(st.integers(0, 8 * 400), max_size=4))
    def flip(self, bits):
        for bit in bits:
            if bit < 8 * len(self.on_the_way):
                self.on_the_way[bit // 8] ^= 1 << bit % 8

    @rule(at=st.integers(0, 400), many=st.integers(1, 80))
    def lose(self, at, many):
        del self.on_the_way[at : at + many]

    @rule(at=st.integers(0, 400), many=st.integers(1, 80))
    def tell_twice(self, at, many):
        self.on_the_way[at:at] = self.on_the_way[at : at + many]

    @rule(many=st.integers(1, 200))
    def arrive(self, many):
        piece = bytes(self.on_the_way[:many])
        del self.on_the_way[:many]
        self.arrived += piece
        self.found += self.reader.feed(piece)

    @rule()
    def arrive_byte_by_byte(self):
        for byte in self.on_the_way:
            self.found += self.reader.feed(bytes((byte,)))
        self.arrived += self.on_the_way
        self.on_the_way.clear()

    @rule(number=U16, message=MESSAGES)
    def a_sound_frame_behind_a_delimiter_is_found(self, number, message):
        self.arrive(len(self.on_the_way))
        role = sender(message)
        content = encode(role, Packet(number, 1, message))
        data = b"\0" + frame(content)
        self.arrived += data
        found = self.reader.feed(data)
        self.found += found
        assert found[-1] == content
        assert decode(Role(1 - role), found[-1]) == Packet(number, 1, message)

    @invariant()
    def it_finds_what_the_page_says(self):
        told = [DAMAGED if isinstance(each, PeerProtocolError) else each for each in getattr(self, "found", [])]
        assert told == by_the_page(bytes(getattr(self, "arrived", b"")))

    @invariant()
    def what_is_found_is_a_message_or_the_peers_error(self):
        for content in getattr(self, "found", [])[-1:]:
            for role in Role:
                if isinstance(content, bytes):
                    try:
                        packet = decode(role, content)
                    except PeerProtocolError:
                        continue
                    assert encode(Role(1 - role), packet) == content


TestLine = Line.TestCase
TestLine.settings = settings(max_examples=150, stateful_step_count=40)
