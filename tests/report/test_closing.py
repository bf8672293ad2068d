"""The closing table of a run with several points: every step's result and point, told apart."""

import io

from rich.console import Console

from titrator.report.closing import show_closing


def way(name: str, point: int, volume_mL: float) -> dict:
    return {"way": name, "point": point, "volume_mL": volume_mL, "u_random_mL": 0.003, "reason": None}


def result(name: str, value: float, unit: str) -> dict:
    return {"name": name, "value": value, "unit": unit, "U": 0.01 * value, "k": 1.96,
            "interval_95": [0.99 * value, 1.01 * value]}  # fmt: skip


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
