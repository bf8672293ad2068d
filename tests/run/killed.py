"""A real process that kills itself with SIGKILL at a record of its journal, or whose disk misbehaves there."""

import json
import subprocess
import sys
from pathlib import Path

from served import LONG_S, board, environment, journal_of, only_run, quick_method, titrator

SPEED = 20
SEED = 3
_AT_A_RECORD = """
import os, signal, sys
from titrator.record.journal import Journal
append = Journal._append
at, cut = int(sys.argv.pop(1)), sys.argv.pop(1)
def appended(self, kind, t_s, body):
    append(self, kind, t_s, body)
    if self._n == at:
        if cut == "torn":
            self._file.truncate(self.size - 7)
        os.kill(os.getpid(), signal.SIGKILL)
def full(self, data):
    if self._n >= at:
        raise OSError(28, "No space left on device")
    write_all(self, data)
def unsynced(handle):
    if journals and journals[-1]._n >= at:
        raise OSError(5, "Input/output error")
    fsync(handle)
write_all, fsync, journals, begin = Journal._write_all, os.fsync, [], Journal.__init__
def begun(self, *words, **options):
    begin(self, *words, **options)
    journals.append(self)
if cut == "full":
    Journal._write_all = full
elif cut == "fsync":
    Journal.__init__, os.fsync = begun, unsynced
else:
    Journal._append = appended
from titrator.cli.main import main
sys.exit(main())
"""


def killed_at(record, *words, cwd, torn=False):
    """Run a command that is killed as soon as it has written so many records; True when it got so far."""
    done = subprocess.run(
        [sys.executable, "-c", _AT_A_RECORD, str(record), "torn" if torn else "whole", *map(str, words)],
        capture_output=True, text=True, cwd=cwd, timeout=LONG_S, stdin=subprocess.DEVNULL, env=environment(cwd),
    )  # fmt: skip
    return done.returncode == -9


def with_a_bad_disk(record, how, *words, cwd):
    """Run a command whose journal takes no record from that one on (`full`), or brings none to disk (`fsync`)."""
    return subprocess.run(
        [sys.executable, "-c", _AT_A_RECORD, str(record), how, *map(str, words)],
        capture_output=True, text=True, cwd=cwd, timeout=LONG_S, stdin=subprocess.DEVNULL, env=environment(cwd),
    )  # fmt: skip


def slow_board(folder, seed=SEED):
    """The board of a quick method whose burette takes seconds for a dose, and the method."""
    method = quick_method(folder)
    return method, board(folder, method, line="tcp", seed=seed, speed=SPEED)


def slowed(rig, speed="2 mL/min"):
    """A rig file with a slower burette, so that records fall into motions."""
    rig.write_text(rig.read_text("utf-8").replace("top_speed: 10 mL/min", f"top_speed: {speed}"), "utf-8")
    return rig


def killed_and_resumed(folder, record, *, torn=False):
    """A run killed at that record and gone on with: its document, or None where it ended before.

    `truth` in the document is the simulator's, told when the board ended.
    """
    method, served = slow_board(folder)
    with served as rig:
        slowed(rig)
        words = ("run", method, "--rig", rig, "--acknowledge-hazards", "--json", "--no-figure")
        if not killed_at(record, *words, cwd=folder, torn=torn):
            return None
        told = titrator("resume", "last", "--json", "--no-figure", cwd=folder)
    truth = json.loads((folder / "truth.json").read_text("utf-8"))
    document = json.loads(told.stdout) if told.stdout.startswith("{") else {}
    return {**document, "stderr": told.stderr, "status": told.returncode, "truth": truth}


def uninterrupted(folder):
    """The same run without a kill (its folder as `run`), and how many records its journal has."""
    method, served = slow_board(folder)
    with served as rig:
        slowed(rig)
        told = titrator("run", method, "--rig", rig, "--acknowledge-hazards", "--json", "--no-figure", cwd=folder)
    assert told.returncode == 0, told.stderr
    run = only_run(folder)
    return {**json.loads(told.stdout), "run": run}, len(journal_of(run))


def verdict(document, whole):
    """What is wrong with a run that was killed and gone on with, beside the whole one; empty: nothing."""
    wrong = []
    points = document.get("equivalence_points", [])
    if document["status"] != 0 or len(points) != 1:
        return [f"status {document['status']}: {document['stderr'][-300:]}"]
    (point,), (other,) = points, whole["equivalence_points"]
    apart = abs(point["volume_mL"] - other["volume_mL"])
    if not apart <= 3.0 * (point["u_random_mL"] ** 2 + other["u_random_mL"] ** 2) ** 0.5:
        wrong.append(f"{apart:.4f} mL apart")
    return [*wrong, *miscounted(Path(document["run"]) / "journal.jsonl", document["truth"])]


def miscounted(journal, truth):
    """Where the journal's count is not the board's, and doses that the journal has begun twice."""
    lines = [json.loads(line) for line in journal.read_text("utf-8").splitlines()]
    step_mL = lines[0]["burette"]["step_mL"]
    total = round([line["volume_mL"] for line in lines if line["kind"] in {"outcome", "halt", "end"}][-1] / step_mL)
    wrong = [] if total == truth["pushed_steps"] else [f"{total} steps on record, {truth['pushed_steps']} made"]
    doses = [line["dose"] for line in lines if line["kind"] == "intent"]
    return wrong if len(doses) == len(set(doses)) else [*wrong, "a dose was begun twice"]
