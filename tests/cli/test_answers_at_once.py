"""`titrator --help` and `titrator check` answer at once: they load no numerical or drawing library (on sys.modules)."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

METHOD = Path(__file__).parents[2] / "configs" / "methods" / "iron_in_pickling_bath.yaml"
HEAVY = ["numpy", "scipy", "matplotlib", "optuna", "distributed", "sim", "titrator.evaluate", "titrator.run"]

PROGRAM = """
import json, sys
from titrator.cli.main import main
try:
    main(sys.argv[1:])
except SystemExit as leaving:
    status = leaving.code or 0
print(json.dumps({"status": status, "modules": sorted(sys.modules)}), file=sys.stderr)
"""


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["check", str(METHOD)],
        ["dry-run", "--help"],
        ["evaluate", "--help"],
        ["run", "--help"],
        ["tune", "--help"],
        ["hold", "--help"],
    ],
)
def test_loads_nothing_heavy(words):
    done = subprocess.run([sys.executable, "-c", PROGRAM, *words], capture_output=True, text=True, check=True)
    told = json.loads(done.stderr.splitlines()[-1])
    assert told["status"] == 0, done.stderr
    assert [name for name in HEAVY if name in told["modules"]] == []
    assert done.stdout


@pytest.mark.parametrize("words", [["hold"], ["continue"], ["stop"], ["answer"]])
def test_a_word_to_a_run_and_its_help_load_nothing_numerical(tmp_path, words):
    run = tmp_path / "0001-2026-11-25-a-run"
    run.mkdir()
    (run / "journal.jsonl").touch()
    more = ["yes"] if words == ["answer"] else []
    command = [sys.executable, "-c", PROGRAM, *words, str(run), *more]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    told = json.loads(done.stderr.splitlines()[-1])
    assert told["status"] == 1  # no process answers for it
    assert "no process answers" in done.stderr
    assert [name for name in ("numpy", "scipy", "matplotlib", "sim", "rich") if name in told["modules"]] == []
