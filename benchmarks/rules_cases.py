"""The cells of the study of rules: methods with their cells, and the rig that all of them share.

A variation is made by replacing text in a method, cell or rig file; a text that is not there any more is an error.
"""

import hashlib
import os
import tempfile
from functools import cache
from pathlib import Path
from typing import NamedTuple

from sim.cell import SimulatedCell
from sim.cell_file import CellFile, load_cell
from sim.draw import draw_cell
from sim.stated import StatedValues
from sim.vessel import CellTruth
from titrator.bench.rig import Rig, load_rig
from titrator.method import Method, load_method
from titrator.run.rehearsal import stated_values

CONFIGS = Path(__file__).parents[1] / "configs"
OWN = Path(__file__).with_name("rules_cells")
RIG = CONFIGS / "rigs" / "simulated.yaml"

Swap = tuple[str, str]


class Case(NamedTuple):
    """A cell of the study: its name in the table, and where method and cell of the file name `stem` lie.

    `allowed`: what the median duration over the floor should not exceed. `in_method`, `in_cell`, `in_rig`: what is
    replaced in the files. `faults`: as of a dry run. `outliers`: one reading in so many is off by 5 mV. `finest_mL`: the
    least addition of the rule foreseeing close about the jump, `foreseen` further keys of it. `floor`: whether the cell has one.
    """

    name: str
    stem: str
    folder: Path = CONFIGS
    allowed: float = 1.25
    in_method: tuple[Swap, ...] = ()
    in_cell: tuple[Swap, ...] = ()
    in_rig: tuple[Swap, ...] = ()
    faults: tuple[str, ...] = ()
    outliers: int = 0
    finest_mL: float = 0.004
    foreseen: tuple[str, ...] = ()
    floor: bool = True

    def texts(self, rule: str) -> tuple[str, str, str]:
        """Method with the rule of that name, cell and rig, with what is replaced."""
        method = self.folder / "methods" / f"{self.stem}.yaml"
        cell = self.folder / "cells" / f"{self.stem}.yaml"
        asked = (
            "rule: adaptive"
            if rule == "adaptive"
            else "\n  ".join((f"rule: {rule}", f"finest: {self.finest_mL:g} mL", *self.foreseen))
        )
        to_rule = (("rule: adaptive", asked), ("rehearsal: {", "# rehearsal: {"), *self.in_method)
        return self._changed(method, to_rule), self._changed(cell, self.in_cell), self._changed(RIG, self.in_rig)

    def _changed(self, path: Path, swaps: tuple[Swap, ...]) -> str:
        text = path.read_text(encoding="utf-8")
        for old, new in swaps:
            if old not in text:
                raise SystemExit(f"{self.name}: expected the text {old!r} in {path}, which has changed: mend the case")
            text = text.replace(old, new)
        return text


TIN_CONSUMER = """  inhibitor:
    electrons: {from: 0 mol/L, to: 0.0005 mol/L}
    potential: {centre: 0.6 V, within: 50 mV}
"""
IRON_CONSUMER = """  inhibitor:
    electrons: {from: 0 mol/L, to: 0.0006 mol/L}
    potential: {centre: 1 V, within: 50 mV}
"""
CASES = (
    Case("iron(II) with cerium(IV)", "iron_in_pickling_bath"),
    Case("the same at 0.002 mol/L", "iron_dilute", OWN, foreseen=("patience: 0.5", "far: 0.4 mV")),
    Case(
        "tin(II) with cerium(IV), 1:2",
        "tin_plating_bath",
        in_method=(("[chloride, brightener]", "[chloride]"),),
        in_cell=((TIN_CONSUMER, ""),),
    ),
    Case(
        "iron(II) with permanganate",
        "iron_with_permanganate",
        in_method=((", pickling inhibitor]", "]"),),
        in_cell=((IRON_CONSUMER, ""),),
    ),
    Case("acetic acid with hydroxide", "acetic_acid", allowed=1.6, foreseen=("patience: 0.15", "far: 0.12 mV")),
    Case(
        "phosphoric acid, two points",
        "phosphoric_acid",
        allowed=1.6,
        foreseen=("patience: 0.15", "far: 0.2 mV"),
    ),
    Case("chloride with silver", "chloride_in_rinse_water", foreseen=("patience: 0.3", "far: 0.5 mV")),
    Case(
        "iodide and chloride with silver",
        "iodide_and_chloride",
        allowed=1.6,
        foreseen=("patience: 0.2", "far: 0.5 mV"),
    ),
    Case("tin bath, with brightener", "tin_plating_bath"),
    Case("pickling bath, with inhibitor", "iron_with_permanganate"),
)
"""The last two hold what uses up titrant between the couples and is in no model."""


class Files(NamedTuple):
    """What the files of a case say."""

    case: Case
    method: Method
    rig: Rig
    cell: CellFile
    cell_path: Path

    def drawn(self, seed: int) -> tuple[SimulatedCell, CellTruth]:
        """The cell of a seed, as a dry run draws it, and its truth."""
        return draw_cell(self.cell, StatedValues(**stated_values(self.method)), seed)

    @property
    def points(self) -> int:
        """How many equivalence points are sought."""
        return self.method.find.equivalence_points

    @property
    def noise_mV(self) -> float:
        """Standard deviation of one reading, all kinds of noise together."""
        return float(sum(kind.sd_mV**2 for kind in self.cell.noise) ** 0.5)


@cache
def files(case: Case, rule: str = "adaptive") -> Files:
    """The files of a case, its method with the rule of that name, read once in each process.

    FileProblem where the rule is none.
    """
    method, cell, rig = case.texts(rule)
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"{name}.yaml" for name in ("method", "cell", "rig")]
        for path, content in zip(paths, (method, cell, rig), strict=True):
            path.write_text(content, encoding="utf-8")
        return Files(case, load_method(paths[0]), load_rig(paths[2]), load_cell(paths[1]), _kept(cell))


def _kept(text: str) -> Path:
    """A file of this text in the folder for such, beside what other studies keep there: a run opens it by its path."""
    folder = Path(tempfile.gettempdir()) / f"titrator-rules-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    path = folder / f"{hashlib.sha256(text.encode()).hexdigest()[:16]}.yaml"
    if not path.exists():
        fresh = path.with_suffix(f".{os.getpid()}")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(path)
    return path
