"""`titrator check`: is a method file sound?"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from titrator.cli.failure import Failure
from titrator.files import FileProblem


@click.command()
@click.argument("method", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
def check(method: Path, as_json: bool) -> None:
    """Validate the method file METHOD: every error with line, column and what was expected."""
    from titrator.method import cautions_text, load_method

    try:
        loaded = load_method(method)
    except FileProblem as error:
        if as_json:
            problems = [{"line": each.line, "column": each.column, "text": each.text} for each in error.problems]
            _print_json({"method": None, "valid": False, "problems": problems, "cautions": []})
        raise Failure(str(error)) from error
    if as_json:
        _print_json({"method": loaded.name, "valid": True, "problems": [], "cautions": cautions_text(loaded)})
        return
    sought = loaded.find.equivalence_points
    points = "no equivalence point (a blank)" if sought == 0 else f"{sought} equivalence point{'s' * (sought > 1)}"
    click.echo(f"{method}: valid.")
    click.echo(
        f"{loaded.name}: {loaded.reaction.analyte} with {loaded.reaction.titrant}, {points} sought within "
        f"{loaded.ends_when.volume_above_mL:g} mL; result {loaded.result.name} in {loaded.result.unit}."
    )
    click.echo()
    for line in cautions_text(loaded):
        click.echo(line)


def _print_json(document: dict[str, Any]) -> None:
    click.echo(json.dumps(document, ensure_ascii=False, indent=2))
