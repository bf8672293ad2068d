"""What a run or a rehearsal ends with: evaluated from its record, stored beside it, and told."""

from __future__ import annotations

import contextlib
import time
from typing import Any

import click

from titrator.cli.failure import DONE, NOT_DONE
from titrator.record.run_folder import RunFolder


def outcome(folder: RunFolder, started: float, *, figure: bool, truth: dict[str, Any] | None = None) -> dict[str, Any]:
    """Evaluate the run in `folder`, store the evaluation and the figures, and return the document.

    `truth` is the simulator's, for a rehearsal. `started`: time.perf_counter() at the start of the command.
    """
    from titrator.report.document import run_document, simulated_note, truth_document
    from titrator.run.evaluation import evaluate_run

    evaluated = evaluate_run(folder)
    document = run_document(evaluated)
    folder.add_evaluation(document)
    if figure:
        from titrator.report.figure import draw_curve

        name, note = evaluated.method.name, simulated_note(document)
        passing = [(each.volume_mL, each.potential_mV) for each in evaluated.passing]
        for ending in ("png", "svg"):
            path = folder.figures / f"curve.{ending}"
            draw_curve(evaluated.curve, evaluated.evaluation, name, path, note=note, passing=passing)
    if truth is not None:
        document = {**document, "truth": truth_document(truth, evaluated.results, evaluated.method.result)}
    host = {"elapsed_s": round(time.perf_counter() - started, 3)}
    return {"run": str(folder.path), **document, "host": host}


def tell(document: dict[str, Any], sought: int, *, as_json: bool) -> int:
    """Print the document or its closing table; return the exit status."""
    from titrator.cli.output import console, print_json
    from titrator.report.closing import show_closing
    from titrator.report.document import enough_found

    if as_json:
        print_json(document)
    else:
        with contextlib.suppress(OSError):  # the terminal is gone; the record and the evaluation are in the folder
            show_closing(console(), document)
            click.echo(f"Everything is in {document['run']}")
    enough = enough_found(document, sought)
    return DONE if document["state"] == "finished" and document["record_complete"] and enough else NOT_DONE
