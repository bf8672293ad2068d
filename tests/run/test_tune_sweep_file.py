"""The results of a sweep on disk: whole lines survive, a torn tail is cut, damage is told by its line."""

import pytest

from titrator.run.tune.judge import Judged
from titrator.run.tune.sweep_file import SweepFile, SweepFileError

RUNS = (Judged(0, 0, 900.5, 30, (0.25, -1.0), 2, ""), Judged(0, 1, 801.0, 28, (), 0, "0 of 1 points found"))
MORE = (Judged(1, 0, 700.0, 20, (0.1,), 1, ""),)


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "sweep.jsonl"
    with SweepFile(path, {"kind": "sweep", "seed": 3}) as file:
        file.add(RUNS)
        file.add(MORE)
    return path


def test_what_was_kept_is_known_again(path):
    with SweepFile(path) as file:
        assert file.begun == {"kind": "sweep", "seed": 3}
        assert file.known == {(each.setting, each.run): each for each in RUNS + MORE}


def test_wherever_the_power_went_whole_lines_are_known_and_the_next_one_stands_by_itself(path):
    whole = path.read_bytes()
    ends = [place + 1 for place, byte in enumerate(whole) if byte == ord("\n")]
    for cut in range(ends[0], len(whole) + 1):
        path.write_bytes(whole[:cut])
        lines = sum(end <= cut for end in ends)
        with SweepFile(path) as file:
            assert len(file.known) == {1: 0, 2: 2, 3: 3}[lines]
            assert path.stat().st_size == ends[lines - 1]
            file.add(MORE)
        with SweepFile(path) as file:
            assert file.known[1, 0] == MORE[0]


def test_a_first_line_that_is_torn_is_no_sweep(path):
    path.write_bytes(path.read_bytes()[:10])
    with pytest.raises(SweepFileError, match=r"sweep\.jsonl:1: expected the first line of a sweep, got none"):
        SweepFile(path)


@pytest.mark.parametrize("damage", ["{}", "nonsense", '{"runs": [{"setting": 0}]}', '{"runs": 3}', "[1]"])
def test_damage_in_the_midst_is_told_by_its_line(path, damage):
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[1] = damage
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(SweepFileError, match=r"sweep\.jsonl:2: expected"):
        SweepFile(path)


def test_a_sweep_is_not_begun_on_top_of_another(path):
    with pytest.raises(FileExistsError):
        SweepFile(path, {"kind": "sweep"})
