"""`titrator resume`: real processes killed with SIGKILL, on a board that outlives them.

Compared with the run that nobody killed and with the simulated board's own count of steps.
"""

import json
import os
import shutil
import signal

import pytest
from killed import SEED, killed_and_resumed, killed_at, slow_board, slowed, uninterrupted, verdict
from served import LONG_S, begun, journal_of, only_run, reached, titrator

from titrator.record.run_folder import RunFolder
from titrator.run.attendance import Attendance
from titrator.run.resume import ResumeError, interrupted, resume_live


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return uninterrupted(tmp_path_factory.mktemp("whole"))


@pytest.mark.parametrize(("part", "torn"), [(0.3, True), (0.6, False), (0.85, True)])
def test_killed_at_a_record_the_run_goes_on_to_the_same_result(whole, tmp_path, part, torn):
    document, records = whole
    told = killed_and_resumed(tmp_path, round(part * records), torn=torn)
    told["run"] = tmp_path / told.get("run", "")
    assert verdict(told, document) == []
    if torn:
        assert "torn" in told["stderr"]
        assert list(only_run(tmp_path).glob("journal.torn-*"))


def test_what_cannot_be_gone_on_with_is_refused_with_a_reason(whole, tmp_path):
    _, records = whole
    method, served = slow_board(tmp_path)
    with served as rig:
        slowed(rig)
        words = ("run", method, "--rig", rig, "--acknowledge-hazards")
        assert killed_at(records // 2, *words, cwd=tmp_path)
        run = only_run(tmp_path)
        text = (run / "method.yaml").read_text("utf-8")
        (run / "method.yaml").write_text(text + "# changed\n", "utf-8")
        told = titrator("resume", run, cwd=tmp_path)
        assert (told.returncode, "the method that the run was made with" in told.stderr) == (2, True)
        (run / "method.yaml").write_text(text, "utf-8")
        first = begun("resume", run, "--no-figure", cwd=tmp_path)
        reached(tmp_path, "session", resumed=True)
        first.send_signal(signal.SIGSTOP)  # or it may have ended before the second one is there
        second = titrator("resume", run, cwd=tmp_path)
        first.send_signal(signal.SIGCONT)
        output, _ = first.communicate(timeout=LONG_S)
        assert second.returncode != 0
        assert f"process {first.pid}" in second.stderr
        assert first.returncode == 0, output
    over = titrator("resume", run, cwd=tmp_path)
    assert (over.returncode, "got one that ended" in over.stderr) == (2, True)


def test_a_run_that_ended_since_its_journal_was_read_is_left_as_it_is(whole, tmp_path):
    document, records = whole
    folder = RunFolder(shutil.copytree(document["run"], tmp_path / "0001-run"))
    written = folder.journal.read_bytes()
    folder.journal.write_bytes(b"".join(written.splitlines(keepends=True)[: records // 2]))
    read_before = interrupted(folder)
    folder.journal.write_bytes(written)

    def nobody(_rig):
        raise AssertionError("the board was opened")

    with pytest.raises(ResumeError, match="got one that ended"):
        resume_live(read_before, Attendance(), open_transport=nobody)
    assert folder.journal.read_bytes() == written


def test_a_board_that_lost_its_power_ends_the_run_with_bounds(whole, tmp_path):
    _, records = whole
    method, served = slow_board(tmp_path)
    with served as rig:
        slowed(rig)
        assert killed_at(records // 2, "run", method, "--rig", rig, "--acknowledge-hazards", cwd=tmp_path)
    run = only_run(tmp_path)
    again = tmp_path / "again"
    again.mkdir()
    _, anew = slow_board(again, SEED + 1)  # the same identity, another start
    with anew as rig:
        port = next(line.split("port: ")[1] for line in rig.read_text("utf-8").splitlines() if "port: " in line)
        told = titrator("resume", run, "--port", port.strip('"'), cwd=tmp_path)
    assert told.returncode == 1
    assert "lost its count of steps" in told.stderr
    (uncertain,) = [line for line in journal_of(run) if line["kind"] == "uncertain"]
    assert 0.0 <= uncertain["low_mL"] < uncertain["high_mL"]
    evaluated = titrator("evaluate", run, "--json", cwd=tmp_path)
    document = json.loads(evaluated.stdout)
    assert document["state"] == "faulted"
    assert any("uncertain" in warning for warning in document["warnings"])
    assert os.access(run / "journal.jsonl", os.R_OK)
