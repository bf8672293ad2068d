"""A real run's journal, cut at every byte of its last three records: always readable, cut off and gone on with.

Our own format: no outside source.
"""

import itertools

import pytest
from demonstration import rehearsal

from titrator.control.events import Word
from titrator.record.journal import Behind, Journal, JournalError
from titrator.record.journal_reader import read_journal
from titrator.record.run_folder import RunFolder
from titrator.record.run_lock import RunLock, RunLockedError


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    words = itertools.chain([None] * 60, itertools.repeat(Word.STOP))
    return rehearsal(2, tmp_path_factory.mktemp("runs"), word=lambda: next(words)).folder.journal.read_bytes()


def test_cut_at_every_byte_of_its_last_three_records_it_is_read_and_gone_on_with(whole, tmp_path):
    ends = [index + 1 for index, byte in enumerate(whole) if byte == 10]
    folder = RunFolder(tmp_path)
    lines = 0
    for cut in range(ends[-4], len(whole) + 1):
        folder.journal.write_bytes(whole[:cut])
        contents = read_journal(folder.journal)
        complete = sum(end <= cut for end in ends)
        assert len(contents.lines) == complete
        assert contents.torn_tail == whole[ends[complete - 1] : cut]
        assert contents.behind.size == ends[complete - 1]
        if contents.torn_tail:
            assert folder.keep_torn(contents.torn_tail).read_bytes() == contents.torn_tail
        journal = Journal(folder.journal, sync=False, behind=contents.behind)
        journal.write("state", 1.0, {"state": "held", "why": "gone on"})
        journal.close()
        again = read_journal(folder.journal)
        assert (len(again.lines), again.torn_tail) == (complete + 1, b"")
        lines = max(lines, complete)
    assert lines == len(ends)


def test_a_line_that_was_half_written_is_taken_back(tmp_path):
    path = tmp_path / "journal.jsonl"
    journal = Journal(path, sync=False)
    journal.write("run", 0.0, {"simulated": True})
    file = journal._file

    class Full:
        """A disk that takes ten bytes more, once."""

        closed = False

        def __getattr__(self, name):
            return getattr(file, name)

        def write(self, data):
            if len(data) <= 10:
                raise OSError(28, "No space left on device")
            return file.write(data[: len(data) - 10])

    before = path.read_bytes()
    journal._file = Full()
    with pytest.raises(JournalError, match="No space left"):
        journal.write("state", 1.0, {"state": "initial", "why": ""})
    assert path.read_bytes() == before
    journal._file = file
    journal.write("state", 1.0, {"state": "initial", "why": ""})
    journal.close()
    assert len(path.read_bytes().split(b"\n")) == 3
    assert b'"n":1,' in path.read_bytes().split(b"\n")[1]


def test_after_a_failed_fsync_nothing_counts_as_durable_any_more(tmp_path, monkeypatch):
    journal = Journal(tmp_path / "journal.jsonl", sync=True)
    journal.write("run", 0.0, {}, durable=True)
    durable = journal.durable_size

    def failing(_handle):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("titrator.record.journal.os.fsync", failing)
    with pytest.raises(JournalError, match="Input/output"):
        journal.write("intent", 1.0, {"dose": 1}, durable=True)
    monkeypatch.undo()
    with pytest.raises(JournalError, match="did not take an earlier line"):
        journal.write("intent", 2.0, {"dose": 2}, durable=True)
    assert journal.durable_size == durable
    with pytest.raises(JournalError):
        journal.close()
    assert journal._file.closed


def test_a_journal_that_is_not_there_cannot_be_gone_on_with(tmp_path):
    with pytest.raises(JournalError, match="expected to append"):
        Journal(tmp_path / "none.jsonl", sync=False, behind=Behind(1, 10, "0"))


def test_two_processes_cannot_conduct_one_run(tmp_path):
    with RunLock(tmp_path), pytest.raises(RunLockedError, match=r"process \d+ conducts"), RunLock(tmp_path):
        pass
    with RunLock(tmp_path):
        pass
