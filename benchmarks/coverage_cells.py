"""The cells of the coverage study: every method of configs/methods with its own cell, and variations of some.

A variation is made by replacing text in a method, cell or rig file; a text that is not there any more is an error.
"""

from pathlib import Path
from typing import NamedTuple

CONFIGS = Path(__file__).parents[1] / "configs"
RIG = CONFIGS / "rigs" / "simulated.yaml"
BLANKS = ("blank_of_the_iron_method",)
"""Without an equivalence point."""

Swap = tuple[str, str]


class Case(NamedTuple):
    """A method with what is changed in its files, and the faults of its world. `modelled`: the evaluator knows it all.

    `like` is the modelled case with the same noise, whose width the interval is compared with.
    """

    name: str
    method: str
    in_method: tuple[Swap, ...] = ()
    in_cell: tuple[Swap, ...] = ()
    in_rig: tuple[Swap, ...] = ()
    faults: tuple[str, ...] = ()
    modelled: bool = True
    like: str = ""

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


def _unmodelled(method: str, like: str) -> list[Case]:
    """What a rig or an electrode does in secret, from the start on."""
    return [
        # Lost once, at the first push: three steps of 0.625 µL.
        Case(f"{method}, backlash left 2 µL", method, faults=("backlash=2 µL@0 s",), modelled=False, like=like),
        # Of an aimed step of 25 mV 2 % lingers at the tip for minutes: 0.5 mV.
        Case(f"{method}, lag left 0.5 mV", method, faults=("tip-outside-stream=2 %@0 s",), modelled=False, like=like),
        Case(f"{method}, electrode coated", method, faults=("electrode-coated=20 %@0 s",), modelled=False, like=like),
    ]


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
OWN = [Case(path.stem, path.stem) for path in sorted((CONFIGS / "methods").glob("*.yaml")) if path.stem not in BLANKS]
CASES = [*OWN, *VARIED, *_unmodelled(IRON, IRON), *_unmodelled(CHLORIDE, CHLORIDE)]
