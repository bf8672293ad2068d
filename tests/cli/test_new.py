"""`titrator new`: what it writes is checked by the program itself, and one draft is rehearsed (simulated)."""

import json
import re
import tempfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.cell_file import load_cell
from titrator.bench.rig import load_rig
from titrator.chemistry.references import REFERENCES
from titrator.cli.main import main
from titrator.cli.new import QUESTIONS
from titrator.method import load_method
from titrator.run.draft import Answers, DraftError, draft
from titrator.run.draft_text import cell_text, method_text, rig_text
from titrator.run.fits import fits


def new(*words, answers=None):
    return CliRunner().invoke(main, ["new", *map(str, words)], input=answers)


def sound(folder):
    """Load all that was written; each loader refuses what is wrong."""
    method_path = Path(folder) / "method.yaml"
    method, rig = load_method(method_path), load_rig(Path(folder) / "rig.yaml")
    fits(method, method_path, rig)
    load_cell(Path(folder) / "cell.yaml")
    return method, rig


def test_the_suggested_answers_give_what_check_takes(tmp_path):
    done = new(tmp_path / "here", "--defaults")
    assert done.exit_code == 0, done.stderr
    method, rig = sound(tmp_path / "here")
    # 1.2 to 2.2 mol/L, diluted tenfold, 10 mL with 0.1 mol/L: 12 to 22 mL, by hand.
    assert (method.ends_when.volume_above_mL, method.additions.most_mL, method.additions.first_mL) == (24.5, 1.0, 0.1)
    assert rig.wetted == ("glass", "PTFE", "FEP")
    assert method.rehearsal.rig == (tmp_path / "here" / "rig.yaml").resolve()


def test_what_it_advises_works(tmp_path):
    done = new(tmp_path, "--defaults")
    advised = done.stdout.splitlines()[-1].split(": ", 1)[0], done.stdout.splitlines()[-1].split("titrator ")[-1]
    checked = CliRunner().invoke(main, advised[1].split())
    assert checked.exit_code == 0, checked.stderr
    assert "fits the rig" in checked.stdout


def test_a_draft_can_be_rehearsed(tmp_path):
    assert new(tmp_path, "--defaults", "--name", "Draft").exit_code == 0
    words = [
        "dry-run",
        str(tmp_path / "method.yaml"),
        "--seed",
        "5",
        "--no-figure",
        "--json",
        "--out",
        str(tmp_path / "r"),
    ]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["state"] == "finished"
    result, truth = document["results"][0], document["truth"]["results"][0]
    assert abs(result["value"] - truth["value"]) <= 4 * result["u"]


def test_questions_are_asked_and_answered(tmp_path):
    answers = ["Bath 7", "0.5", "0.5 mol/L", "1 mol/L", "5", "10 mL", "0.1 mol/L", "sulfuric acid", "25 °C", "", "", "",
               "", "n"]  # fmt: skip
    done = new(tmp_path, answers="\n".join(answers) + "\n")
    assert done.exit_code == 0, done.stderr
    assert "a bare number without unit" in done.stderr or "without unit" in done.stderr  # 0.5 was asked again
    method, _ = sound(tmp_path)
    assert (method.name, method.sample.expected.low_mol_per_L, method.sample.dilution.value) == ("Bath 7", 0.5, 5.0)


def test_options_answer_for_themselves_and_json_tells_what_was_written(tmp_path):
    given_words = [word for name, _, _, suggested in QUESTIONS for word in (f"--{name}", suggested)]
    done = new(tmp_path, *given_words, "--refills", "--json")
    assert done.exit_code == 0, done.stderr
    document = json.loads(done.stdout)
    assert {kind: Path(document[kind]).name for kind in ("method", "rig", "cell")} == {
        "method": "method.yaml", "rig": "rig.yaml", "cell": "cell.yaml",
    }  # fmt: skip
    assert sound(tmp_path)[1].burette.refills is True


@pytest.mark.parametrize("name", ["method.yaml", "rig.yaml", "cell.yaml"])
def test_nothing_is_overwritten(tmp_path, name):
    (tmp_path / name).write_text("mine", "utf-8")
    done = new(tmp_path, "--defaults")
    assert done.exit_code == 2
    assert "nothing is overwritten" in done.stderr
    assert [(path.name, path.read_text("utf-8")) for path in tmp_path.iterdir()] == [(name, "mine")]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "--name: expected an answer, got none. Nothing was written"),
        (["--defaults", "--aliquot", "10"], 'expected a volume such as "10.00 mL", got "10"'),
        (["--defaults", "--aliquot", "0 mL"], 'expected a volume above 0.001 mL, got "0 mL"'),
        (["--defaults", "--titrant", "0.1 M"], "did you mean mol/L?"),
        (["--defaults", "--dilution", "ten"], 'expected a number above 0, without unit, got "ten"'),
        (["--defaults", "--dilution", "0.5"], "--dilution: expected at least 1"),
        (["--defaults", "--dilution", "1e300"], "--dilution: expected at least 1"),
        (["--defaults", "--titrant", "1e-300 mol/L"], "expected a concentration above 1e-06 mol/L"),
        (["--defaults", "--stroke", "1e300 mL"], "expected a volume below 5000 mL"),
        (["--defaults", "--name", " "], 'expected some text, got " "'),
        (["--defaults", "--acid", "vinegar"], "'vinegar' is not one of"),
        (["--defaults", "--highest", "1 mol/L"], "--highest: expected at least the lowest, 1.2 mol/L, got 1 mol/L"),
        (["--defaults", "--stroke", "10 mL"], "Take an aliquot of at most 4 mL, dilute more, or use --refills"),
        (["--defaults", "--capacity", "80 mL"], "--capacity: expected a vessel of at least 84.5 mL"),
        (["--defaults", "--aliquot", "0.1 mL"], "--aliquot: expected one that takes at least 0.5 mL of titrant"),
        (["--defaults", "--temperature", "70 °C"], "--temperature: silver/silver chloride, 3 mol/L KCl"),
    ],
)
def test_wrong_answers_are_told_and_nothing_is_written(tmp_path, words, said):
    done = new(tmp_path / "here", *words, answers="")
    assert done.exit_code == 2
    assert said in done.stderr
    assert not (tmp_path / "here").exists()


def test_the_aliquot_that_is_advised_does(tmp_path):
    assert new(tmp_path, "--defaults", "--stroke", "10 mL", "--aliquot", "4 mL").exit_code == 0
    sound(tmp_path)


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("in the way", "utf-8")
    done = new(tmp_path / "file" / "deeper", "--defaults")
    assert done.exit_code == 2
    assert "expected" in done.stderr


amounts = st.floats(1e-3, 5.0)
drafts = st.builds(
    Answers,
    name=st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=30),
    low_mol_per_L=amounts,
    high_mol_per_L=amounts,
    dilution=st.sampled_from([1.0, 2.0, 10.0, 25.0, 3.3333333333]),
    aliquot_mL=st.floats(0.1, 100.0),
    titrant_mol_per_L=st.floats(0.01, 0.5),
    acid=st.sampled_from(["sulfuric acid", "perchloric acid"]),
    temperature_C=st.floats(10.0, 40.0),
    reference=st.just(""),
    filling=st.just(""),
    tip=st.sampled_from(["immersed", "above"]),
    capacity_mL=st.floats(50.0, 1000.0),
    stroke_mL=st.sampled_from([1.0, 5.0, 10.0, 20.0, 25.0, 50.0]),
    refills=st.booleans(),
)


@settings(max_examples=200)
@given(drafts, st.sampled_from(REFERENCES))
def test_every_draft_is_sound_or_refused_with_a_reason(answers, reference):
    import dataclasses

    answers = dataclasses.replace(answers, reference=reference.electrode, filling=reference.filling)
    drafted, refusal = None, ""
    try:
        drafted = draft(answers)
    except DraftError as error:
        refusal = str(error)
    if drafted is None:
        assert re.match("--[a-z]+: .*expected", refusal)
        return
    with tempfile.TemporaryDirectory() as folder:
        texts = {
            "method.yaml": method_text(drafted, "cell.yaml", "rig.yaml"),
            "rig.yaml": rig_text(drafted),
            "cell.yaml": cell_text(drafted),
        }
        for name, text in texts.items():
            Path(folder, name).write_text(text, "utf-8")
            assert max(map(len, text.splitlines())) <= 200
        sound(folder)
