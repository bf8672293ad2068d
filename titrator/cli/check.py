"""`titrator check`: is a method file sound?"""

from __future__ import annotations

import json
from pathlib import Path

import click

from titrator.cli.failure import input_errors


@click.command()
@click.argument("method", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
def check(method: Path, as_json: bool) -> None:
    """Validate the method file METHOD: every error with line, column and what was expected."""
    from titrator.method import cautions_text, load_method

    with input_errors():
        loaded = load_method(method)
    if as_json:
        document = {"method": loaded.name, "valid": True, "cautions": cautions_text(loaded)}
        click.echo(json.dumps(document, ensure_ascii=False, indent=2))
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
