"""The closing table of a run with several points: every step's result and point, told apart."""

import io

from rich.console import Console

from titrator.report.closing import show_closing
from titrator.report.series_table import show_series


def way(name: str, point: int, volume_mL: float) -> dict:
    return {"way": name, "point": point, "volume_mL": volume_mL, "u_random_mL": 0.003, "reason": None}


def result(name: str, value: float, unit: str) -> dict:
    line = {"name": "aliquot", "value": 10.0, "u": 0.01, "unit": "mL", "dof": None, "sensitivity": -0.1 * value,
            "share": 0.75}  # fmt: skip
    return {"name": name, "value": value, "unit": unit, "u": 0.005 * value, "U": 0.01 * value, "k": 2.0,
            "interval_95": [0.99 * value, 1.01 * value], "interval_from": "GUM", "monte_carlo": None,
            "from_estimate": False,
            "budget": [{**line, "name": "dilution", "unit": "1", "share": 0.25, "dof": 7.0}, line,
                       {**line, "name": "molar mass", "u": 0.0, "share": 0.0}]}  # fmt: skip


def point(volume_mL: float) -> dict:
    return {"volume_mL": volume_mL, "u_random_mL": 0.003, "u_mL": 0.01, "potential_mV": 100.0,
            "interval_95_mL": [volume_mL - 0.006, volume_mL + 0.006], "found_by": "model-fit"}  # fmt: skip


def document(*volumes_mL: float) -> dict:
    return {
        "results": [result("tin(II)", 0.1, "mol/L"), result("iron(II)", 0.25, "mol/L"), result("tin(II)", 11.9, "g/L")],
        "equivalence_points": [point(each) for each in volumes_mL],
        "estimates": [],
        "by_method": [way("model-fit", k, each) for k, each in enumerate(volumes_mL, start=1)],
        "truth": {
            "equivalence_points_mL": [6.001, 14.002],
            "results": [{"name": "tin(II)", "value": 0.1001, "unit": "mol/L"}],
            "faults": [],
        },
        "state": None,
        "warnings": [],
    }


def shown(document: dict, width: int = 140) -> list[str]:
    stream = io.StringIO()
    show_closing(Console(file=stream, width=width), document)
    return stream.getvalue().splitlines()


def test_each_step_has_its_line():
    lines = shown(document(6.0, 14.0))
    assert [line.split("  ")[0] for line in lines if "±" in line] == ["tin(II)", "iron(II)", "tin(II)"]
    assert lines[0].split()[1:4] == ["0.1000", "±", "0.0010"]
    assert [line[:19] for line in lines if line.startswith("equivalence point")] == [
        "equivalence point 1", "equivalence point 2",
    ]  # fmt: skip
    assert any(line.startswith("by model-fit, point 2") and "14.0000 mL" in line for line in lines)
    assert any("equivalence points 6.0010 mL, 14.0020 mL" in line for line in lines)


def test_a_single_point_is_not_numbered():
    lines = shown(document(6.0))
    assert any(line.startswith("equivalence point  ") for line in lines)
    assert any(line.startswith("by model-fit  ") for line in lines)


def test_the_budget_of_each_result_in_the_first_unit_largest_share_first():
    lines = shown(document(6.0, 14.0))
    heads = [line for line in lines if line.startswith("Uncertainty of")]
    assert heads == ["Uncertainty of tin(II), mol/L (u 0.00050)", "Uncertainty of iron(II), mol/L (u 0.0013)"]
    at = lines.index(heads[0])
    assert lines[at + 1].split() == ["source", "value", "u", "sensitivity", "share", "dof"]
    assert lines[at + 2].split() == ["aliquot", "10.000", "mL", "0.010", "mL", "-0.01", "75.0", "%", "∞"]
    assert lines[at + 3].split() == ["dilution", "10.000", "0.010", "-0.01", "25.0", "%", "7"]
    assert lines[at + 4] == "taken as exact: molar mass"


def test_where_the_interval_is_from_and_what_was_extrapolated():
    told = document(6.0, 14.0)
    told["results"][0] |= {
        "interval_from": "Monte Carlo",
        "monte_carlo": {"trials": 50000, "seed": 1},
        "from_estimate": True,
    }
    lines = shown(told, width=200)
    assert "by 50000 Monte Carlo trials, seed 1; from an estimate, not from a jump)" in lines[0]
    assert "Monte Carlo" not in lines[1]
    assert "u 0.00050" in lines[0]


def test_a_blank_and_a_control_tell_what_they_say():
    told = document() | {"results": [], "blank": {"sentence": "less than 0.05 mL"}}
    lines = shown(told)
    assert any(line.startswith("blank") and "less than 0.05 mL" in line for line in lines)
    assert not any("none found" in line for line in lines)
    lines = shown(document(6.0, 14.0) | {"recovery": {"sentence": "recovery 99.90 %"}})
    assert any(line.startswith("control sample") and "99.90 %" in line for line in lines)


def test_a_narrow_terminal_shows_source_u_and_share():
    lines = shown(document(6.0, 14.0), width=50)
    assert any(line.split() == ["source", "u", "share"] for line in lines)
    assert all(len(line) <= 50 for line in lines)


def series(width: int, **changes: object) -> list[str]:
    """The series of three runs of the demonstration's kind, the second left out."""
    replicates = [
        {"run": f"run {number}", "value": value, "u": 0.0041, "excluded": excluded}
        for number, value, excluded in ((1, 1.4264, None), (2, 1.3411, "spilled"), (3, 1.3846, None))
    ]
    told = {
        "name": "iron(II)", "unit": "mol/L", "replicates": replicates, "n": 2, "sd": 0.0296, "dof": 1,
        "repeatability_limit": 0.5316, "mean": result("iron(II)", 1.4060, "mol/L"), "tests": [], "flags": [],
        **changes,
    }  # fmt: skip
    run = {"run": "run 3", "warnings": ["2 of 9 points were logged not settled"]}
    whole = {"name": "Iron in a bath", "simulated": False, "results": [told], "blank": "less than 0.05 mL",
             "recovery": None, "runs": [run], "blanks": [], "warnings": ["look at it"]}  # fmt: skip
    stream = io.StringIO()
    show_series(Console(file=stream, width=width), whole)
    return stream.getvalue().splitlines()


def test_a_series_tells_every_run_and_what_was_left_out():
    lines = series(160)
    assert lines[0] == "Iron in a bath"
    assert [line.split()[2:] for line in lines if line.startswith("run ")] == [
        ["1.4264", "mol/L", "u", "0.0041"],
        ["1.3411", "mol/L", "u", "0.0041;", "left", "out:", "spilled"],
        ["1.3846", "mol/L", "u", "0.0041"],
    ]
    assert any(line.startswith("mean of 2: 1.406 ± 0.014 mol/L (k = 2.00, u 0.0070;") for line in lines)
    assert any("standard deviation 0.030 mol/L (2.11 %, 1 degrees of freedom)" in line for line in lines)
    assert "Blank: less than 0.05 mL" in lines
    assert lines[-2:] == ["Warning: look at it", "Warning, run 3: 2 of 9 points were logged not settled"]


def test_a_series_of_one_has_no_scatter():
    lines = series(160, n=1, sd=None, repeatability_limit=None, dof=0)
    assert any(line.startswith("one run counts: 1.406") for line in lines)
    assert "no standard deviation of one run" in lines
