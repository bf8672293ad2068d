"""The journal: append-only, chained, readable after a torn write (our own format: no outside source)."""

import hashlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from titrator.record.journal import FIRST_PREV, Journal, JournalError
from titrator.record.journal_reader import JournalDamagedError, read_journal


def write_some(path, *, sync=False):
    journal = Journal(path, sync=sync)
    burette = {"random_error_mL": 0.001, "calibration_half_width": 0.002}
    run = {"name": "Größe", "seed": 1, "simulated": True, "method_sha256": "0" * 64, "burette": burette}
    journal.write("run", 0.0, run, durable=True)
    journal.write_readings(0, [100, 200, 300], [269_100, 269_000, -5], 0)
    journal.write("state", 0.3, {"state": "initial", "why": "reading"})
    journal.write("end", 0.4, {"state": "stopped", "why": "told to", "volume_mL": 0.0}, durable=True)
    journal.close()


def test_lines_are_numbered_and_chained_by_the_sha256_of_the_line_before(tmp_path):
    path = tmp_path / "journal.jsonl"
    write_some(path)
    raw = path.read_bytes().split(b"\n")
    assert raw.pop() == b""
    prev = FIRST_PREV
    for n, line in enumerate(raw):
        content = json.loads(line)
        assert (content["n"], content["prev"]) == (n, prev)
        prev = hashlib.sha256(line).hexdigest()


def test_what_was_written_is_read_back(tmp_path):
    path = tmp_path / "journal.jsonl"
    write_some(path, sync=True)
    contents = read_journal(path)
    assert [line["kind"] for line in contents.lines] == ["run", "readings", "state", "end"]
    assert contents.torn_tail == b""
    (readings,) = contents.of_kind("readings")
    assert readings["uV"] == [269_100, 269_000, -5]
    assert readings["times_ms"] == [100, 200, 300]
    assert contents.lines[0]["name"] == "Größe"


def test_the_journal_is_readable_when_cut_at_every_byte(tmp_path):
    path = tmp_path / "journal.jsonl"
    write_some(path)
    whole = path.read_bytes()
    ends = [index + 1 for index, byte in enumerate(whole) if byte == 10]
    for cut in range(len(whole) + 1):
        path.write_bytes(whole[:cut])
        contents = read_journal(path)
        complete = sum(end <= cut for end in ends)
        assert len(contents.lines) == complete
        assert contents.torn_tail == whole[ends[complete - 1] if complete else 0 : cut]


@given(position=st.integers(0, 10_000), value=st.integers(0, 255))
def test_a_changed_byte_is_found_out_unless_it_lies_in_the_last_line(tmp_path_factory, position, value):
    path = tmp_path_factory.mktemp("journal") / "journal.jsonl"
    write_some(path)
    data = bytearray(path.read_bytes())
    last_line = data.rindex(b"\n", 0, len(data) - 1) + 1
    position %= last_line - 1  # before the newline that ends the last line but one
    if data[position] == value:
        value ^= 1
    data[position] = value
    path.write_bytes(bytes(data))
    with pytest.raises(JournalDamagedError, match=r"journal\.jsonl:\d+: expected line"):
        read_journal(path)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (
            b'{"kind":"state","t_ms":0',
            'expected line 1 of the journal as JSON with its kind and time, got `{"kind":"state"',
        ),
        (b"\x00\xff\x1b[31m" + 80 * b"x", "got `·\N{REPLACEMENT CHARACTER}·[31mxxx"),
        (b'{"n":7,"kind":"state","t_ms":0,"prev":""}', "expected line 1 of the journal, got a line with the number 7"),
        (b'{"n":1,"kind":"state","t_ms":0,"prev":""}', "got another one in `prev`"),
    ],
)
def test_a_line_that_does_not_follow_is_told_in_words_on_one_line(tmp_path, line, told):
    path = tmp_path / "journal.jsonl"
    write_some(path)
    lines = path.read_bytes().split(b"\n")
    path.write_bytes(b"\n".join([lines[0], line, *lines[2:]]))
    with pytest.raises(JournalDamagedError) as damaged:
        read_journal(path)
    said = str(damaged.value)
    assert told in said
    assert said.isprintable()
    assert "b'" not in said


def test_a_journal_is_never_overwritten(tmp_path):
    path = tmp_path / "journal.jsonl"
    write_some(path)
    with pytest.raises(JournalError, match="expected to append"):
        Journal(path, sync=False)


def test_a_failed_write_says_that_nothing_is_dosed(tmp_path):
    journal = Journal(tmp_path / "journal.jsonl", sync=False)
    journal.close()
    with pytest.raises(JournalError, match="Nothing is dosed"):
        journal.write("point", 1.0, {})


def test_not_a_number_is_refused_rather_than_written(tmp_path):
    journal = Journal(tmp_path / "journal.jsonl", sync=False)
    with pytest.raises(ValueError, match=r"not JSON compliant|Out of range"):
        journal.write("point", 1.0, {"potential_mV": float("nan")})
    journal.close()
