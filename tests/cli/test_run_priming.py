"""Priming before a run, the questions around it, and what the rig remembers. The board is simulated."""

import json

import pytest
from served import begun, board, changed, journal_of, reached, short_method, titrator, until

from titrator.control.priming import IN_PLACE, OVER_WASTE
from titrator.record.run_folder import RunFolder
from titrator.run.caller import call

SEED, FAST = 3, 30


@pytest.fixture
def place(tmp_path):
    """A bench of its own with a small burette that refills itself."""
    method = short_method(tmp_path)
    with board(tmp_path, method, line="tcp", seed=SEED, speed=FAST, small=True) as rig:
        yield method, rig


def words_of(method, rig, *more):
    return ("run", method, "--rig", rig, "--acknowledge-hazards", *more)


def remembered(tmp_path):
    return json.loads((tmp_path / "bench.memory.json").read_text(encoding="utf-8"))["titrant"]


def test_the_questions_are_answered_through_the_desk_and_the_rig_remembers(place, tmp_path):
    process = begun(*words_of(*place, "--prime"), cwd=tmp_path)
    run = reached(tmp_path, "question", text=OVER_WASTE)
    folder = RunFolder(run)
    held = call(folder, {"word": "state"})
    assert (held["state"], held["held_by"], held["question"]) == ("held", "question", OVER_WASTE)
    refused = call(folder, {"word": "continue"})
    assert refused["done"] is False
    assert "answer" in refused["text"]
    assert not (tmp_path / "bench.memory.json").exists()

    assert titrator("answer", "last", "yes", cwd=tmp_path).returncode == 0
    reached(tmp_path, "state", state="priming")
    assert remembered(tmp_path) is None  # a purge that breaks off here leaves a mixture
    reached(tmp_path, "question", text=IN_PLACE)
    until(lambda: remembered(tmp_path), "the new titrant")
    assert call(folder, {"word": "answer", "yes": True})["state"] in {"initial", "deciding", "dosing"}
    reached(tmp_path, "point", number=1)
    assert call(folder, {"word": "stop"})["state"] == "stopped"
    process.communicate(timeout=60)
    answers = [(line["yes"], line["where"]) for line in journal_of(run) if line["kind"] == "answer"]
    assert answers == [(True, "socket"), (True, "socket")]
    assert remembered(tmp_path) == {"name": "cerium(IV)", "mol_per_L": 0.1, "medium": "sulfuric acid"}


def test_no_to_the_first_question_ends_the_run_before_a_drop_has_moved(place, tmp_path):
    process = begun(*words_of(*place, "--prime"), cwd=tmp_path)
    run = reached(tmp_path, "question", text=OVER_WASTE)
    assert call(RunFolder(run), {"word": "answer", "yes": False})["state"] == "stopped"
    process.communicate(timeout=60)
    assert process.returncode == 1
    assert [line for line in journal_of(run) if "intent" in line["kind"]] == []
    assert not (tmp_path / "bench.memory.json").exists()


def test_another_titrant_than_the_one_remembered_is_refused_before_anything_is_written(place, tmp_path):
    method, rig = place
    process = begun(*words_of(*place), cwd=tmp_path)
    run = reached(tmp_path, "filling", known="stated by the method")
    call(RunFolder(run), {"word": "stop"})
    process.communicate(timeout=60)
    stronger = tmp_path / "stronger.yaml"
    text = method.read_text(encoding="utf-8")
    stronger_titrant = ("{value: 0.1000 mol/L, u: 0.0002 mol/L}", "{value: 0.1100 mol/L, u: 0.0002 mol/L}")
    cautioned = ("{name: cerium(IV) sulfate, concentration: 0.1 mol/L}", "{name: cerium(IV) sulfate}")
    text = changed(text, stronger_titrant, cautioned)
    stronger.write_text(text, encoding="utf-8")
    done = titrator(*words_of(stronger, rig, "--out", "later"), cwd=tmp_path)
    assert done.returncode == 1
    assert "cerium(IV) 0.11 mol/L" in done.stderr
    assert "0.75 mL over waste" in done.stderr  # three times the dead volume of 0.25 mL
    assert not (tmp_path / "later").exists()
    again = begun(*words_of(method, rig, "--out", "again"), cwd=tmp_path)
    desk = until(lambda: next(tmp_path.glob("again/*/desk.sock"), None), "the run with the same titrant")
    call(RunFolder(desk.parent), {"word": "stop"})
    again.communicate(timeout=60)
    (filling,) = [line for line in journal_of(desk.parent) if line["kind"] == "filling"]
    assert filling["known"] == "remembered"


def test_priming_with_a_sample_declared_in_place_is_refused(tmp_path):
    method = short_method(tmp_path)
    done = titrator("run", method, "--rig", "rig.yaml", "--prime", "--sample-in-place", cwd=tmp_path)
    assert done.returncode == 2
    assert "would run into the sample" in done.stderr


def test_what_is_delivered_over_waste_does_not_count_as_delivered(place, tmp_path):
    process = begun(*words_of(*place, "--prime"), cwd=tmp_path)
    run = reached(tmp_path, "question", text=OVER_WASTE)
    call(RunFolder(run), {"word": "answer", "yes": True})
    reached(tmp_path, "question", text=IN_PLACE)
    call(RunFolder(run), {"word": "stop"})
    process.communicate(timeout=60)
    assert journal_of(run)[-1]["volume_mL"] == 0.0
