"""hold, continue, stop and answer on a running process: a rehearsal that keeps pace (simulated)."""

import json
import signal
import socket
import stat
import subprocess
from contextlib import contextmanager

import pytest
from served import DEMONSTRATION, begun, journal_of, only_run, reached, step_of, titrator, until

from titrator.record.run_folder import RunFolder
from titrator.run.caller import CallError, call
from titrator.run.desk import within

WITHIN_S = 1.0
"""The requirement itself: hold, continue and stop work within one second."""


@pytest.fixture
def running(tmp_path):
    """A rehearsal at sixty times the speed of the bench, at its second point."""
    process = begun("dry-run", DEMONSTRATION, "--pace", 60, cwd=tmp_path, stdout=subprocess.DEVNULL)
    try:
        reached(tmp_path, "point", number=1)
        yield process, RunFolder(only_run(tmp_path))
    finally:
        process.kill()
        process.wait()


@contextmanager
def at_the_desk(folder):
    """A bare connection to the desk."""
    with socket.socket(socket.AF_UNIX) as other:
        other.settimeout(10)
        with within(folder.path):
            other.connect("desk.sock")
        yield other


def test_hold_continue_and_stop_within_a_second_and_every_step_is_the_boards(running):
    process, folder = running
    held = call(folder, {"word": "hold"}, WITHIN_S)
    assert (held["done"], held["state"], held["held_by"]) == (True, "held", "operator")
    assert held["came_from"] in held["text"]
    assert "held already" in call(folder, {"word": "hold"}, WITHIN_S)["text"]
    doses = [line["dose"] for line in journal_of(folder.path) if line["kind"] == "intent"]

    went_on = call(folder, {"word": "continue"}, WITHIN_S)
    assert went_on["done"]
    assert went_on["state"] in {"settling", "deciding", "dosing"}
    assert went_on["held_by"] is None
    until(lambda: [line for line in journal_of(folder.path) if line["kind"] == "intent"][len(doses) :], "a new dose")
    assert "not held" in call(folder, {"word": "continue"}, WITHIN_S)["text"]

    stopped = call(folder, {"word": "stop"}, WITHIN_S)
    assert (stopped["done"], stopped["state"]) == (True, "stopped")
    assert process.wait(60) == 1  # told to stop: the work could not be done
    truth = json.loads(folder.truth.read_text(encoding="utf-8"))
    assert step_of(folder.path) == truth["steps"]
    lines = journal_of(folder.path)
    new = [line["dose"] for line in lines if line["kind"] == "intent"]
    assert new == list(range(1, len(new) + 1))
    held_line = next(line for line in lines if line.get("state") == "held")
    assert (held_line["held_by"], held_line["came_from"]) == ("operator", held["came_from"])
    said = [(line["word"], line["where"]) for line in lines if line["kind"] == "word"]
    assert said == [("hold", "socket"), ("continue", "socket"), ("stop", "socket")]


def test_the_commands_say_what_happened(running, tmp_path):
    process, _ = running
    held = titrator("hold", "last", cwd=tmp_path)
    assert held.returncode == 0, held.stderr
    assert "held at" in held.stdout
    no_question = titrator("answer", 1, "yes", cwd=tmp_path)
    assert no_question.returncode == 1
    assert "no question is open" in no_question.stdout
    document = json.loads(titrator("continue", 1, "--json", cwd=tmp_path).stdout)
    assert document["done"] is True
    assert titrator("stop", only_run(tmp_path), cwd=tmp_path).returncode == 0
    process.wait(60)
    over = titrator("hold", "last", cwd=tmp_path)
    assert over.returncode == 1
    assert "is over: stopped, the operator stopped the run" in over.stderr


def test_a_stop_beats_a_hold_that_is_on_its_way(running):
    _, folder = running
    with at_the_desk(folder) as first:
        first.sendall(b'{"word": "hold"}\n')
        assert call(folder, {"word": "stop"}, WITHIN_S)["state"] == "stopped"
        assert json.loads(first.makefile().readline())["state"] in {"held", "stopped"}


def test_the_desk_is_for_its_owner_only_and_goes_with_the_run(running):
    process, folder = running
    desk = folder.path / "desk.sock"
    assert stat.S_IMODE(desk.stat().st_mode) == 0o600
    call(folder, {"word": "stop"}, WITHIN_S)
    process.wait(60)
    assert not desk.exists()


def test_rubbish_at_the_desk_does_not_harm_the_run(running):
    _, folder = running
    for rubbish in (b"\n", b"hold\n", b'{"word": "explode"}\n', b'{"word": "answer"}\n', b"x" * 5000, b"\xff\n"):
        with at_the_desk(folder) as other:
            other.sendall(rubbish)
            try:
                answer = other.recv(10_000)
            except ConnectionResetError:
                answer = b""
        assert not answer or json.loads(answer)["done"] is False
    with at_the_desk(folder), at_the_desk(folder):  # who never says a word hinders nobody
        assert call(folder, {"word": "hold"}, WITHIN_S)["done"] is True


def test_a_process_that_died_a_run_that_is_over_and_a_wrong_run_are_told_apart(running, tmp_path):
    process, folder = running
    process.send_signal(signal.SIGKILL)
    process.wait()
    dead = titrator("continue", "last", cwd=tmp_path)
    assert dead.returncode == 1
    assert "died without taking leave" in dead.stderr
    assert "look at the burette" in dead.stderr
    wrong = titrator("stop", 7, cwd=tmp_path)
    assert wrong.returncode == 2
    assert "holds runs 1 to 1" in wrong.stderr
    (folder.path / "desk.sock").unlink()
    gone = titrator("hold", "last", cwd=tmp_path)
    assert gone.returncode == 1
    assert "no process answers" in gone.stderr


def test_a_process_that_hangs_is_told(running):
    process, folder = running
    process.send_signal(signal.SIGSTOP)
    try:
        with pytest.raises(CallError, match="hangs or is suspended"):
            call(folder, {"word": "hold"}, 0.3)
    finally:
        process.send_signal(signal.SIGCONT)


@pytest.mark.parametrize("words", [["hold"], ["answer", "1"], ["answer", "1", "maybe"], ["stop", "1", "2"]])
def test_wrong_words_are_input_errors(tmp_path, words):
    done = titrator(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
