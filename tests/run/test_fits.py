"""What only a rig can tell about a method: each problem with its place in the method file and the rig's figure."""

from pathlib import Path

import pytest
import yaml
from demonstration import CELL, METHOD, NOW, RIG

from titrator.bench.rig import load_rig
from titrator.files import FileProblem
from titrator.method import load_method
from titrator.run.fits import fits
from titrator.run.rehearsal import Setup, rehearse

HERE = Path(__file__).parent
GOOD_METHOD = HERE.parent / "method" / "good.yaml"
GOOD_RIG = HERE.parent / "bench" / "good_rig.yaml"
CASES = yaml.safe_load((HERE / "misfits.yaml").read_text(encoding="utf-8"))


def edited(tmp_path, source, name, edits):
    text = source.read_text(encoding="utf-8")
    for was, now in edits:
        assert text.count(was) == 1, was
        text = text.replace(was, now)
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def told(tmp_path, method_edits=(), rig_edits=()):
    method = edited(tmp_path, GOOD_METHOD, "method.yaml", method_edits)
    rig = edited(tmp_path, GOOD_RIG, "rig.yaml", rig_edits)
    try:
        fits(load_method(method), method, load_rig(rig))
    except FileProblem as problem:
        lines = str(problem).splitlines()
        assert all(line.startswith(f"{method}:") for line in lines)
        return [line.removeprefix(f"{method}:") for line in lines]
    return []


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_a_method_beside_a_rig(tmp_path, case):
    assert told(tmp_path, case["method"], case["rig"]) == case["told"]


@pytest.mark.parametrize("material", ["acetal", "nylon", "brass", "steel", "natural rubber"])
def test_cerium_in_sulfuric_acid_is_refused_over(tmp_path, material):
    # Common practice, as the table says; none was measured by us.
    (line,) = told(tmp_path, (), [("wetted: [glass, PTFE, FEP]", f"wetted: [glass, {material}]")])
    assert f"{material} suffers" in line
    for serving in ("glass", "PTFE", "FEP", "PVDF"):
        assert serving in line


@pytest.mark.parametrize("material", ["glass", "PTFE", "FEP", "PVDF"])
def test_and_taken_over(tmp_path, material):
    assert told(tmp_path, (), [("wetted: [glass, PTFE, FEP]", f"wetted: [{material}]")]) == []


def test_a_rehearsal_that_does_not_fit_leaves_nothing(tmp_path):
    rig = edited(tmp_path, RIG, "rig.yaml", [("wetted: [glass, PTFE, FEP]", "wetted: [steel]")])
    setup = Setup(load_method(METHOD), METHOD, load_rig(rig), rig, CELL, 1)
    with pytest.raises(FileProblem, match="steel suffers"):
        rehearse(setup, tmp_path / "runs", NOW)
    assert not Path(tmp_path, "runs").exists()
