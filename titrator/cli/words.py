"""`titrator hold`, `continue`, `stop` and `answer`: words to the process that conducts a run."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from titrator.cli.failure import NOT_DONE, Failure, input_errors


def _options(command: Callable[..., None]) -> Callable[..., None]:
    out = click.option(
        "--out", type=click.Path(path_type=Path, file_okay=False), default=Path("runs"), show_default=True,
        help="Folder that holds the runs.",
    )  # fmt: skip
    as_json = click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
    return click.argument("run")(out(as_json(command)))


@click.command()
@_options
def hold(run: str, out: Path, as_json: bool) -> None:
    """Halt the burette of RUN now and let it wait; readings go on.

    RUN is a run folder, a run number or `last`.
    """
    _say(run, out, {"word": "hold"}, as_json=as_json)


@click.command("continue")
@_options
def go_on(run: str, out: Path, as_json: bool) -> None:
    """Let a held RUN go on: it reads where it rests and plans its next addition anew."""
    _say(run, out, {"word": "continue"}, as_json=as_json)


@click.command()
@_options
def stop(run: str, out: Path, as_json: bool) -> None:
    """End RUN: the burette halts at a known position, everything measured is kept and evaluated."""
    _say(run, out, {"word": "stop"}, as_json=as_json)


@click.command()
@_options
@click.argument("yes_or_no", metavar="yes|no", type=click.Choice(["yes", "no"]))
def answer(run: str, yes_or_no: str, out: Path, as_json: bool) -> None:
    """Answer the question that RUN has put to the operator; no ends the run."""
    _say(run, out, {"word": "answer", "yes": yes_or_no == "yes"}, as_json=as_json)


def _say(run: str, runs: Path, request: dict[str, Any], *, as_json: bool) -> None:
    """Say `request` to the process of `run` and print its answer; exit status 1 when that was not done."""
    from titrator.cli.output import print_json
    from titrator.record.run_folder import find_run
    from titrator.run.caller import CallError, call

    with input_errors():
        folder = find_run(run, runs)
        try:
            told = call(folder, request)
        except (CallError, OSError) as error:
            document = {"run": str(folder.path), "done": False, "state": None, "text": str(error)}
            raise Failure(str(error), NOT_DONE, document) from error
    if as_json:
        print_json({"run": str(folder.path), **told})
    else:
        click.echo(f"{folder.path.name}: {told['text']}")
    if not told["done"]:
        raise click.exceptions.Exit(NOT_DONE)
