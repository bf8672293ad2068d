"""Names, outputs and folders that nobody expects, and what stands in the JSON when a command gives up."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

METHOD = Path(__file__).parents[2] / "configs" / "methods" / "iron_in_pickling_bath.yaml"
RIG = METHOD.parents[1] / "rigs" / "simulated.yaml"
CHLORIDE = Path(__file__).parents[1] / "published" / "data" / "chloride_with_silver.csv"
FULL = Path("/dev/full")
BAD = os.fsdecode(b"bad\xff")
"""A name whose last byte is not UTF-8."""


def titrator(*words, stdout=subprocess.PIPE, before=(), **options):
    command = [*before, sys.executable, "-m", "titrator.cli.main", *map(str, words)]
    done = subprocess.run(command, stdout=stdout, stderr=subprocess.PIPE, timeout=120, **options)
    assert b"Traceback" not in done.stderr, done.stderr.decode()
    return done


def document(done):
    return json.loads(done.stdout.decode("utf-8", "strict"))


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs")
    done = titrator("dry-run", METHOD, "--seed", 7, "--json", "--no-figure", "--out", folder)
    assert done.returncode == 0
    return Path(document(done)["run"])


@pytest.fixture
def copy(run, tmp_path):
    return Path(shutil.copytree(run, tmp_path / "0001-2026-11-25-copy"))


# ------------------------------------------------------------------------------------------- names


@pytest.mark.parametrize("command", [["evaluate"], ["check"], ["dry-run"], ["hold"]])
def test_a_name_too_long_for_any_file(command, tmp_path):
    done = titrator(*command, "x" * 5000, cwd=tmp_path)
    assert done.returncode == 2
    assert b"expected" in done.stderr


@pytest.mark.parametrize("encoding", ["utf-8:strict", "utf-8:surrogateescape", "ascii:strict"])
def test_a_name_that_is_not_utf_8_is_told_escaped_in_json_and_in_print(tmp_path, encoding):
    csv = tmp_path / (BAD + ".csv")
    shutil.copy(CHLORIDE, csv)
    told = {"env": os.environ | {"PYTHONIOENCODING": encoding}}
    done = titrator("evaluate", csv, "--json", "--out", tmp_path / "out", **told)
    assert done.returncode == 0, done.stderr
    assert document(done)["name"] == r"bad\udcff.csv"
    (stored,) = (tmp_path / "out").glob("*.json")
    assert json.loads(stored.read_text(encoding="utf-8"))["name"] == r"bad\udcff.csv"
    assert len(list((tmp_path / "out").iterdir())) == 3  # with both figures
    done = titrator("check", csv, "--json", **told)
    assert done.returncode == 2
    assert document(done)["file"].endswith(r"bad\udcff.csv")
    done = titrator("dry-run", METHOD, "--no-figure", "--out", tmp_path / BAD, **told)
    assert done.returncode == 0, done.stderr
    assert b"Everything is in " in done.stdout


# ------------------------------------------------------------------------------------------- outputs


@pytest.mark.skipif(not FULL.exists(), reason="needs a device that is always full")
@pytest.mark.parametrize(
    "words",
    [["check", METHOD], ["check", METHOD, "--json"], ["dry-run", METHOD, "--no-figure", "--json"], ["--version"], []],
    ids=["check", "check json", "dry-run json", "version", "help"],
)
def test_an_output_that_is_full_is_not_done(words, tmp_path):
    with FULL.open("wb") as full:
        done = titrator(*(words or ["--help"]), stdout=full, cwd=tmp_path)
    assert done.returncode == 1
    assert b"expected to read and write" in done.stderr


@pytest.mark.parametrize("words", [["check", METHOD], ["dry-run", METHOD, "--no-figure"], ["evaluate", CHLORIDE]])
def test_no_output_at_all_is_no_obstacle(words, tmp_path):
    done = titrator(*words, before=["/bin/sh", "-c", 'exec "$@" >&-', "sh"], cwd=tmp_path)
    assert done.returncode == 0, done.stderr


# ------------------------------------------------------------------------------------------- records


def test_a_changed_method_in_the_folder_of_a_run_is_wrong_input(copy):
    with (copy / "method.yaml").open("a", encoding="utf-8") as file:
        file.write("# a note\n")
    done = titrator("evaluate", copy, "--json")
    assert done.returncode == 2
    (problem,) = document(done)["problems"]
    assert "Put the copy back" in problem["text"]


def test_a_run_whose_record_has_no_end_is_evaluated_and_not_done(copy):
    journal = copy / "journal.jsonl"
    lines = journal.read_bytes().splitlines(keepends=True)
    journal.write_bytes(b"".join(lines[:-1]))
    done = titrator("evaluate", copy, "--json")
    assert done.returncode == 1
    told = document(done)
    assert (told["state"], told["record_complete"], len(told["equivalence_points"])) == ("finished", False, 1)
    assert told["delivered_at_most_mL"] is None
    assert any("breaks off" in warning for warning in told["warnings"])


def test_a_folder_that_takes_no_evaluation_is_a_warning(copy):
    shutil.rmtree(copy / "results")
    (copy / "results").write_text("a file in the way", encoding="utf-8")
    done = titrator("evaluate", copy, "--json")
    assert done.returncode == 0
    assert any("could not be stored" in warning for warning in document(done)["warnings"])


# ------------------------------------------------------------------------------------------- JSON of what is wrong


WRONG = {
    "evaluate nothing": (["evaluate", "last"], None),
    "evaluate a CSV that is none": (["evaluate", METHOD], METHOD),
    "dry-run a rig": (["dry-run", RIG], RIG),
    "dry-run nothing": (["dry-run", "nowhere.yaml"], Path("nowhere.yaml")),
    "run a rig that is simulated": (["run", METHOD, "--rig", RIG], None),
    "hold nothing": (["hold", "last"], None),
    "check a rig with a rig": (["check", RIG, "--rig", RIG], None),
    "check nothing": (["check"], None),
    "an option that is none": (["dry-run", METHOD, "--sead", "3"], None),
    "a command that is none": (["titrate"], None),
    "an argument that is missing": (["evaluate"], None),
    "serve in two places": (["rig", "serve", "--method", METHOD, "--pty", "--port", "0"], None),
}


@pytest.mark.parametrize(("words", "file"), WRONG.values(), ids=WRONG.keys())
def test_wrong_input_is_told_in_json_too(words, file, tmp_path):
    done = titrator(*words, "--json", cwd=tmp_path)
    assert done.returncode == 2
    problems = document(done)["problems"]
    assert problems
    for problem in problems:
        assert set(problem) == {"file", "line", "column", "text"}
        assert problem["file"] == (str(file) if file else None)
        assert (problem["line"] is None) == (file is None)
    plain = titrator(*words, cwd=tmp_path)
    assert (plain.returncode, plain.stdout) == (2, b"")
    assert plain.stderr == done.stderr


def test_a_board_that_is_not_there_is_told_in_json_too():
    done = titrator("rig", "show", "/dev/no-such-port", "--json")
    assert done.returncode == 1
    (problem,) = document(done)["problems"]
    assert "/dev/no-such-port" in problem["text"]
