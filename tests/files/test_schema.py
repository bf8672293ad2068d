"""The published schemas, against the package jsonschema (draft 2020-12) as an independent reader."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator

from sim.cell_file import CellFile
from titrator.bench.rig import Rig
from titrator.files import FileProblem, StrictModel, read_yaml
from titrator.files.quantities import DIMENSIONS, Quantity
from titrator.files.schema import json_schema
from titrator.method import Method, load_method

ROOT = Path(__file__).parents[2]
METHOD_TEXT = (ROOT / "tests" / "method" / "good.yaml").read_text("utf-8")
BROKEN = yaml.safe_load((ROOT / "tests" / "method" / "broken.yaml").read_text("utf-8"))
SHIPPED: dict[str, type[StrictModel]] = {"methods": Method, "rigs": Rig, "cells": CellFile}
FILES = [
    (path, model) for folder, model in SHIPPED.items() for path in sorted((ROOT / "configs" / folder).glob("*.yaml"))
]


def validator(model: type[StrictModel]) -> Draft202012Validator:
    schema = json_schema(model, "a file")
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(json.loads(json.dumps(schema)))


def plain(path: Path) -> Any:
    return json.loads(json.dumps(read_yaml(path).data))


@pytest.mark.parametrize(("path", "model"), FILES, ids=[path.stem for path, _ in FILES])
def test_shipped_files_are_valid(path: Path, model: type[StrictModel]) -> None:
    assert [error.message for error in validator(model).iter_errors(plain(path))] == []


@pytest.mark.parametrize(("path", "model"), FILES, ids=[path.stem for path, _ in FILES])
def test_a_file_of_another_kind_is_not(path: Path, model: type[StrictModel]) -> None:
    for other in set(SHIPPED.values()) - {model}:
        assert not validator(other).is_valid(plain(path))


def test_what_the_schema_refuses_the_program_refuses_too(tmp_path: Path) -> None:
    """Of the broken methods that are YAML, a schema can tell those with a wrong key, word, unit or sign."""
    path, told = tmp_path / "method.yaml", 0
    method = validator(Method)
    for case in BROKEN:
        path.write_text(METHOD_TEXT.replace(case["was"], case["now"]), "utf-8")
        with pytest.raises(FileProblem):
            load_method(path)
        try:
            data = plain(path)
        except (FileProblem, TypeError):  # not YAML that we read, or a value left blank
            continue
        told += not method.is_valid(data)
    assert told >= 65  # what sections mean together, no schema can tell, however many such cases there are


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("value: 0.1000 mol/L", "value: 0.1000"),
        ("value: 0.1000 mol/L", "value: 0.1000 M"),
        ("value: 0.1000 mol/L", "value: 0 mol/L"),
        ("value: 0.1000 mol/L", "value: -1 mol/L"),
        ("u: 0.0002 mol/L", "u: 0.0002 mol/L, half_width: 0.001 mol/L"),
        ("least: 0.02 mL", "leest: 0.02 mL"),
        ("rule: adaptive", "rule: fixed"),
        ("format: 1", "format: 2"),
        ("[150 mV, 480 mV]", "[150 mV]"),
        ("growth: 2", "growth: 1"),
        ("readings_past_jump: 6", "readings_past_jump: 6.5"),
        ("acid: sulfuric acid\n", "acid: vinegar\n"),
        ("{name: sulfuric acid, concentration", "{name: sulphuric acid, concentration"),
        ("name: Iron(II) in a bath", 'name: " "'),
    ],
)
def test_slips_that_an_editor_marks(tmp_path: Path, was: str, now: str) -> None:
    path = tmp_path / "method.yaml"
    assert METHOD_TEXT.count(was) == 1
    path.write_text(METHOD_TEXT.replace(was, now), "utf-8")
    assert not validator(Method).is_valid(plain(path))


def test_every_key_carries_its_description() -> None:
    for model in SHIPPED.values():
        schema = json_schema(model, "a file")
        for name, section in {"": schema, **schema["$defs"]}.items():
            for key, told in section.get("properties", {}).items():
                assert told.get("description") or "$ref" in told, f"{name}.{key}"


def texts(dimension: Any) -> list[str]:
    numbers = ["10", "0.5", ".5", "5.", "1e-3", "2E+2", "-3", "−3", "+4", "0", "1_0", "", "inf", "0x1"]
    units = [*dimension.units, "uL", "μL", "degC", "mL", "ml", "mV", "parsec", ""]
    return [f"{number}{gap}{unit}" for number in numbers for gap in ("", " ", "  ") for unit in units]


@pytest.mark.parametrize("limits", [{}, {"above": 0}, {"at_least": 0}], ids=str)
@pytest.mark.parametrize("dimension", DIMENSIONS, ids=[each.name for each in DIMENSIONS])
def test_the_pattern_takes_what_the_program_takes(dimension: Any, limits: dict[str, float]) -> None:
    quantity = Quantity(dimension, **limits)
    schema = Draft202012Validator(quantity.__get_pydantic_json_schema__({"type": "any"}, _no_handler))
    differing = [text for text in texts(dimension) if schema.is_valid(text) != _taken(quantity.parse, text)]
    if dimension.zeros is None:  # a temperature's limit depends on its unit
        assert differing == []
    else:
        assert all(schema.is_valid(text) for text in differing)


def _no_handler(schema: Any) -> Any:
    raise AssertionError("not used")


def _taken(parse: Callable[[object], object], text: str) -> bool:
    try:
        parse(text)
    except Exception:  # noqa: BLE001 - whatever refuses it
        return False
    return True


def test_defaults_and_null_are_left_to_the_documentation() -> None:
    text = (
        json.dumps(json_schema(Method, "m"))
        + json.dumps(json_schema(Rig, "r"))
        + json.dumps(json_schema(CellFile, "c"))
    )
    assert '"null"' not in text
