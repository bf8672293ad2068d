"""Curves computed by USGS PHREEQC, an independent code, as the shapes of cells that the evaluation does not model.

Remake:  python benchmarks/phreeqc_curves.py   (needs the Python package `phreeqc`, of the extra `dev`)
Activity coefficients are those of the code's extended Debye-Hueckel equation (ion size 4, b 0.06; computed by us: no
salt has quite these), where the evaluation takes Davies's; 25 °C, where the methods say 20; carbonate of 0.2 % in the
base. Written are volumes of 0.1 mol/L titrant into 50 mL, closing in on the equivalence point, and pH or pAg.
"""

import json
import re
import sys
from pathlib import Path

import numpy as np
from phreeqc import Phreeqc

ROOT = Path(__file__).parents[1]
DATABASE = ROOT / "tests" / "published" / "data" / "small_phreeqc.dat"
TABLE = Path(__file__).with_suffix(".json")
VOLUMES_mL = [10.3 + 0.6 * k for k in range(12)]
"""Equivalence volumes, a curve of each: what the two methods expect of their samples is 10 to 18 mL."""
TRACE = 2e-6
"""Share of the equivalence volume that stands for none: a film of the silver halide sets the potential beforehand."""
CONSTANTS = {"PKW": 13.997, "OXYGEN": -86.08, "HYDROGEN": -3.15, "FE": -13.03, "CE": -24.34, "MN": -127.6, "CR": -134.9}
CONSTANTS |= {"CAY": 10.65, "MGY": 8.79, "HYDROLYSIS": 0.0}
"""What the database leaves open; of these only the ionic product of water matters here."""
SHAPES = {
    "acid": ("pH 3 charge\nAcetate {mol_per_kg}", "pH 13 charge\nNa 0.1\nC(4) 0.0002", '-LA("H+")', ""),
    "silver": ("pH 1.7 charge\nN 0.016\nNa {mol_per_kg}\nCl {mol_per_kg}", "pH 7 charge\nAg 0.1\nN 0.1", '-LA("Ag+")', "AgCl(s) 0 0"),
}  # fmt: skip


def database() -> str:
    """The tests' small database with another law of activity coefficients for every ion."""
    text = DATABASE.read_text(encoding="utf-8")
    text = re.sub(r"@([A-Z]+)([-+][\d.]+)?@", lambda found: repr(CONSTANTS[found[1]] + float(found[2] or 0.0)), text)
    head, species, tail = re.split(r"^(?:SOLUTION_SPECIES|PHASES)$", text, flags=re.MULTILINE)
    lines = []
    for block in re.split(r"\n(?=\S)", species):
        own = "-gamma" in block or "log_k" not in block
        lines.append(block if own else f"{block.rstrip()}\n\t-gamma 4.0 0.06")
    joined = "\n".join(lines)
    return f"{head}SOLUTION_SPECIES{joined}\nPHASES{tail}"


def volumes_of(equivalence_mL: float) -> list[float]:
    """From 0 (a trace) to 8 mL beyond, closing in on the point from each side down to 0.1 µL, 20 a decade."""
    near = 10.0 ** np.linspace(-4.0, np.log10(equivalence_mL), 100)
    before = equivalence_mL - near[near < 0.85 * equivalence_mL]
    behind = equivalence_mL + near[near <= 14.0]
    begin = equivalence_mL * 10.0 ** np.linspace(np.log10(TRACE), np.log10(0.15), 40)
    return sorted({*begin.tolist(), *before.tolist(), equivalence_mL, *behind.tolist()})


def curve(shape: str, equivalence_mL: float) -> list[list[float]]:
    """[volume in mL, pH or pAg] of one titration."""
    vessel, titrant, punch, solids = SHAPES[shape]
    code = Phreeqc()
    if code.LoadDatabaseString(database()):
        raise SystemExit(code.GetErrorString())
    code.SetSelectedOutputStringOn(True)

    def run(text: str) -> None:
        if code.RunString(text):
            raise SystemExit(code.GetErrorString())

    # The base's carbonate takes one proton of two at the point of a weak acid: half a mole of it is idle.
    effective = 0.1 - (0.0002 if shape == "acid" else 0.0)
    mol_per_kg = equivalence_mL * effective / 50.0
    run(
        f"SOLUTION 1\n-water 0.05\n-units mol/kgw\ntemp 25\n{vessel.format(mol_per_kg=repr(mol_per_kg))}\n"
        f"SOLUTION 2\n-water 1\n-units mol/kgw\ntemp 25\n{titrant}\nSELECTED_OUTPUT\n-reset false\n"
        f"-high_precision true\nUSER_PUNCH\n-headings a\n-start\n10 PUNCH {punch}\n-end\nEND\n"
    )
    volumes = volumes_of(equivalence_mL)
    phases = f"EQUILIBRIUM_PHASES 1\n{solids}\n" if solids else ""
    run("".join(f"MIX 1\n1 1.0\n2 {volume / 1000!r}\n{phases}END\n" for volume in volumes))
    found = [code.GetSelectedOutputValue(row, 0) for row in range(1, code.GetSelectedOutputRowCount())]
    if len(found) != len(volumes):
        raise SystemExit(f"{len(volumes)} mixtures were asked for, {len(found)} came")
    return [[round(volume, 10), round(p, 6)] for volume, p in zip(volumes, found, strict=True)]


def main() -> None:
    """Write the table."""
    told = {shape: {f"{volume:.1f}": curve(shape, volume) for volume in VOLUMES_mL} for shape in SHAPES}
    text = json.dumps(told, separators=(",", ":")).replace("]],", "]],\n")
    TABLE.write_text(text + "\n", encoding="utf-8")
    print(
        f"{TABLE.name}: {sum(len(each) for shape in told.values() for each in shape.values())} points", file=sys.stderr
    )


if __name__ == "__main__":
    main()
