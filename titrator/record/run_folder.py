"""The folder of one run: `runs/<number>-<date>-<name>/`, its files, and how a user names it."""

from __future__ import annotations

import datetime
import hashlib
import re
import shutil
import unicodedata
from pathlib import Path
from typing import Any, NamedTuple

from titrator.files import InputProblem
from titrator.record.json_text import json_text

_FOLDER = re.compile(r"(\d{4,})-\d{4}-\d{2}-\d{2}-.+")
_LONGEST_NAME = 48


class Kind(NamedTuple):
    """A kind of numbered folder, and the file that it grows by."""

    name: str
    file: str


RUN, SWEEP = Kind("run", "journal.jsonl"), Kind("sweep", "sweep.jsonl")


class RunFolderError(InputProblem):
    """A run folder could not be made or found; the message says what to do."""


class RunFolder:
    """Paths within a run's folder."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.journal = path / "journal.jsonl"
        self.method = path / "method.yaml"
        self.rig = path / "rig.yaml"
        self.cell = path / "cell.yaml"
        self.host = path / "host.json"
        self.truth = path / "truth.json"
        self.results = path / "results"
        self.figures = path / "figures"

    @classmethod
    def create(cls, runs: Path, name: str, today: datetime.date, copies: dict[str, Path]) -> RunFolder:
        """Make the next numbered folder below `runs` and copy the files that the run was made from into it.

        `copies` maps a file name in the folder to the file that is copied.
        """
        try:
            runs.mkdir(parents=True, exist_ok=True)
            path = _claim(runs, f"{today.isoformat()}-{_slug(name)}")
            folder = cls(path)
            folder.results.mkdir()
            folder.figures.mkdir()
            for file_name, source in copies.items():
                shutil.copyfile(source, path / file_name)
        except OSError as error:
            raise RunFolderError(
                f"expected to make a run folder below {runs}, got: {error}. Choose another folder with --out"
            ) from error
        return folder

    def keep_torn(self, tail: bytes) -> Path:
        """Keep a torn last line of the journal in a file beside it, once; returns its path. Raises OSError."""
        number = 1
        while True:
            path = self.path / f"journal.torn-{number}"
            try:
                with path.open("xb") as file:
                    file.write(tail)
            except FileExistsError:
                if path.read_bytes() == tail:
                    return path
                number += 1
                continue
            return path

    def add_evaluation(self, document: dict[str, Any]) -> Path:
        """Store one more evaluation beside the earlier ones; nothing is overwritten. Returns its path."""
        number = 1 + sum(1 for _ in self.results.glob("evaluation-*.json"))
        while True:
            path = self.results / f"evaluation-{number:03d}.json"
            try:
                with path.open("x", encoding="utf-8") as file:
                    write_json(file, document)
            except FileExistsError:
                number += 1
                continue
            return path


def _claim(runs: Path, rest_of_name: str) -> Path:
    """Make the next numbered folder. Whoever finds its number taken by another process's folder gives way."""
    number = max((run_number(path) or 0 for path in runs.iterdir()), default=0)
    while True:
        number += 1
        path = runs / f"{number:04d}-{rest_of_name}"
        try:
            path.mkdir()
        except FileExistsError:
            continue
        if sum(run_number(other) == number for other in runs.iterdir()) == 1:
            return path
        path.rmdir()


def sha256(path: Path) -> str:
    """The SHA-256 of a file's content, as the journal names the files that a run was made from."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def write_json(file: Any, document: dict[str, Any]) -> None:
    """Write `document` for people and programs alike: indented, UTF-8, no NaN."""
    file.write(json_text(document) + "\n")


def run_number(path: Path) -> int | None:
    """The number in a run folder's name, or None if `path` is not named like one."""
    match = _FOLDER.fullmatch(path.name)
    return int(match.group(1)) if match else None


def find_run(text: str, runs: Path) -> RunFolder:
    """The run that a user means by `text`: a path, a run number, or `last` (below `runs`).

    Raises `RunFolderError` saying what there is.
    """
    return RunFolder(_found(text, runs, RUN))


def find_sweep(text: str, runs: Path) -> Path:
    """The folder of a sweep of `titrator tune`, which is numbered among the runs; as `find_run`."""
    return _found(text, runs, SWEEP)


def _found(text: str, runs: Path, kind: Kind) -> Path:
    path = Path(text)
    wanted = f"a {kind.name} (its folder, its number or `last`)"
    try:
        if (path / kind.file).is_file():
            return path
        is_folder = path.is_dir()
    except OSError as error:  # a name too long for any folder, a circle of links
        raise RunFolderError(f"expected {wanted}, got {text[:60]!r}: {error}") from error
    if is_folder:
        raise RunFolderError(f"{path}: expected a {kind.name} folder with a {kind.file}, got a folder without one")
    known = sorted(
        (number, child)
        for child in (runs.iterdir() if runs.is_dir() else ())
        if (number := run_number(child)) is not None and _holds(child, kind)
    )
    if text == "last" and known:
        return known[-1][1]
    if text.isdecimal():
        for number, child in known:
            if number == int(text):
                return child
    there = f"{runs} holds {kind.name}s {known[0][0]} to {known[-1][0]}" if known else f"{runs} holds no {kind.name}"
    raise RunFolderError(f"expected {wanted}, got {text!r}: {there}")


def _holds(folder: Path, kind: Kind) -> bool:
    """Whether a numbered folder is one of this kind; a run may have lost its journal, a sweep is known by its file."""
    return (folder / SWEEP.file).exists() is (kind is SWEEP)


def _slug(name: str) -> str:
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST_NAME].rstrip("-") or "run"
