"""Broken cell files: every problem with its place and its words (the edits and the expectations: broken_cells.yaml)."""

from pathlib import Path

import pytest
import yaml

from sim.cell_file import CellFile, load_cell
from titrator.files import FileProblem
from titrator.files.key_table import refreshed
from titrator.files.keys import documented_keys

HERE = Path(__file__).parent
GOOD = (HERE / "good_cell.yaml").read_text("utf-8")
CASES = yaml.safe_load((HERE / "broken_cells.yaml").read_text("utf-8"))


@pytest.mark.parametrize("case", CASES, ids=[repr(case["now"])[:40] for case in CASES])
def test_an_edit_that_breaks_the_cell(tmp_path, case):
    assert GOOD.count(case["was"]) == 1
    path = tmp_path / "cell.yaml"
    path.write_text(GOOD.replace(case["was"], case["now"]), "utf-8")
    with pytest.raises(FileProblem) as caught:
        load_cell(path)
    assert [line.removeprefix(f"{path}:") for line in str(caught.value).splitlines()] == case["told"]


def test_there_are_enough_cases_and_the_unedited_file_is_good():
    assert len({(case["was"], case["now"]) for case in CASES}) == len(CASES) >= 25
    assert load_cell(HERE / "good_cell.yaml").mixing_s == 1.5


def test_every_key_has_its_description_in_the_docs():
    assert [key.name for key in documented_keys(CellFile) if not key.field.description] == []
    document = (HERE.parents[1] / "docs" / "cell-file.md").read_text("utf-8")
    assert refreshed(document, CellFile) == document, (
        "run: python -m titrator.files.key_table sim.cell_file:CellFile docs/cell-file.md"
    )
