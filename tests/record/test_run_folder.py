"""Run folders: numbered, never overwritten, found by path, number or `last`."""

import concurrent.futures
import datetime
import json

import pytest

from titrator.record.run_folder import RunFolder, RunFolderError, find_run, run_number

DAY = datetime.date(2026, 11, 25)


def make(runs, name="Iron(II) in a pickling bath"):
    folder = RunFolder.create(runs, name, DAY, {})
    folder.journal.touch()
    return folder


def test_folders_are_numbered_and_named_after_day_and_method(tmp_path):
    assert make(tmp_path).path.name == "0001-2026-11-25-iron-ii-in-a-pickling-bath"
    assert make(tmp_path, "Größe / µL?").path.name == "0002-2026-11-25-groe-l"
    assert make(tmp_path, "…").path.name == "0003-2026-11-25-run"


def test_the_files_that_a_run_was_made_from_are_copied(tmp_path):
    method = tmp_path / "method with spaces.yaml"
    method.write_text("format: 1\n", encoding="utf-8")
    folder = RunFolder.create(tmp_path / "runs", "x", DAY, {"method.yaml": method})
    assert folder.method.read_text(encoding="utf-8") == "format: 1\n"


def test_many_at_once_never_share_a_number(tmp_path):
    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        folders = list(pool.map(lambda index: make(tmp_path, f"run {index}"), range(40)))
    assert len({run_number(folder.path) for folder in folders}) == 40


def test_a_run_is_found_by_path_number_and_last(tmp_path):
    first, second = make(tmp_path), make(tmp_path)
    assert find_run(str(first.path), tmp_path).path == first.path
    assert find_run("1", tmp_path).path == first.path
    assert find_run("0001", tmp_path).path == first.path
    assert find_run("last", tmp_path).path == second.path


@pytest.mark.parametrize("text", ["3", "nonsense", "", "-1", "0001-2026"])
def test_what_is_not_there_is_refused_with_what_there_is(tmp_path, text):
    make(tmp_path / "runs")
    with pytest.raises(RunFolderError, match=r"expected a run.*|.*without one"):
        find_run(text, tmp_path / "runs")


def test_no_runs_at_all(tmp_path):
    with pytest.raises(RunFolderError, match="holds no run"):
        find_run("last", tmp_path / "nowhere")


def test_an_evaluation_never_overwrites_another(tmp_path):
    folder = make(tmp_path)
    paths = [folder.add_evaluation({"value": value}) for value in (1, 2, 3)]
    assert [path.name for path in paths] == [f"evaluation-{n:03d}.json" for n in (1, 2, 3)]
    assert json.loads(paths[1].read_text(encoding="utf-8")) == {"value": 2}


def test_a_folder_that_cannot_be_made_says_what_to_do(tmp_path):
    blocked = tmp_path / "file"
    blocked.touch()
    with pytest.raises(RunFolderError, match="--out"):
        make(blocked / "runs")
