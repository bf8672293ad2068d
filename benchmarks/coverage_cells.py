"""The cells of the coverage study: every method of configs/methods with its own cell, and variations of some.

A variation is made by replacing text in a method, cell or rig file; a text that is not there any more is an error.
"""

from pathlib import Path
from typing import Any, NamedTuple

CONFIGS = Path(__file__).parents[1] / "configs"
RIG = CONFIGS / "rigs" / "simulated.yaml"
BLANKS = ("blank_of_the_iron_method",)
"""Without an equivalence point."""

Swap = tuple[str, str]


class Case(NamedTuple):
    """A method with what is changed in its files, and the faults of its world. `modelled`: the evaluator knows it all.

    `like` is the modelled case with the same noise, whose width the interval is compared with. `shape`: of a curve of
    `tabled_cell` in the cell's place. `counted_mL`: what the burette counts and does not deliver before its first push
    moves liquid; it is part of what the burette indicates at the equivalence point. `lags_mV`: see `lagging_cell`. `part`: how many of
    the runs asked for are made, one of so many; those that are stated beside the others have fewer.
    """

    name: str
    method: str
    in_method: tuple[Swap, ...] = ()
    in_cell: tuple[Swap, ...] = ()
    in_rig: tuple[Swap, ...] = ()
    faults: tuple[str, ...] = ()
    modelled: bool = True
    like: str = ""
    shape: str = ""
    counted_mL: float = 0.0
    lags_mV: float = 0.0
    part: int = 1

    def written(self, folder: Path) -> tuple[Path, Path, Path]:
        """Write method, cell and rig into `folder` where they are changed; the paths of the three."""
        method = CONFIGS / "methods" / f"{self.method}.yaml"
        cell = CONFIGS / "cells" / f"{self.method}.yaml"
        swaps = (("methods", method, self.in_method), ("cells", cell, self.in_cell), ("rigs", RIG, self.in_rig))
        paths = [self._changed(folder / room, path, pairs) for room, path, pairs in swaps]
        return paths[0], paths[1], paths[2]

    def _changed(self, folder: Path, path: Path, swaps: tuple[Swap, ...]) -> Path:
        if not swaps:
            return path
        text = path.read_text(encoding="utf-8")
        for old, new in swaps:
            if old not in text:
                raise SystemExit(
                    f"{path}: expected the text {old!r}, which {self.name} replaces: mend coverage_cells.py"
                )
            text = text.replace(old, new)
        text = text.replace("../cells/", f"{CONFIGS}/cells/").replace("../rigs/", f"{CONFIGS}/rigs/")
        folder.mkdir(parents=True, exist_ok=True)
        changed = folder / f"{self.name.replace(' ', '_').replace(',', '')}.yaml"
        changed.write_text(text, encoding="utf-8")
        return changed


STEP_mL = 0.000625
FEWER = 30
FULL = ("iron_in_pickling_bath", "chloride_in_rinse_water", "calcium_hardness", "tin_and_iron")
"""Methods whose own cells are run in full; with the variations they are eight."""
SLUGGISH = (("response: 3 s", "response: 6 s"), ("slowing: 9 s", "slowing: 18 s"))
SLUGGISH_SILVER = (("response: 2 s", "response: 4 s"), ("slowing: 10 s", "slowing: 20 s"))


def _unmodelled(method: str, like: str, part: int) -> list[Case]:
    """What a rig or an electrode does in secret, from the start on; backlash and lag in one of `part` runs."""
    told: dict[str, Any] = {"modelled": False, "like": like}
    first: dict[str, Any] = {**told, "part": part}
    return [
        # Lost once, at the first push, in whole steps.
        Case(f"{method}, backlash left 2 µL", method, faults=("backlash=2 µL@0 s",), counted_mL=3 * STEP_mL, **first),
        # Every reading is logged 0 to 1 mV before its end, and nothing in its drift tells.
        Case(f"{method}, lag left 0.5 mV", method, lags_mV=0.5, **first),
        # Of every addition, large ones before the jump too, 2 % lingers at the tip for a minute.
        Case(f"{method}, 2 % lingers at the tip", method, faults=("tip-outside-stream=2 %@0 s",), part=FEWER, **told),
        # Of every change, the whole jump too, so much comes through a coating twenty times later.
        Case(f"{method}, electrode coated 2 %", method, faults=("electrode-coated=2 %@0 s",), part=FEWER, **told),
        Case(f"{method}, electrode coated 20 %", method, faults=("electrode-coated=20 %@0 s",), part=FEWER, **told),
    ]


SHAPES = [
    Case("weak acid of PHREEQC", "acetic_acid", in_cell=SLUGGISH, shape="acid", modelled=False, like="acetic_acid"),
    Case(
        "chloride of PHREEQC", "chloride_in_rinse_water", in_cell=SLUGGISH_SILVER, shape="silver", modelled=False,
        like="chloride_in_rinse_water",
    ),
]  # fmt: skip
"""Curves that another code made, with an electrode half as fast as the method says."""


IRON = "iron_in_pickling_bath"
CHLORIDE = "chloride_in_rinse_water"
VARIED = [
    Case(
        "iron, potentials 20 mV beside",
        IRON,
        in_cell=(
            ("centre: 0.68 V, within: 30 mV", "centre: 0.70 V, within: 0 mV"),
            ("centre: 1.44 V, within: 30 mV", "centre: 1.42 V, within: 0 mV"),
        ),
    ),
    Case(
        "iron, noise 1 mV",
        IRON,
        in_method=(("noise: 0.25 mV", "noise: 1 mV"), ("aim: 25 mV", "aim: 30 mV")),
        in_cell=(("sd: 0.25 mV", "sd: 1 mV"),),
    ),
    Case(
        "iron, ten times more dilute",
        IRON,
        in_method=(
            ("{value: 0.1000 mol/L, u: 0.0002 mol/L}", "{value: 0.01000 mol/L, u: 0.00002 mol/L}"),
            ("dilution: {value: 10, u: 0.005}", "dilution: {value: 100, u: 0.05}"),
            (
                "name: cerium(IV) sulfate, concentration: 0.1 mol/L",
                "name: cerium(IV) sulfate, concentration: 0.01 mol/L",
            ),
        ),
    ),
    Case(
        "iron, burette known to 1 %",
        IRON,
        in_rig=(("half_width: 0.2 %", "half_width: 1 %"),),
    ),
]
OWN = [
    Case(path.stem, path.stem, part=1 if path.stem in FULL else FEWER)
    for path in sorted((CONFIGS / "methods").glob("*.yaml"))
    if path.stem not in BLANKS
]
CASES = [*OWN, *VARIED, *_unmodelled(IRON, IRON, 1), *_unmodelled(CHLORIDE, CHLORIDE, FEWER), *SHAPES]
