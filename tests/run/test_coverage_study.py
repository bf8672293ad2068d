"""The coverage study can be remade: its variations still apply to the files, and it counts made-up runs rightly."""

import importlib.util
import json
import sys
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


def load(name: str, stem: str):
    spec = importlib.util.spec_from_file_location(name, BENCHMARKS / f"{stem}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def study():
    beside = {name: load(name, name) for name in ("coverage_cells", "kept_runs", "lagging_cell", "tabled_cell")}
    sys.modules.update(beside)  # so that the study finds what stands beside it
    yield beside["coverage_cells"], load("coverage_study", "coverage")
    for name in beside:
        del sys.modules[name]


def test_every_cell_can_be_run_as_it_is_written_down(study, tmp_path):
    cells, coverage = study
    assert sum(case.modelled for case in cells.CASES) >= 10
    assert len({case.name for case in cells.CASES}) == len(cells.CASES)
    for case in cells.CASES:
        method, rig, burette, cell_path = coverage.files(case.name, tmp_path)
        assert method.find.equivalence_points >= 1
        assert burette["step_mL"] == rig.burette.step_mL
        assert cell_path.exists()
        assert not case.like or case.like in coverage.BY_NAME


def test_a_variation_that_finds_nothing_to_vary_is_told(study, tmp_path):
    cells, _ = study
    case = cells.Case("wrong", cells.IRON, in_cell=(("no such text", ""),))
    with pytest.raises(SystemExit, match="no such text"):
        case.written(tmp_path)


def told(seed: int, volume_mL: float, count: int = 1):
    point = [volume_mL, 0.001, volume_mL - 0.002, volume_mL + 0.002, "model-fit"]
    result = [volume_mL / 10, 0.001, volume_mL / 10 - 0.002, volume_mL / 10 + 0.002]
    return {
        "case": "made up", "seed": seed, "state": "finished", "warned": 0,
        "true_mL": [10.0], "found": [point] * count, "true_mol_per_L": [1.0], "results": [result] * count,
    }  # fmt: skip


def test_shares_errors_and_widths_are_those_of_the_runs(study):
    cells, coverage = study
    runs = [told(1, 10.001), told(2, 9.999), told(3, 10.005), told(4, 10.0, count=2)]
    [row] = coverage.rows(cells.Case("made up", cells.IRON), runs, {})
    # 4 runs, one with two points; of the other three one interval misses; rms = sqrt((1 + 1 + 25)/3) = 3 µL.
    assert row.split(" | ")[2:] == ["4", "0", "25.0", "66.7", "100.0", "3.00", "+1.67", "4.00", "", "5.0", "100.0 |"]


def test_only_lines_of_the_same_sources_count_and_a_torn_one_is_passed_over(study, tmp_path):
    _, coverage = study
    path = tmp_path / "partial.jsonl"
    lines = [json.dumps({"made_with": made, **told(seed, 10.0)}) for made, seed in (("a", 1), ("b", 2), ("a", 3))]
    path.write_text("\n".join([*lines, '{"made_with": "a", "case": "made']), encoding="utf-8")
    assert set(coverage.read_partial(path, "a")) == {("made up", 1), ("made up", 3)}
