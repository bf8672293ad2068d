"""What a worker does: it unpacks what a sweep is judged with once, then makes runs, a chunk at a time.

The same functions serve processes of this computer and workers of a cluster; what goes there and back is plain data.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import threading
import time
import weakref
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from titrator.bench.rig import Rig
from titrator.method import Method, load_method
from titrator.run.tune.cells import CellText
from titrator.run.tune.judge import Judged, judged, judged_on_record
from titrator.run.tune.recording import RecordedCell

SETTINGS_KEPT = 64
OUTFITS_KEPT = 4
"""Several sweeps may use one cluster at a time."""


class Group(NamedTuple):
    """Cells that the runs from `first_run` on are made on, in turn."""

    first_run: int
    first_cell: int
    cells: int


@dataclass(frozen=True, slots=True)
class Outfit:
    """What every run of a sweep is made with. Run k has the seed `first_seed` + k, whatever the setting.

    `groups`: from run `first_run` on, cells from `first_cell` on, so many of them in turn.
    """

    rig: Rig
    cells: tuple[CellText | RecordedCell, ...]
    groups: tuple[Group, ...]
    first_seed: int

    def cell_of(self, run: int) -> int:
        """Return which cell a run is made on."""
        group = next(each for each in reversed(self.groups) if run >= each.first_run)
        return group.first_cell + (run - group.first_run) % group.cells

    @property
    def key(self) -> str:
        """Return a digest of it, by which a worker knows what it has unpacked already."""
        told = repr((self.rig, self.cells, self.groups, self.first_seed))
        return hashlib.sha256(told.encode()).hexdigest()


class Chunk(NamedTuple):
    """Some runs of one setting: its number, the text of its method, and the runs."""

    setting: int
    method: str
    runs: tuple[int, ...]


class Done(NamedTuple):
    """A chunk that is done: what came of its runs, and the seconds within them, of the processor and by the clock."""

    judged: tuple[Judged, ...]
    processor_s: float
    busy_s: float


class Worker:
    """The files of a sweep in a folder of this process's own."""

    def __init__(self, outfit: Outfit) -> None:
        self._outfit = outfit
        self._folder = folder = Path(tempfile.mkdtemp(prefix="titrator-tune-"))
        self.leave = weakref.finalize(self, shutil.rmtree, folder, ignore_errors=True)
        """Removes the folder; called at the latest when the process ends."""
        self._cells: list[Path | RecordedCell] = []
        for number, cell in enumerate(outfit.cells):
            if isinstance(cell, RecordedCell):
                self._cells.append(cell)
                continue
            path = folder / f"cell-{number:04d}.yaml"
            path.write_text(cell.text, encoding="utf-8")
            self._cells.append(path)
        self._method = lru_cache(SETTINGS_KEPT)(self._loaded)

    def done(self, chunk: Chunk) -> Done:
        """Make the runs of a chunk."""
        method = self._method(chunk.method)
        processor_s, clock_s = time.thread_time(), time.perf_counter()
        told = tuple(self._judged(chunk.setting, run, method) for run in chunk.runs)
        return Done(told, time.thread_time() - processor_s, time.perf_counter() - clock_s)

    def _judged(self, setting: int, run: int, method: Method) -> Judged:
        outfit = self._outfit
        cell, seed = self._cells[outfit.cell_of(run)], outfit.first_seed + run
        if isinstance(cell, RecordedCell):
            return judged_on_record((setting, run), method, cell, seed)
        return judged((setting, run), method, outfit.rig, cell, seed)

    def _loaded(self, text: str) -> Method:
        with tempfile.NamedTemporaryFile(
            "w", dir=self._folder, suffix=".yaml", encoding="utf-8", newline="", delete=False
        ) as file:
            file.write(text)
        return load_method(file.name)


_WORKERS: dict[str, Worker] = {}
_UNPACKING = threading.Lock()


def worker_of(outfit: Outfit) -> Worker:
    """Return this process's worker for an outfit, made when it is first asked for."""
    key = outfit.key
    with _UNPACKING:
        if key not in _WORKERS:
            while len(_WORKERS) >= OUTFITS_KEPT:
                del _WORKERS[next(iter(_WORKERS))]
            _WORKERS[key] = Worker(outfit)
        return _WORKERS[key]


def unpack(outfit: Outfit) -> None:
    """Unpack an outfit before the first chunk comes."""
    worker_of(outfit)


def work(outfit: Outfit, chunk: Chunk) -> Done:
    """Make a chunk of runs: what a cluster calls."""
    return worker_of(outfit).done(chunk)


@lru_cache(1)
def sources() -> str:
    """Return a digest of the program's own files: results of another program are not this one's."""
    root = Path(__file__).parents[3]
    digest = hashlib.sha256()
    for package in ("firmware_protocol", "sim", "titrator"):
        for path in sorted((root / package).rglob("*")):
            if path.suffix in (".py", ".yaml"):
                digest.update(f"{path.relative_to(root).as_posix()}\n".encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()
