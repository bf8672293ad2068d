"""`titrator tune --replay`: rules judged on recorded curves."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from titrator.cli.failure import DONE, INTERRUPTED, NOT_DONE, Failure, input_errors

if TYPE_CHECKING:
    from titrator.run.interruption import Interruption
    from titrator.run.tune.replay import Replay, Replayed

MEANINGLESS = ("cells", "cell", "rig", "prefer", "resume", "out")
"""Options of a sweep that say nothing here."""


def replay(ctx: click.Context, options: dict[str, Any]) -> int:
    """Judge rules on recorded runs and tell; return the exit status. Nothing is written."""
    from titrator.cli.output import console, print_json
    from titrator.report.replay_table import replay_document, show_replay
    from titrator.run.interruption import catching_signals

    started = time.perf_counter()
    for name in MEANINGLESS:
        if ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE:
            raise Failure(f"--{name}: expected no such option beside --replay, got one")
    with catching_signals() as interruption:
        with input_errors():
            plan = _planned(ctx, options)
        told, host = _made(plan, options, interruption)
    if told is None:
        raise Failure("interrupted; nothing was written", INTERRUPTED)
    document = replay_document(plan, told)
    if options["as_json"]:
        print_json({**document, "host": {"elapsed_s": round(time.perf_counter() - started, 3), **host}})
    else:
        show_replay(console(), document)
    return DONE if all(figures.sound for each in told for figures in each.figures) else NOT_DONE


def _planned(ctx: click.Context, options: dict[str, Any]) -> Replay:
    from titrator.cli.tune import rules_of
    from titrator.record.run_folder import find_run
    from titrator.run.tune.replay import planned

    methods = [word for word in options["words"] if Path(word).suffix in (".yaml", ".yml")]
    runs = [word for word in options["words"] if word not in methods]
    if not runs or len(methods) > 1:
        raise Failure(
            f"expected one RUN or more behind --replay, and one METHOD at most, got {len(runs)} and {len(methods)}"
        )
    asked = ctx.get_parameter_source("runs") is click.core.ParameterSource.COMMANDLINE
    folders = [find_run(word, options["into"]) for word in runs]
    method = Path(methods[0]) if methods else None
    try:
        return planned(folders, rules_of(options["rules"]), method, options["runs"] if asked else None, options["seed"])
    except OSError as error:
        raise Failure(f"expected runs that can be read, got: {error}") from error


def _made(
    plan: Replay, options: dict[str, Any], interruption: Interruption
) -> tuple[list[Replayed] | None, dict[str, Any]]:
    from titrator.cli.progress import progress
    from titrator.cli.tune import crew_of, unless_interrupted
    from titrator.run.tune.crew import CrewError
    from titrator.run.tune.replay import replayed
    from titrator.run.tune.sweep import InterruptedSweepError

    try:
        with (
            input_errors(),
            crew_of(plan.outfit, options) as crew,
            progress(plan.total, to_stderr=options["as_json"]) as shown,
        ):
            told = replayed(plan, crew, unless_interrupted(interruption, shown))
            return told, {"workers": crew.workers}
    except InterruptedSweepError:
        return None, {}
    except CrewError as error:
        raise Failure(str(error), NOT_DONE) from error
