"""Broken method files: every problem with its place and its words (the edits and the expectations: broken.yaml)."""

from pathlib import Path
from typing import Any

import pytest
import yaml

from titrator.files import FileProblem
from titrator.method import load_method

HERE = Path(__file__).parent
GOOD = (HERE / "good.yaml").read_text("utf-8")
CASES = yaml.safe_load((HERE / "broken.yaml").read_text("utf-8"))


def told(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "method.yaml"
    path.write_text(text, "utf-8")
    with pytest.raises(FileProblem) as caught:
        load_method(path)
    lines = str(caught.value).splitlines()
    assert all(line.startswith(f"{path}:") for line in lines)
    return [line.removeprefix(f"{path}:") for line in lines]


@pytest.mark.parametrize("case", CASES, ids=[repr(case["now"])[:40] for case in CASES])
def test_an_edit_that_breaks_the_method(tmp_path: Path, case: dict[str, Any]) -> None:
    assert GOOD.count(case["was"]) == 1
    assert told(tmp_path, GOOD.replace(case["was"], case["now"])) == case["told"]


def test_of_another_format_nothing_else_is_said(tmp_path: Path) -> None:
    (line,) = told(tmp_path, GOOD.replace("format: 1", "format: 3").replace("fill: 50 mL", "filling: much"))
    assert line.startswith("1:9: expected 1, the format that this version reads, got 3; a later version")


def test_there_are_enough_cases() -> None:
    assert len({(case["was"], case["now"]) for case in CASES}) == len(CASES) >= 60


def test_all_problems_of_a_file_come_at_once_in_order_of_line(tmp_path: Path) -> None:
    text = GOOD
    for was, now in (
        ("value: 0.1000 mol/L", "value: 0.1000"),
        ("fill: 50 mL", "fill: 49 mL"),
        ("unit: mol/L", "unit: mol"),
        ("equivalence_points: 1", "equivalence_points: 0"),
        ("name: Iron(II) in a bath", "name: 5"),
    ):
        text = text.replace(was, now)
    places = [line.split(" ")[0] for line in told(tmp_path, text)]
    assert places == ["2:7:", "9:26:", "28:9:", "53:23:", "56:9:"]


def test_the_folder_of_the_good_file_is_no_method(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match=r":1:1: expected a YAML file in UTF-8, got a folder"):
        load_method(tmp_path)
