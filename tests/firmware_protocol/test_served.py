"""The line with which a server of a board refuses a second host."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.frames import DELIMITER, MOST_CONTENT, FrameReader, frame
from firmware_protocol.served import LONGEST, MARK, may_be_refusal, owner_in, refusal_line


@given(st.text(min_size=1))
def test_the_owner_arrives_on_one_line_and_never_too_long(owner):
    line = refusal_line(owner)
    assert line.count(b"\n") == 1
    assert len(line) <= LONGEST
    told = owner_in(line)
    assert told is not None
    spoken = " ".join(owner.split())
    assert told in {spoken, "an unnamed host"} or len(line) == LONGEST
    for cut in range(1, len(line)):
        assert may_be_refusal(line[:cut])
    assert not may_be_refusal(line)


@given(st.binary(min_size=1, max_size=MOST_CONTENT))
def test_no_frame_is_ever_taken_for_a_refusal(content):
    for data in (frame(content), DELIMITER + frame(content)):
        assert owner_in(data) is None
        assert not may_be_refusal(data)


def test_a_host_that_does_not_know_the_line_sees_one_damaged_frame_at_most():
    (found,) = FrameReader().feed(refusal_line("process 4711 (titrator run)") + b"\0")
    assert isinstance(found, Exception)


@pytest.mark.parametrize("data", [b"", b"busy", b"Busy: somebody\n", b"\0busy: somebody\n"])
def test_other_words_name_nobody(data):
    assert owner_in(data) is None


def test_a_line_that_was_cut_still_names_what_it_can():
    assert owner_in(MARK + b"process 4711 (titr") == "process 4711 (titr"
