"""Several runs on the command line of `titrator evaluate`: one series."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from titrator.cli.failure import Failure
from titrator.record.run_folder import RunFolder, find_run, run_number


def excluded_runs(words: tuple[str, ...], runs: Path) -> dict[Path, str]:
    """The folders left out with the reason for each, from `RUN=REASON`."""
    found: dict[Path, str] = {}
    for word in words:
        run, equals, reason = word.partition("=")
        if not equals or not run or not reason.strip():
            raise Failure(
                f"--exclude: expected RUN=REASON (a cause found: spilled, a bubble in the burette), got {word!r}"
            )
        path = find_run(run, runs).path.resolve()
        if path in found:
            raise Failure(f"--exclude: expected each run once, got {run} twice")
        found[path] = reason.strip()
    return found


def evaluate_runs(words: tuple[str, ...], excluded: tuple[str, ...], runs: Path) -> dict[str, Any]:
    """The document of a series; nothing is written, as a series is no one run's."""
    from titrator.report.document import series_document
    from titrator.run.evaluation import evaluate_run
    from titrator.run.replicates import LabelledRun, evaluate_series

    folders = [find_run(word, runs) for word in words]
    labels = _labels(folders)
    reasons = excluded_runs(excluded, runs)
    paths = [folder.path.resolve() for folder in folders]
    for path in reasons:
        if path not in paths:
            raise Failure(f"--exclude: expected one of the runs that are evaluated, got {path.name}")
    if len(set(paths)) < len(paths):
        raise Failure("expected each run once in a series, got one twice")
    labelled = []
    for folder, label, path in zip(folders, labels, paths, strict=True):
        try:
            labelled.append(LabelledRun(label, evaluate_run(folder), reasons.get(path)))
        except OSError as error:
            raise Failure(f"{folder.path}: expected a run that can be read, got: {error}") from error
    return series_document(evaluate_series(labelled))


def _labels(folders: list[RunFolder]) -> list[str]:
    """A short name of each run: its number where that tells them apart, else the folder's name or path."""
    numbers = [run_number(Path(folder.path.resolve().name)) for folder in folders]
    if None not in numbers and len(set(numbers)) == len(numbers):
        return [f"run {number}" for number in numbers]
    names = [folder.path.resolve().name for folder in folders]
    return names if len(set(names)) == len(names) else [str(folder.path) for folder in folders]
