"""Broken rig files: every problem with its place and its words (the edits and the expectations: broken_rigs.yaml)."""

from pathlib import Path

import pytest
import yaml

from titrator.bench.rig import Rig, load_rig
from titrator.files import FileProblem
from titrator.files.key_table import refreshed
from titrator.files.keys import documented_keys

HERE = Path(__file__).parent
GOOD = (HERE / "good_rig.yaml").read_text("utf-8")
CASES = yaml.safe_load((HERE / "broken_rigs.yaml").read_text("utf-8"))


@pytest.mark.parametrize("case", CASES, ids=[repr(case["now"])[:40] for case in CASES])
def test_an_edit_that_breaks_the_rig(tmp_path, case):
    assert GOOD.count(case["was"]) == 1
    path = tmp_path / "rig.yaml"
    path.write_text(GOOD.replace(case["was"], case["now"]), "utf-8")
    with pytest.raises(FileProblem) as caught:
        load_rig(path)
    assert [line.removeprefix(f"{path}:") for line in str(caught.value).splitlines()] == case["told"]


def test_there_are_enough_cases_and_the_unedited_file_is_good():
    assert len({(case["was"], case["now"]) for case in CASES}) == len(CASES) >= 25
    assert load_rig(HERE / "good_rig.yaml").wetted == ("glass", "PTFE", "FEP")


def test_every_key_has_its_description_in_the_docs():
    assert [key.name for key in documented_keys(Rig) if not key.field.description] == []
    document = (HERE.parents[1] / "docs" / "rig-file.md").read_text("utf-8")
    assert refreshed(document, Rig) == document, (
        "run: python -m titrator.files.key_table titrator.bench.rig:Rig docs/rig-file.md"
    )
