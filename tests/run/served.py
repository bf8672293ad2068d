"""Programs as a user starts them: `titrator`, and the simulated board served by one of its own."""

import json
import os
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

CONFIGS = Path(__file__).parents[2] / "configs"
DEMONSTRATION = CONFIGS / "methods" / "iron_in_pickling_bath.yaml"
RIG = CONFIGS / "rigs" / "served.yaml"
LONG_S = 120.0
"""No program of these tests takes so long; whoever waits longer fails."""


def titrator(*words, cwd, **options):
    """Run a command to its end; standard input is no terminal."""
    return subprocess.run(
        [sys.executable, "-m", "titrator.cli.main", *map(str, words)],
        capture_output=True, text=True, cwd=cwd, timeout=LONG_S, stdin=subprocess.DEVNULL, env=environment(cwd),
        **options,
    )  # fmt: skip


def begun(*words, cwd, **options):
    """Start a command and return its process."""
    streams = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.STDOUT} | options
    command = [sys.executable, "-m", "titrator.cli.main", *map(str, words)]
    return subprocess.Popen(command, text=True, cwd=cwd, env=environment(cwd), **streams)


def environment(cwd):
    """The environment with a state folder of the test's own."""
    return {**os.environ, "XDG_STATE_HOME": str(cwd / "state")}


def changed(text, *changes):
    """`text` with each (old, new) put in, every old one being there once."""
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def short_method(folder, *changes):
    """The demonstration with a fifth of the aliquot and larger steps: sixteen points or so, five minutes."""
    path = folder / "short.yaml"
    text = changed(
        DEMONSTRATION.read_text(encoding="utf-8"),
        ("cell: ../cells/iron_in_pickling_bath.yaml", f"cell: {CONFIGS}/cells/iron_in_pickling_bath.yaml"),
        ("rig: ../rigs/simulated.yaml", f"rig: {CONFIGS}/rigs/simulated.yaml"),
        ("aliquot: {value: 10.00 mL, u: 0.010 mL}", "aliquot: {value: 2.000 mL, u: 0.004 mL}"),
        ("volume: 40 mL", "volume: 48 mL"),
        ("  aim: 25 mV", "  aim: 40 mV"),
        ("  most: 1 mL", "  most: 0.5 mL"),
        ("  longest_wait: 90 s", "  longest_wait: 30 s"),
        ("  readings_past_jump: 6", "  readings_past_jump: 3"),
        ("  volume_above: 24.5 mL", "  volume_above: 5 mL"),
        *changes,
    )
    path.write_text(text, encoding="utf-8")
    return path


def quick_method(folder):
    """In a simulated vessel that mixes and answers some ten times faster: ten points, forty seconds of the bench."""
    cell = folder / "quick-cell.yaml"
    text = changed(
        (CONFIGS / "cells" / "iron_in_pickling_bath.yaml").read_text(encoding="utf-8"),
        ("mixing: 1.5 s", "mixing: 0.2 s"),
        ("  response: 2.5 s", "  response: 0.3 s"),
        ("  slowing: 9.5 s", "  slowing: 0.5 s"),
    )
    cell.write_text(text, encoding="utf-8")
    return short_method(
        folder,
        (f"cell: {CONFIGS}/cells/iron_in_pickling_bath.yaml", f"cell: {cell}"),
        ("aliquot: {value: 2.000 mL, u: 0.004 mL}", "aliquot: {value: 0.500 mL, u: 0.002 mL}"),
        ("volume: 48 mL", "volume: 49.5 mL"),
        ("answers_within: 1 mL", "answers_within: 0.3 mL"),
        ("  first: 0.1 mL", "  first: 0.05 mL"),
        ("  most: 0.5 mL", "  most: 0.15 mL"),
        ("  aim: 40 mV", "  aim: 60 mV"),
        ("response: 5 s", "response: 0.4 s"),
        ("mixing: 1.5 s", "mixing: 0.2 s"),
        ("longest_wait: 30 s", "longest_wait: 4 s"),
        ("volume_above: 5 mL", "volume_above: 1.2 mL"),
    )


def rig_file(folder, port, *, fast, small=False):
    """The served rig at `port`, or one of a small burette. A board of a faster clock needs a longer dead-man time."""
    path = folder / "bench.yaml"
    times = [("dead_man: 2 s", "dead_man: 60 s")] if fast else []
    if small:
        behind = [("kind: simulated", f'kind: serial\nboard: {{identity: "51301a7e", port: "{port}"}}')]
        text = (CONFIGS / "rigs" / "simulated_small_burette.yaml").read_text(encoding="utf-8")
    else:
        behind = [("port: socket://127.0.0.1:4717", f"port: {port}")]
        text = RIG.read_text(encoding="utf-8")
    text = changed(text, *behind, *times)
    path.write_text(text, encoding="utf-8")
    return path


@contextmanager
def board(folder, method, *, line, seed, speed, small=False):
    """Serve the method's simulated board; the rig file that names it. `truth_of(folder)` is told once it ended."""
    rig = rig_file(folder, "socket://127.0.0.1:4717", fast=speed > 1, small=small)
    words = ["rig", "serve", "--method", method, "--rig", rig, "--seed", seed, "--speed", speed, "--json"]
    where = ["--pty", "--link", folder / "line"] if line == "pty" else ["--port", 0]
    server = begun(*words, *where, "--truth", folder / "truth.json", cwd=folder, stderr=None)
    try:
        assert server.stdout is not None
        told = json.loads(server.stdout.readline())
        yield rig_file(folder, folder / "line" if line == "pty" else told["address"], fast=speed > 1, small=small)
    finally:
        server.terminate()
        server.communicate(timeout=LONG_S)


def truth_of(folder):
    """What was true on the served board that has ended."""
    return json.loads((folder / "truth.json").read_text(encoding="utf-8"))


def only_run(folder):
    """The one run folder below `folder`/runs."""
    (run,) = (folder / "runs").iterdir()
    return run


def journal_of(run):
    """The lines written so far; the last may still be in the writing."""
    lines = (run / "journal.jsonl").read_bytes().split(b"\n")[:-1]
    return [json.loads(line) for line in lines]


def until(true, what):
    """Wait for something that other processes bring about."""
    end_s = time.monotonic() + LONG_S
    while time.monotonic() < end_s:
        if value := true():
            return value
        time.sleep(0.02)
    raise AssertionError(f"waited in vain: {what}")


def reached(folder, kind, **fields):
    """Wait until the journal of the only run holds such a line, and return the run's folder."""

    def there():
        if not list(folder.glob("runs/*/journal.jsonl")):
            return None
        run = only_run(folder)
        found = any(
            line["kind"] == kind and all(line.get(key) == value for key, value in fields.items())
            for line in journal_of(run)
        )
        return run if found else None

    return until(there, f"{kind} {fields}")


def step_of(run):
    """The journal's last word on the plunger, in steps since the run began."""
    lines = journal_of(run)
    volumes = [line["volume_mL"] for line in lines if line["kind"] in ("outcome", "halt", "end")]
    return round(volumes[-1] / lines[0]["burette"]["step_mL"])
