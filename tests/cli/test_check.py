"""`titrator check` as a user calls it: methods beside rigs, other kinds of files, schemas, and every broken file."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner

from titrator.cli.kinds import _TELLING, KINDS, model_of, recognised
from titrator.cli.main import main
from titrator.files.keys import fields_by_key

ROOT = Path(__file__).parents[2]
METHOD = ROOT / "configs" / "methods" / "iron_in_pickling_bath.yaml"
RIG = ROOT / "configs" / "rigs" / "simulated.yaml"
CELL = ROOT / "configs" / "cells" / "iron_in_pickling_bath.yaml"
BROKEN = {
    "method": (ROOT / "tests" / "method" / "good.yaml", ROOT / "tests" / "method" / "broken.yaml"),
    "rig": (ROOT / "tests" / "bench" / "good_rig.yaml", ROOT / "tests" / "bench" / "broken_rigs.yaml"),
    "cell": (ROOT / "tests" / "sim" / "good_cell.yaml", ROOT / "tests" / "sim" / "broken_cells.yaml"),
}
CASES = [
    (kind, good, case) for kind, (good, cases) in BROKEN.items() for case in yaml.safe_load(cases.read_text("utf-8"))
]


def check(*words):
    return CliRunner().invoke(main, ["check", *map(str, words)])


@pytest.mark.parametrize(
    ("kind", "good", "case"), CASES, ids=[f"{kind}-{case['now']!r}"[:40] for kind, _, case in CASES]
)
def test_every_broken_file_exits_2_with_its_message(tmp_path, kind, good, case):
    path = tmp_path / f"{kind}.yaml"
    path.write_text(good.read_text("utf-8").replace(case["was"], case["now"]), "utf-8")
    done = check(path, "--kind", kind)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.splitlines() == [f"{path}:{line}" for line in case["told"]]


@pytest.mark.parametrize(("path", "kind"), [(METHOD, "method"), (RIG, "rig"), (CELL, "cell")])
def test_the_kind_is_recognised(path, kind):
    assert recognised(path) == kind
    done = check(path, "--json")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert (document["kind"], document["valid"], document["problems"]) == (kind, True, [])
    assert document["name"]
    assert (document["method"] is not None) == (kind == "method")


def test_the_telling_keys_are_keys_of_that_kind_and_of_no_other():
    for kind in KINDS:
        assert _TELLING[kind] <= set(fields_by_key(model_of(kind)))
        for other in set(KINDS) - {kind}:
            assert not _TELLING[kind] & set(fields_by_key(model_of(other)))


@pytest.mark.parametrize("text", ["", "- a\n", "7\n", "name: a thing\n"])
def test_what_is_of_no_kind_is_told_as_a_method(tmp_path, text):
    path = tmp_path / "strange.yaml"
    path.write_text(text, "utf-8")
    done = check(path)
    assert done.exit_code == 2
    assert done.stderr.startswith(f"{path}:1:1: expected ")


def test_a_rig_that_fits_is_said_to():
    done = check(METHOD, "--rig", RIG)
    assert done.exit_code == 0
    assert "fits the rig 'Simulated bench'" in done.stdout
    assert json.loads(check(METHOD, "--rig", RIG, "--json").stdout)["rig"] == "Simulated bench"


def test_a_rig_that_does_not_fit_is_told_in_the_method(tmp_path):
    rig = tmp_path / "rig.yaml"
    rig.write_text(RIG.read_text("utf-8").replace("stroke: 25 mL", "stroke: 10 mL"), "utf-8")
    done = check(METHOD, "--rig", rig, "--json")
    assert done.exit_code == 2
    document = json.loads(done.stdout)
    (problem,) = document["problems"]
    assert (document["valid"], problem["file"], problem["column"]) == (False, str(METHOD), 17)
    assert "one stroke of the burette" in problem["text"]
    assert done.stderr == f"{METHOD}:{problem['line']}:{problem['column']}: {problem['text']}\n"


def test_a_broken_method_and_a_broken_rig_are_told_together(tmp_path):
    method, rig = tmp_path / "method.yaml", tmp_path / "rig.yaml"
    method.write_text(METHOD.read_text("utf-8").replace("growth: 2", "growth: 1"), "utf-8")
    rig.write_text(RIG.read_text("utf-8").replace("sync: true", "sync: yes"), "utf-8")
    done = check(method, "--rig", rig)
    assert done.exit_code == 2
    assert [line.split(":")[0] for line in sorted(done.stderr.splitlines())] == [str(method), str(rig)]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([METHOD, "--rig", METHOD], "expected a rig file, got what its keys tell to be a method file"),
        ([METHOD, "--rig", CELL], "expected a rig file, got what its keys tell to be a cell file"),
        ([METHOD, "--rig", "nowhere.yaml"], "nowhere.yaml:1:1: expected a YAML file"),
        ([RIG, "--rig", RIG], "--rig: expected a method to check it with, got a rig file"),
        ([], "expected METHOD, the file to check, or --schema, got neither"),
        ([METHOD, "--schema"], "--schema: expected no file beside it"),
        (["--schema", "recipe"], "'recipe' is not one of 'method', 'rig', 'cell'"),
        ([METHOD, "--kind", "recipe"], "'recipe' is not one of 'method', 'rig', 'cell'"),
    ],
)
def test_wrong_words_are_told(words, said):
    done = check(*words)
    assert done.exit_code == 2
    assert said in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("words", [["--schema"], ["--schema", "method"], ["--schema", "rig"], ["--schema", "cell"]])
def test_the_schema_is_one_json_document(words):
    done = check(*words)
    assert done.exit_code == 0
    schema = json.loads(done.stdout)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"] == f"A {words[-1] if len(words) == 2 else 'method'} file of titrator"


PROGRAM = """
import json, sys
from titrator.cli.main import main
try:
    main(sys.argv[1:])
except SystemExit as leaving:
    status = leaving.code or 0
print(json.dumps({"status": status, "modules": sorted(sys.modules)}), file=sys.stderr)
"""


@pytest.mark.parametrize(
    "words",
    [[METHOD, "--rig", RIG], [RIG], [CELL], ["--schema"], ["--schema", "cell"]],
    ids=["method and rig", "rig", "cell", "schema", "schema of cells"],
)
def test_no_numerical_library_is_loaded(words):
    command = [sys.executable, "-c", PROGRAM, "check", *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)})
    told = json.loads(done.stderr.splitlines()[-1])
    assert told["status"] == 0, done.stderr
    assert {"numpy", "scipy", "matplotlib"}.isdisjoint(told["modules"])
