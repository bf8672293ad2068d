"""The study of rules can be remade: its cells can be run as written down, and made-up runs are counted rightly."""

import importlib
import json
import math
import sys
from argparse import Namespace
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


@pytest.fixture(scope="module")
def study():
    sys.path.insert(0, str(BENCHMARKS))
    before = set(sys.modules)
    names = ("rules", "rules_cases", "rules_hard", "rules_page", "rules_runs")
    yield {name: importlib.import_module(name) for name in names}
    sys.path.remove(str(BENCHMARKS))
    for name in [name for name in set(sys.modules) - before if name.startswith("rules")]:
        del sys.modules[name]


def test_every_cell_can_be_run_as_it_is_written_down(study):
    cases, hard = study["rules_cases"].CASES, study["rules_hard"].CASES
    assert len(cases) >= 8
    assert len({case.name for case in cases}) == len(cases)
    assert len({case.name for case in hard}) == len(hard)
    for case in (*cases, *hard):
        told = study["rules_cases"].files(case, "foreseeing")
        assert told.cell_path.exists()
        assert len(told.drawn(1)[1].equivalence_points_delivered_mL) >= told.points >= 1
        assert told.method.additions.rule == "foreseeing"


def test_a_variation_that_finds_nothing_to_vary_is_told(study):
    case = study["rules_cases"].CASES[0]._replace(in_cell=(("no such text", ""),))
    with pytest.raises(SystemExit, match="no such text"):
        study["rules_cases"].files(case)


def made_up(way, seed, error_uL, *, duration_s=300.0, half_uL=1.0, points=8, found=True):
    volume_mL = 15.0 + error_uL / 1000.0
    interval = [volume_mL - half_uL / 1000.0, volume_mL + half_uL / 1000.0]
    return {
        "case": "iron(II) with cerium(IV)",
        "way": way,
        "seed": seed,
        "true_mL": [15.0],
        "all_true_mL": [15.0],
        "found": [[volume_mL, 0.0005, *interval, "model-fit"]] if found else [],
        "duration_s": duration_s,
        "additions": 12,
        "titrant_mL": 18.0,
        "points": points,
        "bounds_mL": [0.0005],
        "drawn": {},
    }


def test_made_up_runs_are_counted(study):
    page = study["rules_page"]
    case = study["rules_cases"].CASES[0]
    floor = {"way": "floor", "duration_s": 200.0}
    told = [
        made_up("foreseeing", 1, +0.4, duration_s=240.0),
        made_up("foreseeing", 2, -1.2, duration_s=250.0),
        made_up("foreseeing", 3, 0.0, duration_s=400.0, found=False),
    ]
    hand = [made_up("hand, rough then fine", 1, 3.0, duration_s=1000.0, points=40)]
    slow = [made_up("hand, 0.1 mL", 1, -2.0, duration_s=1400.0, points=150)]
    done = {(case.name, each["way"], each["seed"]): each for each in (*told, *hand, *slow)}
    done[case.name, "floor", 1] = floor
    bounds = {(case.name, 8): (0.0004,)}
    line = next(row for row in page.rows(case, list(study["rules_runs"].WAYS), done, bounds) if "foreseeing" in row)
    cells = [cell.strip() for cell in line.strip("|").split("|")]
    assert cells[2:7] == ["3", "250", "1.25", "12", "18.0"]
    # By hand: rms of 0.4 and 1.2, their mean, the larger one, one of two within 1 µL, one of three without a point.
    assert cells[8:13] == [f"{math.sqrt(0.8):.2f}", "-0.40", "1.20", "50.0", "33.3"]
    assert cells[13:] == [f"{math.sqrt(0.8) / 0.5:.2f}", f"{math.sqrt(0.8) / 0.4:.2f}"]
    goal = page.reached(case, done, bounds)
    assert "1.25 (≤ 1.25) |" in goal
    assert "1 **no**" in goal
    assert "4.00 (≥ 3.50)" in goal
    assert "5.60 (≥ 6.00) **no**" in goal
    assert "0.89 (≤ 3.00)" in goal
    assert page.rows_needed(case, done) == [8]


def test_false_points_are_told_from_true_ones(study):
    hard = study["rules_hard"]
    case = hard.CASES[0]
    two = [made_up("foreseeing", 1, 3.0), made_up("foreseeing", 2, 30.0), made_up("foreseeing", 3, 0.0, found=False)]
    done = {(case.name, "foreseeing", each["seed"]): each for each in two}
    cells = [cell.strip() for cell in hard.line(case, done, "foreseeing").strip("|").split("|")]
    assert cells[6:9] == ["1", "1", "1"]
    beside = made_up("foreseeing", 1, 0.0)
    beside["drawn"] = {
        "inhibitor_mol_per_L": 0.2, "sample_mol_per_L": 1.0, "aliquot_mL": 10.0, "dilution": 10.0,
        "titrant_mol_per_L": 0.1, "burette_calibration": 0.0,
    }  # fmt: skip
    assert hard.true_points_mL(beside) == pytest.approx([10.0, 15.0])  # 1 mmol takes 10 mL of 0.1 mol/L


def test_what_was_made_with_other_sources_does_not_count(study, tmp_path):
    rules = study["rules"]
    kept = tmp_path / "kept.jsonl"
    lines = [made_up("adaptive", 1, 0.1) | {"made_with": "one"}, made_up("oracle", 1, 0.1) | {"made_with": "other"}]
    kept.write_text("".join(json.dumps(each) + "\n" for each in lines) + '{"torn', encoding="utf-8")
    assert {key[1] for key in rules.read_partial(kept, "one", [])} == {"adaptive"}
    both = rules.read_partial(kept, "one", ["oracle"])
    assert {key[1]: each["older"] for key, each in both.items()} == {"adaptive": False, "oracle": True}


class Here:
    """A pool of this process."""

    @staticmethod
    def imap_unordered(function, tasks):
        return map(function, tasks)


def test_ways_run_and_their_page_is_the_same_again(study, tmp_path):
    rules, cases = study["rules"], study["rules_cases"].CASES
    ways = ["hand, rough then fine", "oracle", "floor"]
    case = cases[6]
    options = Namespace(runs=1, older=[], partial=tmp_path / "kept.jsonl")
    done = rules.run_all([case], ways, options, Here)
    again = rules.run_all([case], ways, options, Here)
    assert {key: each["duration_s"] for key, each in done.items()} == {
        key: each["duration_s"] for key, each in again.items()
    }
    rough = done[case.name, "hand, rough then fine", 1]
    oracle = done[case.name, "oracle", 1]
    floor = done[case.name, "floor", 1]
    for told in (rough, oracle):
        assert len(told["found"]) == 1
        assert abs(told["found"][0][0] - told["true_mL"][0]) < 0.005
        assert told["duration_s"] > floor["duration_s"]
    assert rough["duration_s"] > rough["rough"][2] > 0.0  # both passes count
    assert rough["titrant_mL"] > 1.8 * rough["true_mL"][0]
    text = study["rules_page"].page([case], ways, {case.name: done}, {}, runs=1, full=200)
    assert "| chloride with silver | oracle | 1 |" in text
    assert "top speed 10 mL/min" in text
