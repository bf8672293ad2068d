"""Cautions are remembered for a content, a person and a day, in a file that nobody needs."""

import datetime
import stat
from pathlib import Path

import pytest

from titrator.run.acknowledgement import Acknowledgements, state_folder

TODAY = datetime.date(2026, 11, 25)
ONE, OTHER = "1" * 64, "2" * 64


def test_remembered_for_this_content_person_and_day_only(tmp_path):
    memory = Acknowledgements(TODAY, tmp_path / "titrator")
    assert not memory.has(ONE, "mara")
    memory.add(ONE, "mara")
    memory.add(ONE, "mara")
    assert memory.has(ONE, "mara")
    assert not memory.has(OTHER, "mara")
    assert not memory.has(ONE, "ivo")
    tomorrow = Acknowledgements(TODAY + datetime.timedelta(days=1), tmp_path / "titrator")
    assert not tomorrow.has(ONE, "mara")
    tomorrow.add(OTHER, "ivo")
    assert not memory.has(ONE, "mara")  # older days are dropped: the file stays small


def test_the_file_is_its_owners(tmp_path):
    Acknowledgements(TODAY, tmp_path / "titrator").add(ONE, "mara")
    (file,) = (tmp_path / "titrator").iterdir()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700


@pytest.mark.parametrize(
    "content", ["", "{", "[]", "null", '{"format": 2, "acknowledged": []}', '{"format": 1, "acknowledged": 7}',
                '{"format": 1, "acknowledged": [7, ["a"], [1, 2, 3]]}', "\x00", "[" * 100000],
)  # fmt: skip
def test_a_file_that_is_none_counts_for_nothing_and_is_replaced(tmp_path, content):
    (tmp_path / "acknowledged.json").write_text(content, encoding="utf-8")
    memory = Acknowledgements(TODAY, tmp_path)
    assert not memory.has(ONE, "mara")
    memory.add(ONE, "mara")
    assert memory.has(ONE, "mara")


def test_the_folder_is_that_of_the_base_directory_specification(monkeypatch, tmp_path):
    # XDG Base Directory Specification 0.8: $XDG_STATE_HOME, default $HOME/.local/state; relative paths are ignored.
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert state_folder() == tmp_path / "titrator"
    monkeypatch.setenv("XDG_STATE_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert state_folder() == tmp_path / ".local" / "state" / "titrator"
    monkeypatch.delenv("XDG_STATE_HOME")
    assert state_folder() == Path(tmp_path, ".local", "state", "titrator")
