"""`titrator tune` on the command line: small sweeps (simulated), wrong words, going on, replay."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from titrator.cli.main import main
from titrator.record.run_lock import RunLock

CONFIGS = Path(__file__).parents[2] / "configs"
METHOD = str(CONFIGS / "methods" / "iron_in_pickling_bath.yaml")
SMALL = ["--runs", "24", "--rule", "adaptive", "--workers", "1", "--seed", "3"]
FILES = (
    *("method.yaml", "rig.yaml", "cells/0001.yaml", "host.json", "sweep.jsonl", "trade-off.json"),
    *("figures/trade-off.png", "figures/trade-off.svg"),
)
CELLS, RIGS = CONFIGS / "cells", CONFIGS / "rigs"
BLANK = str(CONFIGS / "methods" / "blank_of_the_iron_method.yaml")
PROGRAM = "from titrator.cli.main import main; main()"


def call(*words, **more):
    return CliRunner().invoke(main, ["tune", *map(str, words)], catch_exceptions=False, **more)


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A small sweep, as JSON, and the folder that it was started in."""
    folder = tmp_path_factory.mktemp("sweep")
    told = call(METHOD, *SMALL, "--into", folder / "runs", "--json")
    assert told.exit_code == 0, told.stderr
    return folder, told


def test_json_has_the_trade_off_and_timings_under_host_only(done):
    document = json.loads(done[1].stdout)
    assert document["runs"] == 24
    assert document["simulated"] is True
    assert document["rules"] == ["adaptive"]
    assert len(document["settings"]) == document["searched"]["settings"]
    own = document["settings"][0]
    assert (own["own"], own["values"]["additions.aim"]) == (True, "25 mV")
    assert own["searched"]["runs"] == document["searched"]["runs_each"]
    assert own["confirmed"]["rms_error_uL"] > 0.0
    assert sum(each["picked"] for each in document["settings"]) == 1
    host = document["host"]
    assert {
        "elapsed_s",
        "start_s",
        "sweep_s",
        "workers",
        "runs_made",
        "runs_per_s",
        "processor_s",
        "busy_share",
    } <= set(host)
    assert host["runs_made"] == 24
    rest = json.dumps({key: value for key, value in document.items() if key not in ("run", "host")})
    for word in ("elapsed", 'per_s"', "workers", str(done[0])):
        assert word not in rest


def test_the_folder_holds_everything_and_check_takes_the_tuned_method(done):
    folder = Path(json.loads(done[1].stdout)["run"])
    for name in FILES:
        assert (folder / name).is_file(), name
    stored = json.loads((folder / "trade-off.json").read_text(encoding="utf-8"))
    assert stored == {key: value for key, value in json.loads(done[1].stdout).items() if key not in ("run", "host")}
    rig = str(CONFIGS / "rigs" / "simulated.yaml")
    checked = CliRunner().invoke(main, ["check", str(folder / "tuned.yaml"), "--rig", rig])
    assert checked.exit_code == 0, checked.stderr


def test_a_run_of_the_sweep_is_the_dry_run_with_its_cell_and_seed(done, tmp_path):
    folder = Path(json.loads(done[1].stdout)["run"])
    lines = (folder / "sweep.jsonl").read_text(encoding="utf-8").splitlines()[1:]
    runs = [run for line in lines for run in json.loads(line)["runs"]]
    wanted = next(run for run in runs if (run["setting"], run["run"]) == (0, 2))
    words = [
        "--cell",
        str(folder / "cells" / "0003.yaml"),
        "--seed",
        "5",
        "--no-figure",
        "--out",
        str(tmp_path),
        "--json",
    ]
    told = json.loads(CliRunner().invoke(main, ["dry-run", METHOD, *words]).stdout)
    assert (told["additions"], told["duration_s"]) == (wanted["additions"], wanted["duration_s"])
    error_mL = told["equivalence_points"][0]["volume_mL"] - told["truth"]["equivalence_points_mL"][0]
    assert [1000.0 * error_mL] == pytest.approx(wanted["errors_uL"], abs=1e-4)


def test_going_on_with_a_sweep_that_is_over_tells_the_same(done, tmp_path):
    folder = json.loads(done[1].stdout)["run"]
    again = call("--resume", folder, "--json", "--workers", "1", "--out", tmp_path / "again.yaml")
    assert again.exit_code == 0, again.stderr
    first, second = json.loads(done[1].stdout), json.loads(again.stdout)
    assert second.pop("host")["runs_made"] == 0
    first.pop("host")
    assert first == second
    assert (tmp_path / "again.yaml").is_file()


def test_runs_and_sweeps_are_numbered_together_and_told_apart(done):
    runs = done[0] / "runs"
    assert call("--resume", "last", "--into", runs, "--workers", "1").exit_code == 0
    lost = CliRunner().invoke(main, ["evaluate", "last", "--out", str(runs)])
    assert lost.exit_code == 2
    assert "holds no run" in lost.stderr
    run = CliRunner().invoke(main, ["dry-run", METHOD, "--no-figure", "--out", str(runs), "--json"])
    assert Path(json.loads(run.stdout)["run"]).name.startswith("0002-")
    assert call("--resume", "2", "--into", runs).exit_code == 2
    judged = call("--replay", "last", "--into", runs, "--rule", "adaptive", "--runs", "24", "--workers", "1", "--json")
    assert judged.exit_code == 0, judged.stderr
    (each,) = json.loads(judged.stdout)["replayed"]
    assert each["recorded"]["rule"] == "adaptive"
    assert [rule["rule"] for rule in each["rules"]] == ["adaptive"]
    assert each["rules"][0]["figures"]["runs"] == 24
    shown = call("--replay", "2", METHOD, "--into", runs, "--rule", "adaptive", "--runs", "24", "--workers", "1")
    assert "as given: aim 25 mV" in shown.stdout
    assert "recorded" in shown.stdout


def test_plain_lines_where_nobody_watches(done):
    lines = done[1].stderr.splitlines()
    assert "24 of 24 dry runs" in lines
    assert not [line for line in lines if "\x1b" in line or "\r" in line]


def wait_for_results(running, folder):
    ends = time.monotonic() + 120.0
    while not [path for path in folder.glob("runs/*/sweep.jsonl") if path.read_bytes().count(b"\n") >= 3]:
        assert time.monotonic() < ends
        assert running.poll() is None
        time.sleep(0.05)


def test_ctrl_c_keeps_what_is_done_and_says_how_to_go_on(tmp_path):
    words = [sys.executable, "-c", PROGRAM, "tune", METHOD, "--runs", "600", "--rule", "adaptive", "--workers", "1"]
    running = subprocess.Popen(
        words, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    wait_for_results(running, tmp_path)
    os.killpg(running.pid, signal.SIGINT)  # as a terminal does: to the workers too
    _, told = running.communicate(timeout=120.0)
    assert running.returncode == 130, told
    assert "Traceback" not in told
    (folder,) = tmp_path.glob("runs/*")
    assert f"titrator tune --resume {folder.relative_to(tmp_path)}" in told


def test_who_conducts_a_sweep_is_alone_with_it(done):
    folder = Path(json.loads(done[1].stdout)["run"])
    with RunLock(folder):
        told = call("--resume", folder, "--workers", "1")
    assert told.exit_code == 2
    assert "expected a sweep that no process conducts" in told.stderr


def test_workers_leave_when_their_conductor_was_killed(tmp_path):
    words = [sys.executable, "-c", PROGRAM, "tune", METHOD, "--runs", "600", "--rule", "adaptive", "--workers", "2"]
    running = subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    wait_for_results(running, tmp_path)
    running.kill()
    # Every worker holds the standard error that it was begun with: its end is theirs.
    assert b"Traceback" not in running.communicate(timeout=120.0)[1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "expected one METHOD, got 0"),
        ([METHOD, METHOD], "expected one METHOD, got 2"),
        (["nowhere.yaml"], "nowhere.yaml:1:1: expected a YAML file in UTF-8, got no such file"),
        ([METHOD, "--runs", "5"], "5 is not in the range x>=24"),
        ([METHOD, "--workers", "0"], "0 is not in the range x>=1"),
        ([METHOD, "--seed", "-1"], "-1 is not in the range x>=0"),
        ([METHOD, "--prefer", "best"], "'best' is not one of"),
        ([METHOD, "--rule", "adaptiv"], "--rule: expected"),
        ([METHOD, "--cells", "nowhere"], "nowhere: expected a folder with cell files"),
        ([METHOD, "--cells", "."], "expected cell files in it"),
        ([METHOD, "--cells", CELLS, "--cell", "x.yaml"], "--cell: expected no cell to vary beside"),
        ([METHOD, "--cells", CELLS], "expected a cell of iron(II) with cerium(IV) as"),
        ([METHOD, "--cell", CELLS / "acetic_acid.yaml"], "acetic_acid.yaml:1:1: expected a cell of iron(II)"),
        ([METHOD, "--rig", RIGS / "simulated_small_burette.yaml"], "expected a rig whose burette does not refill"),
        ([METHOD, "--cluster", "nonsense"], "--cluster: expected the address of a scheduler"),
        ([METHOD, "--cluster", "tcp://h:1", "--workers", "2"], "--workers: expected no number of processes"),
        ([METHOD, "--out", METHOD], "nothing is overwritten"),
        ([METHOD, "--out", "nowhere/tuned.yaml"], "expected a folder to write it in, got none"),
        ([METHOD, "--resume", "last"], "METHOD: expected nothing beside --resume"),
        (["--resume", "last", "--runs", "50"], "--runs: expected nothing beside --resume"),
        (["--resume", "last"], "holds no sweep"),
        (["--resume", "."], "expected a sweep folder with a sweep.jsonl, got a folder without one"),
        (["--replay"], "expected one RUN or more behind --replay"),
        (["--replay", "last"], "holds no run"),
        (["--replay", "last", "--cells", "x"], "--cells: expected no such option beside --replay"),
        ([BLANK], "expected a method that seeks an equivalence point"),
    ],
)  # fmt: skip
def test_wrong_words_are_told_before_anything_is_made(tmp_path, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    told = call(*words)
    assert told.exit_code == 2, told.output
    assert said in told.stderr
    assert "Traceback" not in told.stderr
    assert list(tmp_path.iterdir()) == []
    as_json = call(*words, "--json")
    assert as_json.exit_code == 2
    assert json.loads(as_json.stdout)["problems"]


def test_the_missing_library_is_named_with_its_command(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(sys.modules, "optuna", None)
    told = call(METHOD)
    assert told.exit_code == 2
    assert "expected the library optuna, got none. Install it: pip install 'titrator[tune]'" in told.stderr
