"""Varied cells: sound, evenly spread, from the seed alone, and changed in what is said to be varied only."""

from pathlib import Path

import pytest
import yaml

from sim.cell_file import load_cell
from titrator.files import FileProblem, InputProblem
from titrator.run.tune.cells import FACTOR, cells_of_folder, varied_cells

CELLS = Path(__file__).parents[2] / "configs" / "cells"
IRON = CELLS / "iron_in_pickling_bath.yaml"


@pytest.mark.parametrize("path", sorted(CELLS.glob("[a-y]*.yaml")), ids=lambda path: path.stem)
def test_every_cell_can_be_varied_into_sound_ones(path, tmp_path):
    own = yaml.safe_load(path.read_text(encoding="utf-8"))
    for cell in varied_cells(path, (2, 1), 7):
        (tmp_path / cell.name).write_text(cell.text, encoding="utf-8")
        load_cell(tmp_path / cell.name)
        varied = yaml.safe_load(cell.text)
        for section in set(varied) - {"sample", "mixing", "electrode", "noise", "drift"}:
            assert varied[section] == own[section]
        assert varied["electrode"].keys() - own["electrode"].keys() <= {"offset"}
        assert cell.varied.split(", ")[0] in cell.text.splitlines()[0]


def test_each_group_covers_the_range_of_concentrations_evenly():
    """Five parts of 1.2 to 2.2 mol/L, each once."""
    cells = varied_cells(IRON, (5, 5), 3)
    for group in (cells[:5], cells[5:]):
        limits = [yaml.safe_load(cell.text)["sample"]["concentration"] for cell in group]
        edges = sorted((float(each["from"].split()[0]), float(each["to"].split()[0])) for each in limits)
        assert edges == [(1.2, 1.4), (1.4, 1.6), (1.6, 1.8), (1.8, 2.0), (2.0, 2.2)]


def test_lags_stay_within_the_factor_and_differ():
    mixing = [float(yaml.safe_load(cell.text)["mixing"].split()[0]) for cell in varied_cells(IRON, (20,), 1)]
    assert all(1.5 / FACTOR <= each <= 1.5 * FACTOR for each in mixing)
    assert min(mixing) < 1.2
    assert max(mixing) > 1.8
    assert len(set(mixing)) == 20


def test_the_seed_alone_decides():
    assert varied_cells(IRON, (3, 2), 4) == varied_cells(IRON, (3, 2), 4)
    assert varied_cells(IRON, (3, 2), 4) != varied_cells(IRON, (3, 2), 5)


def test_a_folder_gives_its_cells_by_name_and_tells_everything_that_is_wrong(tmp_path):
    for name in ("b.yaml", "a.yaml"):
        (tmp_path / name).write_text(IRON.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "notes.txt").write_text("none of these", encoding="utf-8")
    assert [cell.name for cell in cells_of_folder(tmp_path)] == ["a.yaml", "b.yaml"]
    (tmp_path / "c.yaml").write_text("mixing: 3\n", encoding="utf-8")
    (tmp_path / "d.yaml").write_text("", encoding="utf-8")
    with pytest.raises(FileProblem) as error:
        cells_of_folder(tmp_path)
    assert {problem.path.name for problem in error.value.problems} == {"c.yaml", "d.yaml"}


@pytest.mark.parametrize("folder", ["nowhere", "."])
def test_no_cells_are_told(tmp_path, folder):
    with pytest.raises(InputProblem, match="expected"):
        cells_of_folder(tmp_path / folder)
