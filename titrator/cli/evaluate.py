"""`titrator evaluate`: equivalence points and results again, of a recorded run or of a CSV file from anywhere."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import click

from titrator.cli.failure import DONE, NOT_DONE, Failure, input_errors


@click.command()
@click.argument("run_or_csv", metavar="RUN-or-CSV", nargs=-1, required=True)
@click.option("--method", type=click.Path(path_type=Path), help="Method that tells model and points sought (CSV only).")
@click.option("--volume-unit", help="Unit of the volumes of a CSV file without a header, such as mL.")
@click.option("--signal-unit", help="Unit of the signal of a CSV file without a header: mV, V, pH or pAg.")
@click.option("--volume-column", help="Column of the volumes of a CSV file with more than two: its header or number.")
@click.option("--signal-column", help="Column of the signal of a CSV file with more than two: its header or number.")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), default=None,
    help="For a run number or `last`: the folder that holds the runs (default runs). For a CSV: where to put results.",
)  # fmt: skip
@click.option(
    "--exclude", "excluded", multiple=True, metavar="RUN=REASON",
    help="Leave a run out of a series for a stated reason; it stays listed. May be given several times.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
@click.pass_context
def evaluate(ctx: click.Context, /, **options: Any) -> None:
    """Find equivalence points and results.

    RUN-or-CSV is the folder of a run, its number, `last`, or a file with columns of volume and signal, with units in
    its header (volume_mL,potential_mV). A run gets one more evaluation beside the earlier ones; its raw data stay as
    they are. Of a CSV file nothing is written without --out.

    Several runs of one method are a series: replicates, their mean and scatter, blanks taken off, a control sample's
    recovery. Nothing is written of a series.
    """
    started = time.perf_counter()
    words: tuple[str, ...] = options["run_or_csv"]
    if len(words) > 1 or options["excluded"]:
        ctx.exit(_series(words, options, started))
    path = Path(words[0])
    options["run_or_csv"] = words[0]
    with input_errors():
        document = _evaluate_csv(path, options) if _is_file(path) else _evaluate_run(options)
    sought = document.pop("sought")
    document["host"] = {"elapsed_s": round(time.perf_counter() - started, 3)}
    _show(document, as_json=options["as_json"])
    from titrator.report.document import enough_found

    enough = enough_found(document, sought)
    ctx.exit(
        DONE
        if enough and document["state"] in (None, "finished") and document.get("record_complete", True)
        else NOT_DONE
    )


def _show(document: dict[str, Any], *, as_json: bool) -> None:
    from titrator.cli.output import console, print_json

    if as_json:
        print_json(document)
        return
    from titrator.report.closing import show_closing

    show_closing(console(), document)


def _series(words: tuple[str, ...], options: dict[str, Any], started: float) -> int:
    """Evaluate several runs together and tell; the exit status is that of the worst run that counts."""
    from titrator.cli.output import console, print_json
    from titrator.cli.series import evaluate_runs

    _refuse_csv_options(options)
    with input_errors():
        csv = next((word for word in words if _is_file(Path(word))), None)
        if csv is not None:
            raise Failure(f"{csv}: expected runs in a series, got a file; evaluate a CSV file alone")
        document = evaluate_runs(words, options["excluded"], options["out"] or Path("runs"))
    document["host"] = {"elapsed_s": round(time.perf_counter() - started, 3)}
    if options["as_json"]:
        print_json(document)
    else:
        from titrator.report.series_table import show_series

        show_series(console(), document)
    finished = all(each["state"] == "finished" for each in document["runs"] if each["excluded"] is None)
    counted = {each["run"] for result in document["results"] for each in result["replicates"]}
    return DONE if finished and all(each["run"] in counted for each in document["runs"]) else NOT_DONE


def _refuse_csv_options(options: dict[str, Any]) -> None:
    for name in ("method", "volume_unit", "signal_unit", "volume_column", "signal_column"):
        if options[name] is not None:
            option = name.replace("_", "-")
            raise Failure(f"--{option}: expected only with a CSV file; a run carries its own method and units")


def _evaluate_run(options: dict[str, Any]) -> dict[str, Any]:
    from titrator.record.run_folder import find_run

    _refuse_csv_options(options)
    folder = find_run(options["run_or_csv"], options["out"] or Path("runs"))

    from titrator.report.document import run_document
    from titrator.run.evaluation import evaluate_run

    try:
        evaluated = evaluate_run(folder)
    except OSError as error:
        raise Failure(f"{folder.path}: expected a run that can be read, got: {error}") from error
    document = run_document(evaluated)
    try:
        folder.add_evaluation(document)
    except OSError as error:  # an archive may be read-only; what was found is told all the same
        document["warnings"].append(f"this evaluation could not be stored in the folder of the run: {error}")
    return {"run": str(folder.path), **document, "sought": evaluated.method.find.equivalence_points}


def _evaluate_csv(path: Path, options: dict[str, Any]) -> dict[str, Any]:
    from titrator.evaluate.csv_file import read_csv
    from titrator.evaluate.equivalence import find_equivalence_points
    from titrator.evaluate.expectation import Expectation
    from titrator.report.document import csv_document

    expectation, sought = Expectation(), 1
    if options["method"] is not None:
        from titrator.method import load_method
        from titrator.run.expectations import expectation_of

        method = load_method(options["method"])
        expectation, sought = expectation_of(method, None), method.find.equivalence_points
    try:
        beside = {name: options[name] for name in ("volume_unit", "signal_unit", "volume_column", "signal_column")}
        curve = read_csv(path, **beside)
    except ValueError as error:  # --volume-unit or --signal-unit names no unit
        raise Failure(str(error)) from error
    evaluation = find_equivalence_points(curve, expectation)
    document = csv_document(_printable(path), evaluation)
    if options["out"] is not None:
        _store(path, curve, evaluation, document, options["out"])
    return {"run": None, **document, "sought": sought}


def _store(path: Path, curve: Any, evaluation: Any, document: dict[str, Any], out: Path) -> None:
    """Write the evaluation of a CSV and its figures into `out`; an earlier one there is not overwritten."""
    from titrator.record.run_folder import write_json
    from titrator.report.figure import draw_curve

    try:
        out.mkdir(parents=True, exist_ok=True)
        with (out / f"{path.stem}-evaluation.json").open("x", encoding="utf-8") as file:
            write_json(file, document)
        for ending in ("png", "svg"):
            draw_curve(curve, evaluation, document["name"], out / f"{path.stem}-curve.{ending}")
    except OSError as error:
        raise Failure(
            f"{out}: expected to write the evaluation there, got: {error}. Choose a folder of its own with --out"
        ) from error


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name too long for any file
        return False


def _printable(path: Path) -> str:
    """The file's name; bytes of it that are not UTF-8 as escapes, since JSON holds text only."""
    return path.name.encode("utf-8", "backslashreplace").decode("utf-8")
