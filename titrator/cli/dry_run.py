"""`titrator dry-run`: the whole titration against the simulated cell."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import click

from titrator.cli.failure import DONE, INTERRUPTED, NOT_DONE, WRONG_INPUT, Failure, input_errors


@click.command("dry-run")
@click.argument("method", type=click.Path(path_type=Path))
@click.option("--cell", type=click.Path(path_type=Path), help="Cell file instead of the one that the method names.")
@click.option("--rig", type=click.Path(path_type=Path), help="Rig file instead of the one that the method names.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of every random draw.")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), default=Path("runs"), show_default=True,
    help="Folder in which the run's own numbered folder is made.",
)  # fmt: skip
@click.option("--pace", type=click.FloatRange(min=0, min_open=True), help="Watch it: simulated seconds per second.")
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

    with catching_signals() as interruption:
        status = _rehearse_and_report(options, interruption)
        ctx.exit(INTERRUPTED if interruption.signal_number is not None else status)


def _rehearse_and_report(options: dict[str, Any], interruption: Any) -> int:
    import datetime

    from titrator.bench.errors import BenchError
    from titrator.cli.output import console, print_json, show_cautions
    from titrator.method import cautions_text
    from titrator.record.journal import JournalError
    from titrator.report.closing import show_closing
    from titrator.run.rehearsal import rehearse

    started = time.perf_counter()
    as_json = options["as_json"]
    with input_errors():
        setup = _setup(options)
        show_cautions(cautions_text(setup.method), to_stderr=as_json)
        click.echo(f"Rehearsing {setup.method.name!r} on the simulated cell, seed {setup.seed}.", err=as_json)
        pace = _pace(options["pace"])
        now = datetime.datetime.now().astimezone()
        try:
            rehearsal = rehearse(setup, options["out"], now, word=interruption.word, **pace)
        except (BenchError, JournalError) as error:
            raise Failure(str(error), NOT_DONE) from error
        document = _report(rehearsal, options, started)
    if as_json:
        print_json(document)
    else:
        show_closing(console(), document)
        click.echo(f"Everything is in {rehearsal.folder.path}")
    enough = len(document["equivalence_points"]) >= setup.method.find.equivalence_points
    return DONE if document["state"] == "finished" and enough else NOT_DONE


def _setup(options: dict[str, Any]) -> Any:
    from titrator.bench.rig import load_rig
    from titrator.method import load_method
    from titrator.run.rehearsal import Setup

    method_path: Path = options["method"]
    method = load_method(method_path)
    paths = {}
    for what in ("cell", "rig"):
        path = options[what] or getattr(method.rehearsal, what)
        if path is None:
            raise Failure(
                f"{method_path}: expected the {what} of the rehearsal under `rehearsal:` or --{what} FILE, got neither",
                WRONG_INPUT,
            )
        paths[what] = path
    return Setup(method, method_path, load_rig(paths["rig"]), paths["rig"], paths["cell"], options["seed"])


def _pace(pace: float | None) -> dict[str, Any]:
    """Arguments for `rehearse` that show a watched rehearsal as it goes; nothing for an unwatched one."""
    if pace is None:
        return {}
    from titrator.control.point import Point
    from titrator.control.states import State

    began = time.monotonic()

    def keep(board_s: float) -> None:
        ahead_s = board_s / pace - (time.monotonic() - began)
        if ahead_s > 0.0:
            time.sleep(ahead_s)

    def observe(state: State, why: str, point: Point | None) -> None:
        if point is None and state is not State.DECIDING:
            click.echo(f"  {why}", err=True)
        elif point is not None:
            settled = "settled" if point.settled else "not settled"
            click.echo(
                f"  point {point.number}: {point.volume_mL:.4f} mL, {point.potential_mV:.1f} mV, {settled} after "
                f"{point.waited_s:.1f} s",
                err=True,
            )

    return {"keep_pace": keep, "observer": observe}


def _report(rehearsal: Any, options: dict[str, Any], started: float) -> dict[str, Any]:
    """Evaluate the run from its record, store the evaluation and the figures, and return the document."""
    from titrator.report.document import run_document, truth_document
    from titrator.run.evaluation import evaluate_run

    folder = rehearsal.folder
    evaluated = evaluate_run(folder)
    document = run_document(evaluated)
    folder.add_evaluation(document)
    if options["figure"]:
        from titrator.report.figure import draw_curve

        for ending in ("png", "svg"):
            draw_curve(evaluated.curve, evaluated.evaluation, evaluated.method.name, folder.figures / f"curve.{ending}")
    truth = truth_document(rehearsal.truth, evaluated.results, evaluated.method.result.molar_mass_g_per_mol)
    host = {"elapsed_s": round(time.perf_counter() - started, 3)}
    return {"run": str(folder.path), **document, "truth": truth, "host": host}
