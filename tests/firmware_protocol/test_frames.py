"""Framing, against two independent libraries: `cobs` (COBS) and `fastcrc` (CRC-16/GENIBUS)."""

import cobs.cobs
import fastcrc
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.errors import OwnProtocolError, PeerProtocolError
from firmware_protocol.frames import (
    MOST_CONTENT,
    MOST_ENCODED,
    MOST_STUFFED,
    FrameReader,
    frame,
    stuff,
    unframe,
    unstuff,
)

CONTENTS = st.binary(min_size=1, max_size=MOST_CONTENT)
ZEROISH = st.lists(st.sampled_from([0, 0, 1, 2, 255]), min_size=1, max_size=MOST_CONTENT).map(bytes)


def whole(reader, data):
    return reader.feed(data)


def byte_by_byte(reader, data):
    return [found for byte in data for found in reader.feed(bytes((byte,)))]


@pytest.fixture(params=[whole, byte_by_byte])
def feed(request):
    return request.param


def told(found):
    return [str(item) if isinstance(item, PeerProtocolError) else item for item in found]


@given(st.binary(max_size=MOST_STUFFED))
def test_stuffing_agrees_with_the_cobs_package(raw):
    assert stuff(raw) == cobs.cobs.encode(raw)
    assert unstuff(stuff(raw)) == raw


@given(CONTENTS | ZEROISH)
def test_a_frame_is_what_the_two_libraries_make_of_it(content):
    crc = fastcrc.crc16.genibus(content).to_bytes(2, "big")
    assert frame(content) == cobs.cobs.encode(content + crc) + b"\0"


def test_the_crc_gives_its_published_check_value():
    # Check value 0xD64E for "123456789": catalogue of parametrised CRC algorithms, entry CRC-16/GENIBUS.
    raw = cobs.cobs.decode(frame(b"123456789")[:-1])
    assert raw == b"123456789" + b"\xd6\x4e"


@given(st.binary(max_size=MOST_STUFFED))
def test_unstuffing_agrees_with_the_cobs_package_on_rubbish(data):
    try:
        expected = cobs.cobs.decode(data)
    except cobs.cobs.DecodeError:
        with pytest.raises(PeerProtocolError):
            unstuff(data)
        return
    if not data or 0xFF in data:  # an empty frame holds nothing; the code FF is not needed below 254 bytes
        return
    assert unstuff(data) == expected


def test_a_frame_too_long_or_empty_is_our_own_fault():
    with pytest.raises(OwnProtocolError, match="1 to 62 bytes, got 63"):
        frame(bytes(MOST_CONTENT + 1))
    with pytest.raises(OwnProtocolError, match="got 0"):
        frame(b"")
    with pytest.raises(OwnProtocolError, match="at most 253"):
        stuff(bytes(MOST_STUFFED + 1))


@given(contents=st.lists(CONTENTS | ZEROISH, max_size=6))
def test_the_reader_finds_all_frames_whole_or_a_byte_at_a_time(contents):
    stream = b"".join(frame(content) for content in contents)
    assert whole(FrameReader(), stream) == contents
    assert byte_by_byte(FrameReader(), stream) == contents


@given(rubbish=st.binary(max_size=300), content=CONTENTS)
def test_a_frame_behind_rubbish_and_a_delimiter_is_found(rubbish, content):
    found = whole(FrameReader(), rubbish + b"\0" + frame(content))
    assert found[-1] == content
    assert told(found) == told(byte_by_byte(FrameReader(), rubbish + b"\0" + frame(content)))


@given(pieces=st.lists(st.binary(max_size=90), max_size=12))
def test_what_is_found_does_not_depend_on_how_the_stream_was_cut(pieces):
    reader = FrameReader()
    in_pieces = [found for piece in pieces for found in reader.feed(piece)]
    assert told(in_pieces) == told(whole(FrameReader(), b"".join(pieces)))
    assert told(in_pieces) == told(byte_by_byte(FrameReader(), b"".join(pieces)))


def test_an_endless_run_is_given_up_once_and_kept_small(feed):
    reader = FrameReader()
    found = feed(reader, b"\x55" * 1000)
    assert [str(item)[:31] for item in found] == ["no delimiter within 65 bytes; b"]
    assert len(reader._kept) <= MOST_ENCODED
    assert feed(reader, b"\x55" * 10 + b"\0" + frame(b"next")) == [b"next"]


def test_empty_frames_are_passed_over(feed):
    assert feed(FrameReader(), b"\0\0\0" + frame(b"a") + b"\0" + frame(b"b")) == [b"a", b"b"]


def test_a_damaged_frame_does_not_take_the_next_one_with_it(feed):
    damaged = bytearray(frame(b"damaged"))
    damaged[3] ^= 1
    found = feed(FrameReader(), bytes(damaged) + frame(b"sound"))
    assert isinstance(found[0], PeerProtocolError)
    assert found[1:] == [b"sound"]


def test_the_error_of_a_damaged_frame_shows_both_crcs_and_the_bytes():
    content = b"dose"
    right = fastcrc.crc16.genibus(content)
    encoded = cobs.cobs.encode(content + (right ^ 0x0100).to_bytes(2, "big"))
    with pytest.raises(PeerProtocolError) as caught:
        unframe(encoded)
    assert f"its CRC says {right ^ 0x0100:#06x}, its bytes give {right:#06x}" in str(caught.value)
    assert encoded.hex(" ") in str(caught.value)
    assert caught.value.data == encoded
    assert caught.value.kind is None


@given(content=CONTENTS, where=st.integers(0, 8 * MOST_CONTENT), length=st.integers(1, 16), data=st.data())
def test_every_burst_of_up_to_16_bits_in_a_content_is_found(content, where, length, data):
    # A property of any CRC of 16 bits (W. W. Peterson, D. T. Brown, Proc. IRE 49 (1961) 228).
    raw = content + fastcrc.crc16.genibus(content).to_bytes(2, "big")
    bits = 8 * len(raw)
    length = min(length, bits)
    inner = data.draw(st.integers(0, (1 << length) - 1)) | 1 | 1 << (length - 1)
    wrong = int.from_bytes(raw, "big") ^ inner << where % (bits - length + 1)
    with pytest.raises(PeerProtocolError):
        unframe(cobs.cobs.encode(wrong.to_bytes(len(raw), "big")))
