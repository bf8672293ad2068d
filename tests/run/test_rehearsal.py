"""Dry runs of the demonstration through wire, board and cell (all simulated)."""

import itertools
import json

import pytest
from demonstration import rehearsal

from titrator.bench.bench import Bench
from titrator.bench.errors import LinkError
from titrator.control.events import Word
from titrator.record.journal import Journal, JournalError
from titrator.record.journal_reader import read_journal


def lines_of(done):
    return read_journal(done.folder.journal)


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    return rehearsal(1, tmp_path_factory.mktemp("runs"))


def test_the_demonstration_runs_to_its_end(done):
    end = lines_of(done).of_kind("end")[-1]
    assert (end["state"], end["cause"]) == ("finished", "points")


def test_every_intent_has_its_outcome_and_the_steps_are_the_boards(done):
    contents = lines_of(done)
    intents, outcomes = contents.of_kind("intent"), contents.of_kind("outcome")
    assert [intent["dose"] for intent in intents] == [outcome["dose"] for outcome in outcomes]
    assert [intent["steps"] for intent in intents] == [outcome["steps"] for outcome in outcomes]
    assert outcomes[-1]["steps"] == done.truth["steps"]
    assert all(
        intent["n"] < outcome["n"] < following["n"]
        for intent, outcome, following in zip(intents, outcomes, intents[1:], strict=False)
    )


def test_all_readings_are_journaled_without_a_gap(done):
    blocks = lines_of(done).of_kind("readings")
    expected = 0
    for block in blocks:
        assert block["first"] == expected
        assert block["missed"] == 0
        assert len(block["times_ms"]) == len(block["uV"])
        expected += len(block["uV"])
    times = [t_ms for block in blocks for t_ms in block["times_ms"]]
    assert {b - a for a, b in itertools.pairwise(times)} == {100}


def test_the_same_seed_gives_the_same_journal_to_the_byte_and_another_seed_another(done, tmp_path):
    again, other = rehearsal(1, tmp_path), rehearsal(2, tmp_path)
    assert again.folder.journal.read_bytes() == done.folder.journal.read_bytes()
    assert again.truth == done.truth
    first = lines_of(done).of_kind("readings")[0]["uV"]
    assert lines_of(other).of_kind("readings")[0]["uV"] != first


def test_what_differs_from_host_to_host_stands_in_a_file_of_its_own(done):
    host = json.loads(done.folder.host.read_text(encoding="utf-8"))
    journal = done.folder.journal.read_text(encoding="utf-8")
    assert host["started"].startswith("2026-11-25")
    assert "2026-11-25" not in journal
    assert host["platform"] not in journal
    assert str(done.folder.path.parent) not in journal


def test_the_truth_reaches_neither_journal_nor_points(done):
    journal = done.folder.journal.read_text(encoding="utf-8")
    for value in (*done.truth["equivalence_points_mL"], *(entry["value"] for entry in done.truth["results"])):
        assert repr(value) not in journal


@pytest.mark.parametrize("after", [1, 30, 200, 700])
def test_a_stop_halts_at_a_known_position_and_keeps_everything(tmp_path, after):
    asked = 0

    def word():
        nonlocal asked
        asked += 1
        return Word.STOP if asked == after else None

    stopped = rehearsal(3, tmp_path, word=word)
    contents = lines_of(stopped)
    end = contents.of_kind("end")[-1]
    assert (end["state"], end["cause"]) == ("stopped", "operator")
    step_mL = contents.lines[0]["burette"]["step_mL"]
    assert round(end["volume_mL"] / step_mL) == stopped.truth["steps"]
    assert contents.torn_tail == b""


def test_nothing_is_dosed_that_cannot_be_recorded(tmp_path, monkeypatch):
    write, moves = Journal.write, []
    move_to = Bench.move_to

    def failing(self, kind, t_s, fields, *, durable=False):
        if kind == "intent" and fields["dose"] == 5:
            raise JournalError("expected to append to the journal, got: no space left on device")
        write(self, kind, t_s, fields, durable=durable)

    def counted(self, dose, volume_mL, **options):
        moves.append(dose)
        return move_to(self, dose, volume_mL, **options)

    monkeypatch.setattr(Journal, "write", failing)
    monkeypatch.setattr(Bench, "move_to", counted)
    ended = rehearsal(4, tmp_path)
    assert moves == [1, 2, 3, 4]
    end = lines_of(ended).of_kind("end")[-1]
    assert end["state"] == "faulted"
    assert "no space left" in end["why"]


def test_a_journal_that_fails_for_good_still_ends_the_run_without_motion(tmp_path, monkeypatch):
    write, broken, moves = Journal.write, [], []
    move_to = Bench.move_to

    def failing(self, kind, t_s, fields, *, durable=False):
        if broken or (kind == "intent" and fields["dose"] == 3):
            broken.append(kind)
            raise JournalError("expected to append to the journal, got: no space left on device")
        write(self, kind, t_s, fields, durable=durable)

    monkeypatch.setattr(Journal, "write", failing)
    monkeypatch.setattr(Bench, "move_to", lambda self, dose, *rest: moves.append(dose) or move_to(self, dose, *rest))
    ended = rehearsal(4, tmp_path)
    assert moves == [1, 2]
    assert lines_of(ended).of_kind("end") == []
    assert ended.truth["steps"] == lines_of(ended).of_kind("outcome")[-1]["steps"]


def test_a_link_that_is_always_lost_again_ends_faulted(tmp_path, monkeypatch):
    wait, calls = Bench.wait, []

    def lost(self, timeout_s):
        calls.append(timeout_s)
        if len(calls) > 100:
            raise LinkError("no answer")
        return wait(self, timeout_s)

    def no_halt(self):
        raise LinkError("no answer to the halt either")

    monkeypatch.setattr(Bench, "wait", lost)
    monkeypatch.setattr(Bench, "halt", no_halt)
    end = lines_of(rehearsal(5, tmp_path)).of_kind("end")[-1]
    assert (end["state"], end["cause"]) == ("faulted", "link")
    assert "lost 51 times" in end["why"]


def test_a_defect_of_ours_stops_the_pump_before_it_is_passed_on(tmp_path, monkeypatch):
    halts = []
    halt = Bench.halt
    monkeypatch.setattr(Bench, "halt", lambda self: halts.append(1) or halt(self))

    def observer(_state, _why, point):
        if point is not None and point.number == 2:
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        rehearsal(6, tmp_path, observe=observer)
    assert halts


@pytest.mark.parametrize("kind", ["state", "readings", "outcome"])
def test_a_disk_that_fills_while_the_motor_runs_does_not_keep_the_halt_back(tmp_path, monkeypatch, kind):
    write, write_readings, halt, halts = Journal.write, Journal.write_readings, Bench.halt, []
    full = []

    def refuse(line):
        if full and line == kind:
            raise JournalError("expected to append to the journal, got: no space left on device")

    def failing(self, line, t_s, fields, *, durable=False):
        refuse(line)
        write(self, line, t_s, fields, durable=durable)
        if line == "intent" and fields["dose"] == 8:
            full.append(True)

    def failing_readings(self, *block):
        refuse("readings")
        write_readings(self, *block)

    def counted(self):
        halts.append(self.now_s)
        return halt(self)

    monkeypatch.setattr(Journal, "write", failing)
    monkeypatch.setattr(Journal, "write_readings", failing_readings)
    monkeypatch.setattr(Bench, "halt", counted)
    asked = iter([Word.STOP])
    ended = rehearsal(4, tmp_path, word=lambda: next(asked, None) if full else None)
    assert halts, "the motor was never told to stop"
    intents = [line for line in lines_of(ended).of_kind("intent") if line["dose"] == 8]
    assert ended.truth["steps"] < intents[0]["steps"]  # stopped on the way, not at the target


def test_every_intent_is_on_the_disk_before_its_move_is_sent(tmp_path, monkeypatch):
    write, move_to, story = Journal.write, Bench.move_to, []

    def noted(self, kind, t_s, fields, *, durable=False):
        write(self, kind, t_s, fields, durable=durable)
        if kind in ("intent", "outcome", "point", "halt", "end"):
            assert durable, f"a line of kind {kind} must wait for the disk"
            story.append((kind, fields.get("dose")))

    def moved(self, dose, *rest, **options):
        assert story[-1] == ("intent", dose)
        story.append(("move", dose))
        return move_to(self, dose, *rest, **options)

    monkeypatch.setattr(Journal, "write", noted)
    monkeypatch.setattr(Bench, "move_to", moved)
    rehearsal(8, tmp_path)
    assert sum(kind == "move" for kind, _ in story) == sum(kind == "intent" for kind, _ in story) > 10
