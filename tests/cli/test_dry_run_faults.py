"""`titrator dry-run --fault`: what it prints, what it refuses, and the list of faults. The dry runs are simulated."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from titrator.cli.main import main

METHOD = str(Path(__file__).parents[2] / "configs" / "methods" / "iron_in_pickling_bath.yaml")


@pytest.fixture
def call(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def invoke(*words):
        return CliRunner().invoke(main, ["dry-run", *words], catch_exceptions=False)

    return invoke


def test_a_run_with_faults_says_before_and_after_what_went_wrong(call):
    done = call(METHOD, "--no-figure", "--fault", "bubble=0.05 mL@8 mL", "--fault", "stall@24.4 mL")
    assert done.exit_code == 0, done.output
    assert "What goes wrong: bubble=0.05 mL@8 mL" in done.stdout
    assert "bubble of 0.05 mL from 8.0" in done.stdout
    assert "nothing: stall was due at 24.4 mL, and the run ended before" in done.stdout


def test_json_has_the_faults_with_the_truth(call, tmp_path):
    done = call(METHOD, "--no-figure", "--json", "--fault", "stall@8mL")
    assert done.exit_code == 1  # finished without a point
    document = json.loads(done.stdout)
    (fault,) = document["truth"]["faults"]
    assert {"name", "size", "unit", "due_mL", "due_s", "struck_mL", "struck_s"} == set(fault)
    assert (fault["name"], fault["due_mL"]) == ("stall", 8.0)
    (stored,) = (tmp_path / "runs").glob("*/truth.json")
    assert json.loads(stored.read_text(encoding="utf-8"))["faults"] == [fault]
    (journal,) = (tmp_path / "runs").glob("*/journal.jsonl")
    assert "stall" not in journal.read_text(encoding="utf-8")


def test_without_a_fault_the_list_is_empty_and_nothing_is_said(call):
    done = call(METHOD, "--no-figure", "--json")
    assert json.loads(done.stdout)["truth"]["faults"] == []
    assert "wrong" not in done.stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("buble@8 mL", "character 1: expected the name of a fault, got 'buble' (did you mean bubble?"),
        ("bubble=5 mV@8 mL", "character 8: expected a volume"),
        ("bubble", "character 7: expected @ and when it strikes"),
    ],
)
def test_wrong_words_exit_2_before_anything_is_written(call, tmp_path, words, told):
    done = call(METHOD, "--fault", "stall@8 mL", "--fault", words)
    assert done.exit_code == 2
    assert told in done.stderr
    assert not (tmp_path / "runs").exists()
    as_json = call(METHOD, "--json", "--fault", words)
    assert as_json.exit_code == 2
    (problem,) = json.loads(as_json.stdout)["problems"]
    assert told in problem["text"]


def test_the_catalogue_is_listed_without_a_method(call):
    done = call("--faults")
    assert done.exit_code == 0
    for words in ("burette:", "vessel:", "electrode:", "stirrer-off", "bubble=0.05 mL", "--fault NAME[=SIZE]@WHEN"):
        assert words in done.stdout
    listed = json.loads(call("--faults", "--json").stdout)["faults"]
    assert len(listed) == 24
    assert {"name", "where", "unit", "default", "does"} == set(listed[0])


def test_a_method_is_still_missed_where_there_is_none(call):
    done = call()
    assert done.exit_code == 2
    assert "METHOD" in done.stderr
