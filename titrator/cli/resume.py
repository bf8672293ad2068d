"""`titrator resume`: going on with a run whose process ended without ending it."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import click

from titrator.cli.failure import INTERRUPTED, NOT_DONE, Failure, input_errors


@click.command()
@click.argument("run")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), default=Path("runs"), show_default=True,
    help="Folder in which the runs are.",
)  # fmt: skip
@click.option("--port", help="Where the board is now, if not where the rig file says.")
@click.option("--figure/--no-figure", default=True, help="Whether to draw the curve (PNG and SVG).")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
@click.pass_context
def resume(ctx: click.Context, /, run: str, **options: Any) -> None:
    """Go on with RUN (its folder, its number, or `last`), whose process was killed or lost its computer.

    The journal is followed to where it ends, the board of the run is found by its identity, and its count of steps is
    compared with the journal's; then the titration goes on in the same folder. Where the count was lost, with the
    board's power, the run is ended instead, with bounds for the volume, and evaluated.
    """
    from titrator.record.run_folder import find_run

    started = time.perf_counter()
    with input_errors():
        ctx.exit(_resume(find_run(run, options["out"]), options, started))


def _resume(folder: Any, options: dict[str, Any], started: float) -> int:
    from titrator.bench.errors import BenchError
    from titrator.cli.front import Front
    from titrator.cli.outcome import outcome, tell
    from titrator.record.journal import JournalError
    from titrator.run.interruption import catching_signals
    from titrator.run.resume import RunClosedError, interrupted, resume_live

    going = interrupted(folder, port=options["port"])
    limit_mL = going.method.ends_when.volume_above_mL
    with catching_signals() as interruption:
        try:
            with Front(interruption, limit_mL, options["out"], to_stderr=options["as_json"]) as front:
                told = resume_live(going, front.attendance())
        except (BenchError, JournalError, RunClosedError) as error:
            raise Failure(str(error), NOT_DONE) from error
        for each in told:
            click.echo(each, err=True)
        document = outcome(folder, started, figure=options["figure"])
        status = tell(document, going.method.find.equivalence_points, as_json=options["as_json"])
    return INTERRUPTED if interruption.signal_number is not None else status
