"""The desk by itself: the length of a socket's address, who calls and leaves, and taking over a folder."""

import json
import os
import socket
from contextlib import contextmanager
from pathlib import Path

import pytest

from titrator.control.events import Word
from titrator.control.holds import Hold, HoldCause
from titrator.control.states import State
from titrator.run.desk import NAME, Desk, within
from titrator.run.person import login_name
from titrator.run.standing import Said, Standing

READY = Standing.at_start(0.0, State.READY, "", None)
SETTLING = READY._replace(state=State.SETTLING, volume_mL=1.0)
HELD = SETTLING._replace(state=State.HELD, hold=Hold(HoldCause.OPERATOR, State.SETTLING))


@contextmanager
def open_desk(folder):
    desk = Desk(folder)
    desk.open()
    desk.stand(SETTLING)
    try:
        yield desk
    finally:
        desk.close()


@contextmanager
def caller(folder, request=None):
    with socket.socket(socket.AF_UNIX) as connection:
        connection.settimeout(5)
        with within(folder):
            connection.connect(NAME)
        if request is not None:
            connection.sendall(json.dumps(request).encode() + b"\n")
        yield connection


def answer(connection):
    with connection.makefile("rb") as lines:
        return json.loads(lines.readline())


def test_a_folder_deeper_than_a_sockets_address_is_long_serves_as_well(tmp_path):
    # sun_path holds 108 bytes on Linux, 104 on the BSDs: unix(7).
    folder = tmp_path / ("deep" * 30) / ("deeper" * 20)
    folder.mkdir(parents=True)
    assert len(os.fsencode(folder)) > 200
    before = Path.cwd()
    with open_desk(folder) as desk, caller(folder, {"word": "hold"}) as connection:
        assert desk.word() == Said(Word.HOLD, login_name(), "socket")
        desk.stand(HELD)
        assert answer(connection)["state"] == "held"
    assert Path.cwd() == before
    assert list(folder.iterdir()) == []


def test_one_word_at_a_time_and_each_is_answered_by_what_became_of_it(tmp_path):
    hold, go_on = {"word": "hold"}, {"word": "continue"}
    with open_desk(tmp_path) as desk, caller(tmp_path, hold) as first, caller(tmp_path, go_on) as second:
        assert desk.word().word is Word.HOLD
        assert desk.word() is None  # it is not held yet: nothing to be said
        desk.stand(HELD)
        assert answer(first)["done"] is True
        assert "was not held" in answer(second)["text"]


def test_what_cannot_be_brought_about_in_time_is_told_as_it_stands(tmp_path, monkeypatch):
    monkeypatch.setattr("titrator.run.desk.ANSWER_WITHIN_S", 0.0)
    with open_desk(tmp_path) as desk, caller(tmp_path, {"word": "stop"}) as connection:
        assert desk.word().word is Word.STOP
        desk.stand(SETTLING._replace(state=State.HALTING))
        told = answer(connection)
    assert told["done"] is False
    assert "has not confirmed" in told["text"]


def test_who_leaves_before_the_answer_and_too_many_who_say_nothing_do_no_harm(tmp_path):
    with open_desk(tmp_path) as desk:
        with caller(tmp_path, {"word": "hold"}):
            pass
        assert desk.word().word is Word.HOLD
        desk.stand(HELD)
        idle = [socket.socket(socket.AF_UNIX) for _ in range(40)]
        for each in idle:
            each.setblocking(False)
            with within(tmp_path):
                try:
                    each.connect(NAME)
                except BlockingIOError:
                    break  # the queue of the listening socket is full
            desk.word()
        for each in idle:
            each.close()
        desk.word()
        with caller(tmp_path, {"word": "state"}) as connection:
            for _ in range(50):
                desk.word()
            assert answer(connection)["done"] is True


def test_whoever_waits_when_the_run_ends_hears_of_its_end(tmp_path):
    with open_desk(tmp_path) as desk, caller(tmp_path, {"word": "stop"}) as connection:
        desk.word()
        desk.stand(SETTLING._replace(state=State.HALTING))
        with caller(tmp_path, {"word": "hold"}) as late:
            desk.word()
            desk.stand(SETTLING._replace(state=State.STOPPED, why="the operator stopped the run"))
            desk.close()
            assert answer(connection) == {
                "done": True, "text": "stopped at 1.0000 mL: the operator stopped the run", "state": "stopped",
                "why": "the operator stopped the run", "volume_mL": 1.0, "held_by": None, "came_from": None,
                "question": None,
            }  # fmt: skip
            assert answer(late)["state"] == "stopped"
    assert not (tmp_path / NAME).exists()


@pytest.mark.parametrize("word", ["hold", "continue", "answer"])
def test_before_the_run_begins_there_is_nothing_to_hold(tmp_path, word):
    with open_desk(tmp_path) as desk:
        desk.stand(READY)
        with caller(tmp_path, {"word": word, "yes": True}) as connection:
            assert desk.word() is None
            assert answer(connection)["state"] == "ready"


def test_two_desks_in_one_folder_are_refused(tmp_path):
    with open_desk(tmp_path), pytest.raises(OSError, match="in use"):
        Desk(tmp_path).open()


def test_what_a_process_that_died_has_left_is_cleared_away(tmp_path):
    with socket.socket(socket.AF_UNIX) as dead, within(tmp_path):
        dead.bind(NAME)
    with open_desk(tmp_path) as desk, caller(tmp_path, {"word": "state"}) as connection:
        desk.word()
        assert answer(connection)["state"] == "settling"


@pytest.mark.parametrize(
    "rubbish",
    [b"[" * 1000 + b"\n", b'{"word": []}\n', b'{"word": "answer", "yes": 1}\n', b"\xff\n", b"7\n", b"x" * 2000],
)
def test_rubbish_is_refused_and_nothing_is_said_to_the_run(tmp_path, rubbish):
    with open_desk(tmp_path) as desk, caller(tmp_path) as connection:
        connection.sendall(rubbish)
        assert desk.word() is None
        assert desk.word() is None
        with connection.makefile("rb") as lines:
            try:
                told = lines.readline()
            except ConnectionResetError:
                told = b""
        assert not told or json.loads(told)["done"] is False
