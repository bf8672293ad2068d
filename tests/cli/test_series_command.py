"""`titrator evaluate` with several runs, as a user calls it (the runs are simulated), and with wrong words."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

METHODS = Path(__file__).parents[2] / "configs" / "methods"


def titrator(*words, cwd):
    command = [sys.executable, "-m", "titrator.cli.main", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, timeout=120)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Runs 1 to 3 of the demonstration, 4 its blank, 5 another method."""
    folder = tmp_path_factory.mktemp("work")
    for method, seed in (
        ("iron_in_pickling_bath", 1), ("iron_in_pickling_bath", 2), ("iron_in_pickling_bath", 3),
        ("blank_of_the_iron_method", 1), ("iron_with_dichromate", 1),
    ):  # fmt: skip
        done = titrator("dry-run", METHODS / f"{method}.yaml", "--seed", seed, "--no-figure", cwd=folder)
        assert done.returncode == 0, done.stderr
    return folder


def files(folder):
    return {path: path.stat().st_mtime_ns for path in (folder / "runs").rglob("*") if path.is_file()}


def test_a_series_on_the_terminal(folder):
    before = files(folder)
    done = titrator("evaluate", 1, 2, 3, 4, cwd=folder)
    assert done.returncode == 0, done.stderr
    for words in ("run 1", "run 3", "mean of 3:", "standard deviation", "Grubbs' test", "Blank: no blank shows a jump",
                  "scatter of 3 replicates", "share", "dof"):  # fmt: skip
        assert words in done.stdout
    assert files(folder) == before  # raw data and evaluations as they were


def test_a_series_as_json(folder):
    done = titrator("evaluate", 1, 2, 3, "--exclude", "2=spilled when filled", "--json", cwd=folder)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    (result,) = document["results"]
    assert [each["excluded"] for each in result["replicates"]] == [None, "spilled when filled", None]
    assert result["n"] == 2
    assert {"value", "u", "U", "k", "interval_95", "interval_from", "budget"} <= set(result["mean"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((1, 5), "expected runs of one method and sample in a series, got another"),
        ((1, 1), "expected each run once in a series, got one twice"),
        ((1, 99), "expected a run (its folder, its number or `last`), got '99'"),
        ((1, 2, "--exclude", "2"), "--exclude: expected RUN=REASON"),
        ((1, 2, "--exclude", "2= "), "--exclude: expected RUN=REASON"),
        ((1, 2, "--exclude", "3=spilled"), "--exclude: expected one of the runs that are evaluated"),
        ((1, 2, "--exclude", "1=spilled", "--exclude", "2=spilled"), "not excluded, got none"),
        ((1, 2, "--volume-unit", "mL"), "--volume-unit: expected only with a CSV file"),
        ((4, 4), "expected each run once"),
        ((), "Missing argument"),
    ],
)
def test_wrong_words(folder, words, told):
    done = titrator("evaluate", *words, cwd=folder)
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr


def test_a_csv_is_no_part_of_a_series(folder):
    (folder / "curve.csv").write_text("volume_mL,potential_mV\n0,1\n1,2\n", "utf-8")
    done = titrator("evaluate", 1, "curve.csv", cwd=folder)
    assert done.returncode == 2
    assert "expected runs in a series, got a file" in done.stderr


def test_a_blank_without_a_jump_is_a_result(folder):
    done = titrator("evaluate", 4, cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "it takes less than the first addition, 0.05 mL" in done.stdout
    assert "none found" not in done.stdout
    document = json.loads(titrator("evaluate", 4, "--json", cwd=folder).stdout)
    assert document["blank"]["below_mL"] == pytest.approx(0.05)
    assert document["blank"]["volume_mL"] is None


def test_an_evaluation_stands_beside_the_old_one(folder):
    run = next((folder / "runs").glob("0005*"))
    before = files(folder)
    done = titrator("evaluate", 5, cwd=folder)
    assert done.returncode == 0, done.stderr
    after = files(folder)
    assert set(after) - set(before) == {run / "results" / "evaluation-002.json"}
    assert {path: after[path] for path in before} == before
    first, second = (json.loads((run / "results" / f"evaluation-00{k}.json").read_text("utf-8")) for k in (1, 2))
    assert first["results"] == second["results"]
    for words in ("Uncertainty of iron(II), mol/L", "sensitivity", "purity of K2Cr2O7"):
        assert words in done.stdout
