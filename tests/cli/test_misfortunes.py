"""A computer that sleeps, a disk that is full, one that fails: the run halts with a message, and nothing is lost.

Real processes on a board that outlives them; checked against the simulated board's own count of steps.
"""

import signal
import time

import pytest
from killed import SEED, miscounted, slow_board, slowed, with_a_bad_disk
from served import begun, board, changed, journal_of, only_run, quick_method, reached, titrator, truth_of, until

ASLEEP_S = 6.0
"""Many times the board's dead-man time, in real time; a minute of the board's."""
SPEED = 10
SHORT_TIMES = (("dead_man: 60 s", "dead_man: 0.4 s"), ("answer_within: 250 ms", "answer_within: 50 ms"))
"""So that dose, dead-man time and the wait for a dose keep the proportions that they have on a bench."""


def test_a_suspended_host_finds_its_dose_stopped_and_goes_on(tmp_path):
    method = quick_method(tmp_path)
    with board(tmp_path, method, line="tcp", seed=SEED, speed=SPEED) as rig:
        slowed(rig, "0.5 mL/min")  # eighteen seconds of the board's for a dose
        rig.write_text(changed(rig.read_text("utf-8"), *SHORT_TIMES), "utf-8")
        running = begun("run", method, "--rig", rig, "--acknowledge-hazards", "--no-figure", cwd=tmp_path)
        run = reached(tmp_path, "intent", dose=3)
        came = len(journal_of(run))
        # Two blocks of readings later the board has the dose for certain: asleep before that, none would be stopped.
        until(lambda: sum(line["kind"] == "readings" for line in journal_of(run)[came:]) >= 2, "readings of the dose")
        running.send_signal(signal.SIGSTOP)
        time.sleep(ASLEEP_S)
        running.send_signal(signal.SIGCONT)
        output, _ = running.communicate(timeout=120)
        assert running.returncode == 0, output
    lines = journal_of(only_run(tmp_path))
    assert any(line["kind"] == "outcome" and line["reason"] == "dead-man" for line in lines)
    assert any(line["kind"] == "state" and line.get("held_by") == "link" for line in lines)
    assert miscounted(only_run(tmp_path) / "journal.jsonl", truth_of(tmp_path)) == []


@pytest.mark.parametrize("how", ["full", "fsync"])
def test_a_disk_that_takes_no_more_halts_the_run_and_says_so(tmp_path, how):
    method, served = slow_board(tmp_path)
    with served as rig:
        slowed(rig)
        words = ("run", method, "--rig", rig, "--acknowledge-hazards", "--no-figure")
        told = with_a_bad_disk(60, how, *words, cwd=tmp_path)
        said = told.stdout + told.stderr
        assert told.returncode == 1, said
        assert {"full": "No space left", "fsync": "Input/output error"}[how] in said
        assert "Traceback" not in said
        again = titrator("resume", "last", "--no-figure", cwd=tmp_path)
    if how == "full":  # nothing could be written any more, its end neither: there is room now, and it goes on
        assert again.returncode == 0, again.stderr
    else:
        assert "got one that ended" in again.stderr
    assert miscounted(only_run(tmp_path) / "journal.jsonl", truth_of(tmp_path)) == []
