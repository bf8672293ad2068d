"""`titrator check`: is a file sound, and does a method fit a rig?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from titrator.cli.failure import Failure, input_errors, problems_of
from titrator.cli.kinds import KINDS, Kind, model_of, recognised
from titrator.files import FileProblem, Problem
from titrator.method import Method


@click.command()
@click.argument("file", metavar="METHOD", type=click.Path(path_type=Path), required=False)
@click.option("--rig", type=click.Path(path_type=Path), help="Also check whether METHOD can be run on this rig.")
@click.option("--kind", type=click.Choice(KINDS), help="What the file is; told by its keys without this option.")
@click.option(
    "--schema", type=click.Choice(KINDS), is_flag=False, flag_value="method", metavar="[method|rig|cell]",
    help="Print the JSON Schema of such files instead, for an editor that completes them (method if not said).",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
def check(file: Path | None, rig: Path | None, kind: Kind | None, schema: Kind | None, as_json: bool) -> None:
    """Validate the method file METHOD: every error with line, column and what was expected.

    A rig file or a cell file is recognised and checked alike.
    """
    if schema is not None:
        if file is not None or rig is not None:
            raise Failure("--schema: expected no file beside it (write --schema rig for that of a rig), got one")
        _print_json(_schema(schema))
        return
    if file is None:
        raise Failure("expected METHOD, the file to check, or --schema, got neither; see titrator check --help")
    if as_json:
        _check_as_json(file, rig, kind)
    else:
        with input_errors():
            for line in _Checked(file, rig, kind).told():
                click.echo(line)


class _Checked:
    """A file that is sound. Raises FileProblem while it is made where it is not, or where the rig is not."""

    def __init__(self, file: Path, rig: Path | None, kind: Kind | None) -> None:
        self.file = file
        self.kind: Kind = kind or recognised(file) or "method"
        self.method: Method | None = None
        self.rig_name: str | None = None
        if self.kind != "method":
            if rig is not None:
                raise Failure(f"--rig: expected a method to check it with, got a {self.kind} file ({file})")
            self.name = _name_of(file, self.kind)
            return
        self.method = _load_both(file, rig)
        self.name = self.method.name
        if rig is not None:
            self.rig_name = _fit(self.method, file, rig)

    def cautions(self) -> list[str]:
        """Return the cautions of a method; nothing for other kinds."""
        if self.method is None:
            return []
        from titrator.method import cautions_text

        return cautions_text(self.method)

    def told(self) -> list[str]:
        """Return what is said of the file, in lines."""
        method = self.method
        if method is None:
            return [f"{self.file}: valid.", f"{self.name}: a {self.kind} file."]
        sought = method.find.equivalence_points
        points = "no equivalence point (a blank)" if sought == 0 else f"{sought} equivalence point{'s' * (sought > 1)}"
        fit = f" It fits the rig {self.rig_name!r}." if self.rig_name is not None else ""
        summary = (
            f"{method.name}: {method.reaction.analyte} with {method.reaction.titrant}, {points} sought within "
            f"{method.ends_when.volume_above_mL:g} mL; result {method.result.name} in {method.result.unit}."
        )
        return [f"{self.file}: valid.{fit}", summary, "", *self.cautions()]


def _check_as_json(file: Path, rig: Path | None, kind: Kind | None) -> None:
    document: dict[str, Any] = {"file": str(file), "kind": kind, "name": None, "method": None, "rig": None}
    try:
        checked = _Checked(file, rig, kind)
    except FileProblem as error:
        document |= {"valid": False, "problems": problems_of(error), "cautions": []}
        raise Failure(str(error), document=document) from error
    method = checked.name if checked.kind == "method" else None
    document |= {"kind": checked.kind, "name": checked.name, "method": method, "rig": checked.rig_name}
    _print_json({**document, "valid": True, "problems": [], "cautions": checked.cautions()})


def _name_of(file: Path, kind: Kind) -> str:
    if kind == "rig":
        from titrator.bench.rig import load_rig

        return load_rig(file).name
    from titrator.bench.simulated import check_cell

    return check_cell(file)


def _load_both(file: Path, rig: Path | None) -> Method:
    """Load the method, and say at once what is wrong in it and in the rig."""
    from titrator.method import load_method

    problems: list[Problem] = []
    method: Method | None = None
    try:
        method = load_method(file)
    except FileProblem as error:
        problems += error.problems
    if rig is not None:
        try:
            _load_rig(rig)
        except FileProblem as error:
            problems += error.problems
    if problems:
        raise FileProblem(problems)
    assert method is not None
    return method


def _load_rig(path: Path) -> Any:
    from titrator.bench.rig import load_rig

    told = recognised(path)
    if told not in (None, "rig"):
        raise FileProblem([Problem(1, 1, f"expected a rig file, got what its keys tell to be a {told} file", path)])
    return load_rig(path)


def _fit(method: Method, file: Path, rig_path: Path) -> str:
    from titrator.run.fits import fits

    rig = _load_rig(rig_path)
    fits(method, file, rig)
    return str(rig.name)


def _schema(kind: Kind) -> dict[str, Any]:
    from titrator.files.schema import json_schema

    return json_schema(model_of(kind), f"A {kind} file of titrator")


def _print_json(document: dict[str, Any]) -> None:
    from titrator.cli.output import print_json

    print_json(document)
