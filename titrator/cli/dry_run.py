"""`titrator dry-run`: the whole titration against the simulated cell."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from titrator.cli.failure import INTERRUPTED, NOT_DONE, WRONG_INPUT, Failure, input_errors
from titrator.cli.finite import FiniteRange

if TYPE_CHECKING:
    from titrator.run.interruption import Interruption
    from titrator.run.rehearsal import Rehearsal, Setup


@click.command("dry-run")
@click.argument("method", type=click.Path(path_type=Path), required=False, metavar="METHOD")
@click.option("--cell", type=click.Path(path_type=Path), help="Cell file instead of the one that the method names.")
@click.option("--rig", type=click.Path(path_type=Path), help="Rig file instead of the one that the method names.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of every random draw.")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), default=Path("runs"), show_default=True,
    help="Folder in which the run's own numbered folder is made.",
)  # fmt: skip
@click.option(
    "--fault", "faults", multiple=True, metavar="NAME[=SIZE]@WHEN",
    help='Let something go wrong: "stirrer-off@8 mL", "bubble=0.05 mL@300 s". May be given several times.',
)  # fmt: skip
@click.option("--faults", "list_faults", is_flag=True, help="List what can go wrong, and do nothing else.")
@click.option("--pace", type=FiniteRange(min=0, min_open=True), help="Watch it: simulated seconds per second.")
@click.option("--figure/--no-figure", default=True, help="Whether to draw the curve (PNG and SVG).")
@click.option("--acknowledge-hazards", is_flag=True, help="Accepted for symmetry: a rehearsal never asks.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
@click.pass_context
def dry_run(ctx: click.Context, /, **options: Any) -> None:
    """Rehearse METHOD on the simulated cell: run, record, evaluate, draw.

    What method and rig call uncertain is drawn within its uncertainty from the seed, the unknown within the limits of
    the cell file. The result is told beside the truth, which the evaluation never sees. All figures are simulated.
    """
    from titrator.run.interruption import catching_signals

    if options["list_faults"]:
        _show_faults(as_json=options["as_json"])
        return
    if options["method"] is None:
        raise click.MissingParameter(ctx=ctx, param=ctx.command.params[0])
    with catching_signals() as interruption:
        status = _rehearse_and_report(options, interruption)
        ctx.exit(INTERRUPTED if interruption.signal_number is not None else status)


def _rehearse_and_report(options: dict[str, Any], interruption: Interruption) -> int:
    from titrator.cli.outcome import outcome, tell
    from titrator.cli.output import show_cautions
    from titrator.method import cautions_text

    started = time.perf_counter()
    as_json = options["as_json"]
    with input_errors():
        setup = _setup(options)
        show_cautions(cautions_text(setup.method), to_stderr=as_json)
        click.echo(f"Rehearsing {setup.method.name!r} on the simulated cell, seed {setup.seed}.", err=as_json)
        for words in setup.faults:
            click.echo(f"What goes wrong: {words}", err=as_json)
        rehearsal = _rehearsed(setup, options, interruption)
        document = outcome(rehearsal.folder, started, figure=options["figure"], truth=rehearsal.truth)
    return tell(document, setup.method.find.equivalence_points, as_json=as_json)


def _rehearsed(setup: Setup, options: dict[str, Any], interruption: Interruption) -> Rehearsal:
    """Rehearse; with --pace before everybody's eyes, and within reach of `titrator hold` and its like."""
    import datetime

    from titrator.bench.errors import BenchError
    from titrator.record.journal import JournalError
    from titrator.run.attendance import Attendance
    from titrator.run.rehearsal import rehearse

    now = datetime.datetime.now().astimezone()
    runs, pace = options["out"], options["pace"]
    try:
        if pace is None:
            return rehearse(setup, runs, now, Attendance(word=interruption.word))
        from titrator.cli.front import Front

        limit_mL = setup.method.ends_when.volume_above_mL
        with Front(interruption, limit_mL, runs, to_stderr=options["as_json"], pace=pace) as front:
            return rehearse(setup, runs, now, front.attendance())
    except (BenchError, JournalError) as error:
        raise Failure(str(error), NOT_DONE) from error


def _show_faults(*, as_json: bool) -> None:
    from titrator.bench.simulated import list_faults
    from titrator.cli.output import print_json

    faults = list_faults()
    if as_json:
        print_json({"faults": faults})
        return
    where = None
    for fault in faults:
        if fault["where"] != where:
            where = fault["where"]
            click.echo(f"{where}:")
        size = "" if fault["unit"] is None else f"={fault['default']:g} {fault['unit']}"
        click.echo(f"  {fault['name'] + size:<34}{fault['does']}")
    click.echo(
        'Ask for one by --fault NAME[=SIZE]@WHEN, where WHEN is "8 mL" or "300 s". The size told is the default.'
    )


def _setup(options: dict[str, Any]) -> Setup:
    from titrator.bench.rig import load_rig
    from titrator.bench.simulated import check_faults
    from titrator.method import load_method
    from titrator.run.rehearsal import Setup

    method_path: Path = options["method"]
    method = load_method(method_path)
    check_faults(options["faults"])
    paths = {}
    for what in ("cell", "rig"):
        path = options[what] or getattr(method.rehearsal, what)
        if path is None:
            raise Failure(
                f"{method_path}: expected the {what} of the rehearsal under `rehearsal:` or --{what} FILE, got neither",
                WRONG_INPUT,
            )
        paths[what] = path
    return Setup(
        method, method_path, load_rig(paths["rig"]), paths["rig"], paths["cell"], options["seed"], options["faults"]
    )
