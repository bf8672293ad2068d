"""`titrator run`: the unattended titration on a bench."""

from __future__ import annotations

import dataclasses
import datetime
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from titrator.cli.failure import DONE, INTERRUPTED, NOT_DONE, WRONG_INPUT, Failure, input_errors

if TYPE_CHECKING:
    from titrator.cli.front import Front
    from titrator.run.detach import Starter
    from titrator.run.interruption import Interruption
    from titrator.run.live import Acknowledged, LiveSetup


@click.command()
@click.argument("method", type=click.Path(path_type=Path))
@click.option("--rig", type=click.Path(path_type=Path), required=True, help="Rig file of the bench.")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), default=Path("runs"), show_default=True,
    help="Folder in which the run's own numbered folder is made.",
)  # fmt: skip
@click.option("--acknowledge-hazards", is_flag=True, help="You have read the cautions and done what they ask for.")
@click.option("--prime", is_flag=True, help="Fill tube and tip first: three dead volumes, over waste, after questions.")
@click.option("--sample-in-place", is_flag=True, help="The sample is under the tip already; then nothing is primed.")
@click.option("--detach", is_flag=True, help="Go on in the background, also when the terminal closes.")
@click.option("--figure/--no-figure", default=True, help="Whether to draw the curve (PNG and SVG).")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
@click.pass_context
def run(ctx: click.Context, /, **options: Any) -> None:
    """Titrate by METHOD on the bench of a rig file, unattended, to the end.

    The cautions of the method are shown and have to be acknowledged, once a day for each content of the method: asked
    on the terminal, or by --acknowledge-hazards. Method and rig are checked against each other before anything moves.
    While it runs, `titrator hold`, `continue`, `stop` and `answer` reach it. Ctrl-C, SIGTERM, and the terminal's
    closing (unless with --detach) halt the burette at a known position, keep everything and end the run.
    """
    from titrator.run.live import LiveSetup

    started = time.perf_counter()
    with input_errors():
        if options["prime"] and options["sample_in_place"]:
            raise Failure(
                "--prime: expected no sample in place, got --sample-in-place: a purge would run into the sample"
            )
        declared = {name: options[name] for name in ("prime", "sample_in_place")}
        setup = LiveSetup(*_loaded(options["method"]), *_loaded_rig(options["rig"]), **declared)
        acknowledged = _acknowledged(setup, options)
        if options["detach"]:
            ctx.exit(_detached(setup, acknowledged, options, started))
        ctx.exit(_conduct(setup, acknowledged, options, started))


def _loaded(path: Path) -> tuple[Any, Path]:
    from titrator.method import load_method

    return load_method(path), path


def _loaded_rig(path: Path) -> tuple[Any, Path]:
    from titrator.bench.rig import load_rig

    rig = load_rig(path)
    if rig.kind != "serial":
        raise Failure(
            f"{path}: expected the rig file of a real bench (kind: serial), got kind: {rig.kind}. Rehearse on it with "
            "`titrator dry-run`",
            WRONG_INPUT,
        )
    return rig, path


def _acknowledged(setup: LiveSetup, options: dict[str, Any]) -> Acknowledged | None:
    """Show the cautions. Who acknowledged them already; None when the run is to ask. Refused when nobody can answer."""
    from titrator.cli.keyboard import Keyboard
    from titrator.cli.output import show_cautions
    from titrator.method import cautions_text
    from titrator.record.run_folder import sha256
    from titrator.run.acknowledgement import Acknowledgements
    from titrator.run.live import CAUTIONS, Acknowledged
    from titrator.run.person import login_name

    show_cautions(cautions_text(setup.method), to_stderr=options["as_json"])
    person = login_name()
    if options["acknowledge_hazards"]:
        return Acknowledged(person, "option")
    if Acknowledgements(_today()).has(sha256(setup.method_path), person):
        click.echo(f"{person} acknowledged these cautions earlier today.\n", err=options["as_json"])
        return Acknowledged(person, "earlier today")
    if not Keyboard().is_there:
        raise Failure(
            "expected the cautions to be acknowledged before anything moves; there is no terminal to ask on. Read "
            "them, do what they ask for, then give --acknowledge-hazards",
            WRONG_INPUT,
        )
    if not options["detach"]:
        return None
    if click.prompt(CAUTIONS.text, type=click.Choice(["yes", "no"]), err=True) == "no":
        raise Failure("the cautions were not acknowledged: nothing was begun", NOT_DONE)
    return Acknowledged(person, "terminal")


def _conduct(
    setup: LiveSetup,
    acknowledged: Acknowledged | None,
    options: dict[str, Any],
    started: float,
    starter: Starter | None = None,
) -> int:
    from titrator.cli.front import Front
    from titrator.run.interruption import catching_signals

    limit_mL = setup.method.ends_when.volume_above_mL
    with catching_signals(detached=starter is not None) as interruption:
        with Front(interruption, limit_mL, options["out"], to_stderr=options["as_json"]) as front:
            folder = _titrate(setup, acknowledged, options, front, starter)
        return _told(setup, folder, options, started, interruption)


def _titrate(
    setup: LiveSetup, acknowledged: Acknowledged | None, options: dict[str, Any], front: Front, starter: Starter | None
) -> Any:
    from titrator.bench.errors import BenchError
    from titrator.record.journal import JournalError
    from titrator.run.acknowledgement import Acknowledgements
    from titrator.run.live import run_live

    attendance = front.attendance()
    if starter is not None:
        attendance = _reporting(attendance, starter)
    now = datetime.datetime.now().astimezone()
    try:
        return run_live(
            setup, options["out"], now, attendance, acknowledged=acknowledged, memory=Acknowledgements(now.date())
        )
    except (BenchError, JournalError) as error:
        raise Failure(str(error), NOT_DONE) from error


def _told(setup: LiveSetup, folder: Any, options: dict[str, Any], started: float, interruption: Interruption) -> int:
    """Evaluate what there is, tell it and return the exit status."""
    from titrator.cli.outcome import outcome, tell

    document = outcome(folder, started, figure=options["figure"])
    status = tell(document, setup.method.find.equivalence_points, as_json=options["as_json"])
    return INTERRUPTED if interruption.signal_number is not None else status


def _reporting(attendance: Any, starter: Starter) -> Any:
    """The attendance of a detached run: the folder gets its output, and the starter hears when it has begun."""
    from titrator.run.detach import Start

    folders = []

    def begun(folder: Any) -> None:
        folders.append(folder.path)
        starter.log_to(folder.path)
        attendance.begun(folder)

    def watch(standing: Any) -> None:
        starter.tell(Start(str(folders[0]), "", DONE))
        attendance.watch(standing)

    return dataclasses.replace(attendance, begun=begun, watch=watch)


def _detached(setup: LiveSetup, acknowledged: Acknowledged | None, options: dict[str, Any], started: float) -> int:
    from titrator.cli.output import print_json
    from titrator.run.detach import Start, detach

    def work(starter: Starter) -> int:
        try:
            with input_errors():
                return _conduct(setup, acknowledged, {**options, "as_json": False}, started, starter)
        except Failure as failure:
            click.echo(failure.text, err=True)
            starter.tell(Start(None, failure.text, failure.status))
            return failure.status

    start = detach(work)
    if start.run is None:
        raise Failure(start.text, start.status)
    if options["as_json"]:
        print_json({"run": start.run})
    else:
        click.echo(f"The run goes on by itself in {start.run}; what it prints goes to output.log there.")
    return start.status


def _today() -> datetime.date:
    return datetime.datetime.now().astimezone().date()
