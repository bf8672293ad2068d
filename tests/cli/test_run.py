"""`titrator run` on the simulated board, served by a program of its own through a real pty and through TCP."""

import json
import math
import os
import pty
import re
import select
import signal
import subprocess
import sys
from contextlib import contextmanager

import pytest
from served import (
    CONFIGS,
    DEMONSTRATION,
    RIG,
    begun,
    board,
    environment,
    journal_of,
    only_run,
    quick_method,
    reached,
    rig_file,
    short_method,
    step_of,
    titrator,
    truth_of,
    until,
)

from titrator.record.run_folder import RunFolder
from titrator.run.caller import call
from titrator.run.person import login_name

FAST = 30
"""Times that the served board's clock is faster than ours in all tests but one."""
WITHIN_S = 1.0
"""The requirement itself: hold, continue and stop work within one second."""
SEED = 3
CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f]")


def titrated(text_or_document):
    """The equivalence volume and the standard uncertainty of its random part."""
    (point,) = text_or_document["equivalence_points"]
    return point["volume_mL"], point["u_random_mL"]


@pytest.mark.parametrize("line", ["pty", "tcp"])
def test_in_real_time_a_run_is_held_keeps_its_port_and_agrees_with_the_dry_run_of_its_seed(tmp_path, line):
    method = quick_method(tmp_path)
    rehearsed = titrator("dry-run", method, "--seed", SEED, "--json", "--out", "rehearsed", cwd=tmp_path)
    assert rehearsed.returncode == 0, rehearsed.stderr
    with board(tmp_path, method, line=line, seed=SEED, speed=1) as rig:
        process = begun("run", method, "--rig", rig, "--acknowledge-hazards", cwd=tmp_path)
        folder = RunFolder(reached(tmp_path, "outcome", dose=2))
        held = call(folder, {"word": "hold"}, WITHIN_S)
        assert (held["done"], held["state"]) == (True, "held"), held

        second = titrator("run", method, "--rig", rig, "--acknowledge-hazards", "--out", "second", cwd=tmp_path)
        assert second.returncode == 1
        assert f"held by process {process.pid} " in second.stderr
        assert not (tmp_path / "second").exists()

        assert call(folder, {"word": "continue"}, WITHIN_S)["done"]
        out, _ = process.communicate(timeout=120)
        assert process.returncode == 0, out
    (document,) = [json.loads(path.read_text(encoding="utf-8")) for path in folder.results.iterdir()]
    assert (document["state"], document["simulated"], document["seed"]) == ("finished", True, None)
    (volume_mL, u_mL), (other_mL, other_u_mL) = titrated(document), titrated(json.loads(rehearsed.stdout))
    assert abs(volume_mL - other_mL) <= 3 * math.hypot(u_mL, other_u_mL)
    assert step_of(folder.path) == truth_of(tmp_path)["steps"]
    lines = journal_of(folder.path)
    intents = [(line["dose"], line["steps"]) for line in lines if line["kind"] == "intent"]
    assert intents == [(line["dose"], line["steps"]) for line in lines if line["kind"] == "outcome"]
    assert json.loads(folder.host.read_text(encoding="utf-8"))["port"] in rig.read_text(encoding="utf-8")
    assert not CONTROL.search(out)
    assert "held (operator) while settling" in out


@contextmanager
def on_a_terminal(*words, cwd):
    """A command on a terminal of its own: its process identifier, and the terminal's other end."""
    pid, terminal = pty.fork()
    if pid == 0:
        signal.signal(signal.SIGHUP, signal.SIG_DFL)  # whoever runs the tests may be run to ignore it (nohup)
        os.chdir(cwd)
        command = [sys.executable, "-m", "titrator.cli.main", *map(str, words)]
        os.execve(  # noqa: S606 - a program of ours
            sys.executable, command, {**environment(cwd), "TERM": "xterm", "COLUMNS": "80", "LINES": "24"}
        )
    shown = Shown(terminal)
    try:
        yield pid, shown
    finally:
        shown.close()
        try:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
        except (ProcessLookupError, ChildProcessError):
            pass


class Shown:
    """What a terminal showed so far."""

    def __init__(self, terminal):
        self._terminal = terminal
        self._open = True
        self.text = ""

    def has(self, words):
        """Read on; whether `words` were shown."""
        while self._open and select.select([self._terminal], [], [], 0.0)[0]:
            try:
                data = os.read(self._terminal, 65536)
            except OSError:  # Linux's way to say that nobody has the other end any more
                data = b""
            if not data:
                break
            self.text += data.decode(errors="replace")
        return words in self.text

    def wait_for(self, words):
        """Wait until `words` were shown."""
        until(lambda: self.has(words), words)

    def type(self, line):
        """Type a line."""
        os.write(self._terminal, line.encode() + b"\n")

    def close(self):
        """Close the terminal, as by closing its window."""
        if self._open:
            os.close(self._terminal)
            self._open = False


@pytest.fixture
def bench(tmp_path_factory):
    """A board for a short run, with a sample of its own: what a run has titrated stays titrated."""
    folder = tmp_path_factory.mktemp("bench")
    method = short_method(folder)
    with board(folder, method, line="tcp", seed=SEED, speed=FAST) as rig:
        yield method, rig


def exit_status(pid):
    """Wait for a process of ours and return its exit status."""
    status = []

    def over():
        done, raw = os.waitpid(pid, os.WNOHANG)
        if done:
            status.append(os.waitstatus_to_exitcode(raw))
        return done

    until(over, "the end of the process")
    return status[0]


class TestCautions:
    def test_without_a_terminal_they_must_be_acknowledged_beforehand(self, bench, tmp_path):
        method, rig = bench
        done = titrator("run", method, "--rig", rig, cwd=tmp_path)
        assert done.returncode == 2
        assert "--acknowledge-hazards" in done.stderr
        assert "H315" in done.stdout
        assert not (tmp_path / "runs").exists()

    def test_asked_on_the_terminal_remembered_for_the_day_and_journaled(self, bench, tmp_path):
        method, rig = bench
        with on_a_terminal("run", method, "--rig", rig, cwd=tmp_path) as (pid, shown):
            shown.wait_for("Type yes or no")
            shown.type("maybe")
            shown.wait_for("expected yes or no")
            shown.type("yes")
            run = reached(tmp_path, "cautions", how="terminal", acknowledged_by=login_name())
            assert call(RunFolder(run), {"word": "stop"})["state"] == "stopped"
            assert exit_status(pid) == 1
        process = begun("run", method, "--rig", rig, "--out", "later", cwd=tmp_path)
        later = until(lambda: next(tmp_path.glob("later/*/desk.sock"), None), "the second run").parent
        until(lambda: [line for line in journal_of(later) if line["kind"] == "cautions"], "its cautions")
        call(RunFolder(later), {"word": "stop"})
        out, _ = process.communicate(timeout=60)
        assert "earlier today" in out
        assert [line["how"] for line in journal_of(later) if line["kind"] == "cautions"] == ["earlier today"]

    def test_another_content_of_the_method_is_asked_for_again(self, bench, tmp_path):
        method, rig = bench
        process = begun("run", method, "--rig", rig, "--acknowledge-hazards", cwd=tmp_path)
        call(RunFolder(reached(tmp_path, "cautions", how="option")), {"word": "stop"})
        process.communicate(timeout=60)
        other = tmp_path / "other.yaml"
        other.write_text(method.read_text(encoding="utf-8") + "# a new remark\n", encoding="utf-8")
        assert titrator("run", other, "--rig", rig, "--out", "later", cwd=tmp_path).returncode == 2

    def test_the_question_is_answered_through_the_desk_too(self, bench, tmp_path):
        method, rig = bench
        with on_a_terminal("run", method, "--rig", rig, cwd=tmp_path) as (pid, shown):
            shown.wait_for("Type yes or no")
            answered = titrator("answer", "last", "no", cwd=tmp_path)
            assert answered.returncode == 0, answered.stderr
            assert exit_status(pid) == 1
            shown.has("")
        lines = journal_of(only_run(tmp_path))
        assert [line["kind"] for line in lines] == ["run", "question", "answer", "end"]
        assert (lines[2]["where"], lines[2]["yes"]) == ("socket", False)
        assert lines[3]["why"] == "the cautions were not acknowledged"


class TestTheTerminal:
    def test_its_closing_halts_a_foreground_run(self, bench, tmp_path):
        method, rig = bench
        with on_a_terminal("run", method, "--rig", rig, "--acknowledge-hazards", cwd=tmp_path) as (pid, shown):
            shown.wait_for("point")
            run = reached(tmp_path, "state", state="dosing")
            shown.close()
            assert exit_status(pid) == 130
        lines = journal_of(run)
        assert (lines[-1]["kind"], lines[-1]["state"]) == ("end", "stopped")
        assert [line["where"] for line in lines if line["kind"] == "word"] == ["signal SIGHUP"]
        assert (run / "results" / "evaluation-001.json").is_file()

    def test_a_detached_run_goes_on_when_it_closes(self, bench, tmp_path):
        method, rig = bench
        words = ("run", method, "--rig", rig, "--acknowledge-hazards", "--detach")
        with on_a_terminal(*words, cwd=tmp_path) as (pid, shown):
            shown.wait_for("goes on by itself")
            assert exit_status(pid) == 0
            folder = RunFolder(only_run(tmp_path))
            assert folder.path.name in shown.text
            shown.close()
        process = json.loads(folder.host.read_text(encoding="utf-8"))["process"]
        os.kill(process, signal.SIGHUP)
        points = sum(line["kind"] == "point" for line in journal_of(folder.path))
        until(lambda: sum(line["kind"] == "point" for line in journal_of(folder.path)) >= points + 2, "two more points")
        assert os.getsid(process) != os.getsid(0)
        os.kill(process, signal.SIGTERM)
        until(lambda: journal_of(folder.path)[-1]["kind"] == "end", "the end of the run")
        assert journal_of(folder.path)[-1]["state"] == "stopped"
        log = until(lambda: text_with(folder.path / "output.log", "Everything is in"), "the end of the log")
        assert "point 1:" in log
        assert not CONTROL.search(log)

    @pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
    def test_signals_halt_and_exit_130(self, bench, tmp_path, number):
        method, rig = bench
        process = begun("run", method, "--rig", rig, "--acknowledge-hazards", cwd=tmp_path)
        run = reached(tmp_path, "state", state="dosing")
        process.send_signal(number)
        process.communicate(timeout=60)
        assert process.returncode == 130
        assert journal_of(run)[-1]["state"] == "stopped"

    def test_one_that_was_started_to_ignore_hang_ups_does_so(self, bench, tmp_path):
        method, rig = bench
        process = begun(
            "run", method, "--rig", rig, "--acknowledge-hazards", cwd=tmp_path,
            preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN), stdout=subprocess.DEVNULL,
        )  # fmt: skip
        run = reached(tmp_path, "point", number=0)
        process.send_signal(signal.SIGHUP)
        reached(tmp_path, "point", number=1)
        assert call(RunFolder(run), {"word": "stop"})["state"] == "stopped"
        assert process.wait(60) == 1


def text_with(path, words):
    text = path.read_text(encoding="utf-8")
    return text if words in text else None


class TestRefusals:
    """Nothing is written where the run cannot begin."""

    def test_a_rig_that_is_simulated(self, tmp_path):
        done = titrator("run", DEMONSTRATION, "--rig", CONFIGS / "rigs" / "simulated.yaml", cwd=tmp_path)
        assert done.returncode == 2
        assert "dry-run" in done.stderr
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.parametrize("detach", [[], ["--detach"]])
    def test_a_board_that_is_not_there(self, tmp_path, detach):
        rig = rig_file(tmp_path, "socket://127.0.0.1:1", fast=False)
        done = titrator("run", DEMONSTRATION, "--rig", rig, "--acknowledge-hazards", *detach, cwd=tmp_path)
        assert done.returncode == 1
        assert "nobody listens there" in done.stderr
        assert not (tmp_path / "runs").exists()

    @pytest.mark.parametrize("detach", [[], ["--detach"]])
    def test_a_rig_that_cannot_do_it_is_refused_before_the_port_is_opened(self, tmp_path, detach):
        rig = tmp_path / "nylon.yaml"
        rig.write_text(
            RIG.read_text(encoding="utf-8").replace("[glass, PTFE, FEP]", "[glass, nylon]"), encoding="utf-8"
        )
        done = titrator("run", DEMONSTRATION, "--rig", rig, "--acknowledge-hazards", *detach, cwd=tmp_path)
        assert done.returncode == 2
        assert "nylon" in done.stderr
        assert "PTFE" in done.stderr
        assert not (tmp_path / "runs").exists()

    @pytest.mark.parametrize("words", [["run"], ["run", DEMONSTRATION], ["run", "no.yaml", "--rig", RIG]])
    def test_input_that_is_wanting(self, tmp_path, words):
        done = titrator(*words, cwd=tmp_path)
        assert done.returncode == 2
        assert "Traceback" not in done.stderr
