"""`titrator tune`: searches the settings of rule and settling, or judges rules on recorded curves."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from titrator.cli.failure import DONE, INTERRUPTED, NOT_DONE, Failure, input_errors

if TYPE_CHECKING:
    from titrator.run.interruption import Interruption
    from titrator.run.tune.crew import Crew
    from titrator.run.tune.folder import Prepared
    from titrator.run.tune.sweep import Swept
    from titrator.run.tune.work import Outfit

FEWEST_RUNS = 24


@click.command()
@click.argument("words", nargs=-1, type=click.Path(path_type=str), metavar="METHOD | RUN...")
@click.option(
    "--cells", type=click.Path(path_type=Path), metavar="DIR",
    help="Folder with cell files to judge on. Without it the method's own cell is varied.",
)  # fmt: skip
@click.option("--cell", type=click.Path(path_type=Path), help="Cell to vary instead of the one that the method names.")
@click.option("--rig", type=click.Path(path_type=Path), help="Rig file instead of the one that the method names.")
@click.option("--runs", type=click.IntRange(min=FEWEST_RUNS), default=1000, show_default=True, help="Dry runs in all.")
@click.option("--workers", type=click.IntRange(min=1), help="Processes that make them. [default: one for each core]")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of every random draw.")
@click.option(
    "--rule", "rules", multiple=True, metavar="NAME", help="Search this rule only. May be given several times."
)
@click.option(
    "--prefer", type=click.Choice(["fast", "balanced", "exact"]), default="balanced", show_default=True,
    help="What is picked: the fastest of at most four times the smallest error, the least duration x error, or the "
    "fastest that cannot be told from the most exact.",
)  # fmt: skip
@click.option("--cluster", metavar="ADDRESS", help="Let the workers of this dask scheduler make the runs.")
@click.option("--resume", metavar="SWEEP", help="Go on with an interrupted sweep: its folder, its number or `last`.")
@click.option("--replay", is_flag=True, help="Judge rules on recorded curves: titrator tune --replay RUN...")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="Where to write the tuned method. [default: tuned.yaml in the sweep's folder]",
)  # fmt: skip
@click.option(
    "--into", type=click.Path(path_type=Path, file_okay=False), default=Path("runs"), show_default=True,
    help="Folder in which the sweep's own numbered folder is made, and which holds the runs.",
)  # fmt: skip
@click.option("--acknowledge-hazards", is_flag=True, help="Accepted for symmetry: a sweep never asks.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
@click.pass_context
def tune(ctx: click.Context, /, **options: Any) -> None:
    """Search the settings of METHOD's rule and settling on simulated cells, duration against error.

    Every setting is judged on the same cells and seeds; one with a wrong or missing point falls out. The best are
    judged again on other seeds, one is picked by the preference, and the whole method with it is written as a file
    of its own. METHOD itself is never changed. All figures are simulated.

    With --replay, rules are judged on the curves of recorded runs instead, and nothing is written.
    """
    from titrator.run.interruption import catching_signals

    if options["replay"]:
        from titrator.cli.tune_replay import replay

        ctx.exit(replay(ctx, options))
    started = time.perf_counter()
    with catching_signals() as interruption:
        status = _sweep(ctx, options, interruption, started)
        ctx.exit(INTERRUPTED if interruption.signal_number is not None else status)


def _sweep(ctx: click.Context, options: dict[str, Any], interruption: Interruption, started: float) -> int:
    from titrator.cli.output import console, print_json
    from titrator.report.trade_off import show_trade_off, sweep_document

    as_json: bool = options["as_json"]
    with input_errors():
        prepared = _prepared(ctx, options)
        swept, host = _conducted(prepared, options, interruption)
    if swept is None:
        raise Failure(
            f"interrupted; what is done is kept. Go on with: titrator tune --resume {prepared.folder}", INTERRUPTED
        )
    document = sweep_document(swept, prepared.ensemble)
    written = _kept(prepared, swept, document, options["out"])
    host = {"elapsed_s": round(time.perf_counter() - started, 3), **host, "tuned": written and str(written)}
    if as_json:
        print_json({"run": str(prepared.folder), **document, "host": host})
    else:
        show_trade_off(console(), document)
        _say(
            f"{host['runs_made']} dry runs in {host['sweep_s']:.0f} s, {host['runs_per_s']:.1f} a second, on "
            f"{host['workers']} workers that were busy with them for {100 * host['busy_share']:.0f} % of the time."
        )
        if written is not None:
            _say(f"The tuned method is in {written}")
        _say(f"Everything is in {prepared.folder}")
    return DONE if swept.choice is not None else NOT_DONE


def _say(text: str, *, to_stderr: bool = False) -> None:
    """A sentence, wrapped between words on a terminal and never elsewhere."""
    from rich.text import Text

    from titrator.cli.output import console

    out = console(to_stderr=to_stderr)
    out.print(Text(text), soft_wrap=not out.is_terminal)


def _prepared(ctx: click.Context, options: dict[str, Any]) -> Prepared:
    """Begin a sweep, or go on with one; its folder is there when this returns."""
    import datetime

    from titrator.cli.output import show_cautions
    from titrator.method import cautions_text
    from titrator.run.tune.folder import begin, go_on
    from titrator.run.tune.wish import Wish, granted

    as_json, words = options["as_json"], options["words"]
    _refuse_lost_work(options)
    if options["resume"] is not None:
        _refuse_beside_resume(ctx, words)
        prepared = go_on(options["resume"], options["into"])
        known = len(prepared.file.known)
        total = prepared.plan.budget.total
        _say(f"Going on with {prepared.folder}: {known} of {total} runs known.", to_stderr=as_json)
        return prepared
    if len(words) != 1:
        raise Failure(f"expected one METHOD, got {len(words)}; see titrator tune --help")
    wish = Wish(
        method=Path(words[0]),
        rig=options["rig"],
        cell=options["cell"],
        cells=options["cells"],
        runs=options["runs"],
        rules=rules_of(options["rules"]),
        prefer=options["prefer"],
        seed=options["seed"],
    )
    if wish.cells is not None and wish.cell is not None:
        raise Failure("--cell: expected no cell to vary beside --cells, a folder of cells, got both")
    allowed = granted(wish)
    show_cautions(cautions_text(allowed.plan.draft.method), to_stderr=as_json)
    prepared = begin(wish, allowed, options["into"], datetime.datetime.now().astimezone())
    budget = prepared.plan.budget
    _say(
        f"Tuning {allowed.plan.draft.method.name!r} ({', '.join(prepared.plan.rules)}): {budget.total} dry runs, seed "
        f"{prepared.plan.seed}; {budget.settings} settings on {budget.runs} runs each, then {budget.finalists} on "
        f"{budget.confirming} others.",
        to_stderr=as_json,
    )
    return prepared


def _conducted(
    prepared: Prepared, options: dict[str, Any], interruption: Interruption
) -> tuple[Swept | None, dict[str, Any]]:
    """Make the runs; None where a signal ended it. What differs from computer to computer comes beside it."""
    from titrator.cli.progress import progress
    from titrator.record.run_lock import RunLock, RunLockedError
    from titrator.run.tune.crew import CrewError
    from titrator.run.tune.sweep import InterruptedSweepError, Sweep

    total = prepared.plan.budget.total
    try:
        with RunLock(prepared.folder), prepared.file, crew_of(prepared.outfit, options) as crew:
            began = time.perf_counter()
            with progress(total, to_stderr=options["as_json"]) as shown:
                advance = unless_interrupted(interruption, shown)
                swept = Sweep(prepared.plan, crew, prepared.file, advance).run()
            return swept, _host(swept, crew, time.perf_counter() - began)
    except InterruptedSweepError:
        return None, {}
    except RunLockedError as error:
        raise Failure(
            f"{prepared.folder}: expected a sweep that no process conducts, got one that another does. Wait for it"
        ) from error
    except CrewError as error:
        raise Failure(
            f"{error}. What is done is kept; go on with: titrator tune --resume {prepared.folder}", NOT_DONE
        ) from error


def unless_interrupted(interruption: Interruption, shown: Callable[[int], None]) -> Callable[[int], None]:
    """Pass on how many runs are done; InterruptedSweepError from there once a signal came."""
    from titrator.run.tune.sweep import InterruptedSweepError

    def advance(runs: int) -> None:
        shown(runs)
        if interruption.signal_number is not None:
            raise InterruptedSweepError

    return advance


def crew_of(outfit: Outfit, options: dict[str, Any]) -> AbstractContextManager[Crew]:
    """The workers that are asked for: a cluster's, or processes of this computer."""
    if options["cluster"] is not None:
        from titrator.run.tune.cluster import cluster_crew

        return cluster_crew(outfit, options["cluster"])
    from titrator.run.tune.crew import local_crew

    return local_crew(outfit, options["workers"] or cores())


def cores() -> int:
    """How many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _host(swept: Swept, crew: Crew, sweep_s: float) -> dict[str, Any]:
    """Speeds, the start of the workers apart. `processor_share`: of their cores, what went into dry runs."""
    whole_s = crew.workers * sweep_s
    return {
        "start_s": round(crew.ready_s, 3),
        "sweep_s": round(sweep_s, 3),
        "workers": crew.workers,
        "runs_made": swept.made,
        "runs_per_s": round(swept.made / sweep_s, 3),
        "processor_s": round(swept.processor_s, 3),
        "processor_share": round(swept.processor_s / whole_s, 4),
        "busy_share": round(swept.busy_s / whole_s, 4),
    }


def _kept(prepared: Prepared, swept: Swept, document: dict[str, Any], out: Path | None) -> Path | None:
    """Write document, figure and the tuned method; return where the method is, None where nothing was picked."""
    from titrator.method import load_method
    from titrator.record.run_folder import write_json
    from titrator.report.trade_off_figure import draw_trade_off
    from titrator.run.tune.tuned import tuned_text

    folder = prepared.folder
    with (folder / "trade-off.json").open("w", encoding="utf-8") as file:
        write_json(file, document)
    for ending in ("png", "svg"):
        draw_trade_off(document, folder / "figures" / f"trade-off.{ending}")
    if swept.choice is None:
        return None
    path = out or folder / "tuned.yaml"
    path.write_text(tuned_text(swept, prepared.ensemble, prepared.method, path.parent), encoding="utf-8")
    load_method(path)  # as `titrator check` reads it
    return path


def rules_of(given: tuple[str, ...]) -> tuple[str, ...]:
    """The rules that the user names, each one that is known."""
    import difflib

    from titrator.run.tune.dials import tunable

    for rule in given:
        if rule not in tunable():
            near = difflib.get_close_matches(rule, tunable(), n=1)
            hint = f" (did you mean {near[0]}?)" if near else ""
            raise Failure(f"--rule: expected {' or '.join(tunable())}, got {rule!r}{hint}")
    return given


def _refuse_lost_work(options: dict[str, Any]) -> None:
    """What would fail at the end of a long search fails before it."""
    if options["workers"] is not None and options["cluster"] is not None:
        raise Failure(
            "--workers: expected no number of processes beside --cluster, whose workers are its own, got both"
        )
    if options["cluster"] is not None:
        from titrator.run.tune.cluster import check_address

        check_address(options["cluster"])
    out: Path | None = options["out"]
    if out is None:
        return
    if out.exists():
        raise Failure(f"--out {out}: expected no such file, for nothing is overwritten, got one. Choose another")
    if not out.resolve().parent.is_dir():
        raise Failure(f"--out {out}: expected a folder to write it in, got none: {out.resolve().parent}")


def _refuse_beside_resume(ctx: click.Context, words: tuple[str, ...]) -> None:
    """A sweep that goes on is what it was begun as."""
    told = {"cells", "cell", "rig", "runs", "seed", "rules", "prefer"}
    given = [name for name in sorted(told) if ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE]
    if words or given:
        what = "METHOD" if words else f"--{given[0].removesuffix('s') if given[0] == 'rules' else given[0]}"
        raise Failure(f"{what}: expected nothing beside --resume that the sweep was begun with, got it again")
