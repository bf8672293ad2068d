"""Draw the pictures of the pages of the chemistry from the engine: python docs/pictures.py.

Nothing is drawn by hand, and a second run changes nothing. Lines are told apart by style as well as colour.
"""

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import matplotlib as mpl
import numpy as np
from numpy.typing import NDArray

mpl.use("Agg")
from matplotlib import pyplot as plt

from titrator.chemistry import curves
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, AMMONIUM, CARBONIC, CITRIC, IRON_II, IRON_III, PHOSPHORIC, ZINC_II
from titrator.chemistry.chelates import CALCIUM, COPPER, MAGNESIUM, ZINC, Chelate
from titrator.chemistry.complexation import conditional_log_K, metal_fraction, metal_system
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.couple_table import (
    DEHYDROASCORBIC,
    DICHROMATE,
    PERMANGANATE,
    TETRATHIONATE,
    TIN,
    TRIIODIDE,
)
from titrator.chemistry.couples import CERIUM, IRON, Couple
from titrator.chemistry.precipitation import BROMIDE, CHLORIDE, IODIDE, SILVER_V, silver_system
from titrator.chemistry.redox_cell import AcidLevel, CellTitration, RedoxCell
from titrator.chemistry.titration import Titration

Floats = NDArray[np.float64]
Recipe = dict[str, float]

FOLDER = Path(__file__).parent / "chemistry" / "pictures"
S_mV = nernst_slope_per_decade_mV(25.0)
STYLES = (("#000000", "-"), ("#0072b2", "--"), ("#d55e00", "-."))  # of the palette of Okabe and Ito
SODA = {"Na+": 0.1, "OH-": 0.1}
ACID = {"H+": 0.1, "Cl-": 0.1}
SILVER = {"Ag+": 0.1, "NO3-": 0.1}


class Line(NamedTuple):
    """One curve: its label, what is shown after each volume in mL, and its equivalence points in mL."""

    label: str
    shown: Callable[[Floats], Floats]
    points_mL: Sequence[float]


def _volumes(lines: Sequence[Line], last_mL: float) -> Floats:
    """Even steps, and steps that close in on each equivalence point, so that jumps are drawn as steep as they are."""
    near = np.concatenate([sign * np.logspace(-4, 0.3, 60) for sign in (-1, 1)])
    parts = [np.linspace(0.02, last_mL, 500), *(point + near for line in lines for point in line.points_mL)]
    volumes = np.unique(np.concatenate(parts))
    return np.asarray(volumes[(volumes > 0.0) & (volumes <= last_mL)])


def picture(name: str, axis: str, lines: Sequence[Line], *, last_mL: float = 40.0, slope: str | None = None) -> None:
    """One picture; with `slope` (its axis) a second panel has the first derivative in steps of 0.1 mL."""
    mpl.rcParams.update({"svg.hashsalt": name, "svg.fonttype": "none", "font.size": 9})
    rows = 1 if slope is None else 2
    figure, axes = plt.subplots(
        rows, 1, figsize=(6.2, 3.2 if rows == 1 else 4.6), sharex=True, squeeze=False, layout="constrained",
        height_ratios=[1.0] if rows == 1 else [1.6, 1.0],
    )  # fmt: skip
    volumes = _volumes(lines, last_mL)
    for line, (colour, style) in zip(lines, STYLES, strict=False):
        axes[0, 0].plot(volumes, line.shown(volumes), style, color=colour, label=line.label, linewidth=1.4)
        if slope is not None:
            even = np.arange(0.1, last_mL, 0.1)
            values = np.abs(np.diff(line.shown(even))) / 0.1
            axes[1, 0].plot(even[:-1] + 0.05, values, style, color=colour, linewidth=1.2)
    for point in sorted({round(point, 6) for line in lines for point in line.points_mL}):
        for row in range(rows):
            axes[row, 0].axvline(point, color="#999999", linewidth=0.6, linestyle=":")
    axes[0, 0].set_ylabel(axis)
    if slope is not None:
        axes[1, 0].set_ylabel(slope)
    axes[-1, 0].set_xlabel("volume of titrant / mL")
    axes[-1, 0].set_xlim(0.0, last_mL)
    axes[0, 0].legend(frameon=False, fontsize=8)
    FOLDER.mkdir(exist_ok=True)
    figure.savefig(FOLDER / f"{name}.svg", metadata={"Date": None, "Creator": None})
    plt.close(figure)


# ------------------------------------------------------------------------------------------------------------- redox
def _redox(
    label: str, couples: Sequence[tuple[Couple, float]], vessel: Recipe, titrant: Recipe, points: Sequence[float], *,
    acid: float | AcidLevel = 0.0,
) -> Line:  # fmt: skip
    """50 mL at platinum, in mV against the hydrogen electrode."""
    case = CellTitration(RedoxCell(couples), vessel, 50.0, titrant, acid=acid)
    if isinstance(acid, AcidLevel):
        return Line(label, lambda v: np.array([case.potential_mV(float(each)) for each in v]), points)
    return Line(label, lambda v: S_mV * curves.p(case.titration, v), points)


POTENTIAL = "E / mV (SHE)"
PER_mL = "|ΔE/ΔV| / (mV/mL)"


def redox_pictures() -> None:
    """Iron by three oxidants, tin, iodine, ascorbic acid."""
    iron, trace = {"iron(II)": 0.002}, {"iron(II)": 0.001998, "iron(III)": 2e-6}
    cerium = {"cerium(IV)": 0.1}
    sulfuric = _redox("1 mol/L sulfuric acid", [(IRON, 0.68), (CERIUM, 1.44)], trace, cerium, [19.98])
    perchloric = _redox("1 mol/L perchloric acid", [(IRON, 0.767), (CERIUM, 1.70)], trace, cerium, [19.98])
    picture("iron_with_cerium", POTENTIAL, [sulfuric, perchloric], slope=PER_mL)

    def by_permanganate(label: str, acid: float | AcidLevel) -> Line:
        pair = [(IRON, 0.68), (PERMANGANATE, 1.51)]
        return _redox(label, pair, iron, {"permanganate": 0.02}, [20.0], acid=acid)

    counted = AcidLevel(vessel_mol=0.01, per_electron=8 / 5)
    lines = [by_permanganate("pH held at 0", 0.0), by_permanganate("pH held at 1", 1.0)]
    lines.append(by_permanganate("10 mmol of H+, counted", counted))
    picture("iron_with_permanganate", POTENTIAL, lines, slope=PER_mL)

    def by_dichromate(label: str, potential_V: float, acid: float) -> Line:
        pair = [(IRON, 0.70), (DICHROMATE, potential_V)]
        return _redox(label, pair, iron, {"dichromate": 1 / 60}, [20.0], acid=acid)

    lines = [by_dichromate("1.00 V, formal, as methods expect it", 1.00, 0.0)]
    lines += [by_dichromate(f"1.33 V, standard, pH {pH}", 1.33, float(pH)) for pH in (0, 1)]
    picture("iron_with_dichromate", POTENTIAL, lines, slope=PER_mL)
    tin = {"tin(II)": 0.001}
    both = [(TIN, 0.139), (IRON, 0.70), (CERIUM, 1.28)]
    alone = _redox("1 mmol tin(II)", [(TIN, 0.139), (CERIUM, 1.28)], tin, cerium, [20.0])
    mixed = _redox("0.6 mmol tin(II), 1 mmol iron(II)", both, {"tin(II)": 0.0006, "iron(II)": 0.001}, cerium, [12, 22])
    picture("tin_with_cerium", POTENTIAL, [alone, mixed], slope=PER_mL)
    pair = [(TRIIODIDE, 0.536), (TETRATHIONATE, 0.08)]
    lines = [
        _redox(
            f"1 mmol triiodide, {iodide:g} mol/L iodide", pair, {"triiodide": 0.001, "iodide": 0.05 * iodide},
            {"thiosulfate": 0.1}, [20.0],
        )
        for iodide in (0.05, 0.5)
    ]  # fmt: skip
    picture("iodine_with_thiosulfate", POTENTIAL, lines, slope=PER_mL)
    pair = [(DEHYDROASCORBIC, 0.390), (TRIIODIDE, 0.536)]
    iodine = {"triiodide": 0.05, "iodide": 0.2}
    lines = [
        _redox(f"1 mmol ascorbic acid, pH {pH}", pair, {"ascorbic acid": 0.001}, iodine, [20.0], acid=float(pH))
        for pH in (0, 1, 2)
    ]
    picture("ascorbic_acid_with_iodine", POTENTIAL, lines, slope=PER_mL)


# --------------------------------------------------------------------------------------------------------- acid-base
SYSTEM = acid_base_system(
    [ACETIC, PHOSPHORIC, CITRIC, CARBONIC, AMMONIUM], [IRON_III, IRON_II, ZINC_II], activity="davies"
)


def _pH(label: str, vessel: Recipe, titrant: Recipe, points: Sequence[float]) -> Line:
    case = Titration(SYSTEM, vessel, 50.0, titrant)
    return Line(label, lambda v: curves.p(case, v), points)


PH_PER_mL = "|ΔpH/ΔV| / (1/mL)"


def acid_base_pictures() -> None:
    """Strong, weak, polyprotic; carbonate in both roles; a pickling bath."""
    lines = []
    for mmol, share in ((2.0, 1.0), (0.02, 0.01), (0.0004, 0.0002)):
        acid, soda = {"H+": mmol / 1000, "Cl-": mmol / 1000}, {name: share * c for name, c in SODA.items()}
        lines.append(_pH(f"{20 * mmol:g} mmol/L acid, {1000 * share * 0.1:g} mmol/L base", acid, soda, [20.0]))
    picture("strong_acid", "pH", lines, slope=PH_PER_mL)
    acetic = _pH("2 mmol acetic acid with base", {"CH3COOH": 0.002}, SODA, [20.0])
    ammonia = _pH("2 mmol ammonia with acid", {"NH3": 0.002}, ACID, [20.0])
    picture("weak_acid", "pH", [acetic, ammonia], slope=PH_PER_mL)
    phosphoric = _pH("1.2 mmol phosphoric acid", {"H3PO4": 0.0012}, SODA, [12.0, 24.0])
    citric = _pH("0.6 mmol citric acid", {"H3Cit": 0.0006}, SODA, [18.0])
    picture("polyprotic_acids", "pH", [phosphoric, citric], slope=PH_PER_mL)
    old = {"Na+": 0.1, "OH-": 0.09, "CO3-2": 0.005}
    lines = [
        _pH("carbonate with acid", {"Na+": 0.002, "CO3-2": 0.001}, ACID, [10.0, 20.0]),
        _pH("acid with old base", {"H+": 0.002, "Cl-": 0.002}, old, [20.0]),
    ]
    picture("carbonate", "pH", lines, slope=PH_PER_mL)
    lines = [
        _pH("1.5 mmol acid alone", {"H+": 0.0015, "Cl-": 0.0015}, SODA, [15.0]),
        _pH("… beside 1.5 mmol iron(II)", {"H+": 0.0015, "Fe+2": 0.0015, "Cl-": 0.0045}, SODA, []),
        _pH("… and 0.1 mmol iron(III), 0.2 mmol zinc",
            {"H+": 0.0015, "Fe+2": 0.0015, "Fe+3": 0.0001, "Zn+2": 0.0002, "Cl-": 0.0052}, SODA, [18.0]),
    ]  # fmt: skip
    picture("free_acid", "pH", lines, slope=PH_PER_mL)


# ------------------------------------------------------------------------------------------------ silver, EDTA
def silver_pictures() -> None:
    """Each halide alone, and two mixtures."""
    system = silver_system([CHLORIDE, BROMIDE, IODIDE], activity="davies")

    def line(label: str, points: Sequence[float], **mmol: float) -> Line:
        vessel = {f"{ion}-": amount / 1000 for ion, amount in mmol.items()}
        case = Titration(system, vessel | {"Na+": math.fsum(vessel.values())}, 50.0, SILVER)
        return Line(label, lambda v: 1000 * SILVER_V.value - S_mV * curves.p(case, v), points)

    lines = [line("2 mmol chloride", [20.0], Cl=2.0), line("2 mmol bromide", [20.0], Br=2.0)]
    lines.append(line("2 mmol iodide", [20.0], I=2.0))
    picture("halides_with_silver", POTENTIAL, lines, slope=PER_mL)
    lines = [line("1 mmol iodide, 1.2 mmol chloride", [10.0, 22.0], I=1.0, Cl=1.2)]
    lines.append(line("1 mmol bromide, 1.2 mmol chloride", [10.0, 22.0], Br=1.0, Cl=1.2))
    picture("mixed_halides", POTENTIAL, lines, slope=PER_mL)


def edta_pictures() -> None:
    """pM of four metals in the buffers in which they are titrated."""

    def line(chelate: Chelate, pH: float, ammonia: float) -> Line:
        log_K = conditional_log_K(chelate, pH, ammonia).value
        case = Titration(metal_system(chelate.ion, log_K), {chelate.ion: 0.0002}, 50.0, {"EDTA": 0.01})
        free = math.log10(metal_fraction(chelate, pH, ammonia))
        label = f"{chelate.metal}, pH {pH:g}" + (f", {ammonia:g} mol/L NH3" if ammonia else "")
        return Line(label, lambda v: curves.p(case, v) - free, [20.0])

    lines = [line(CALCIUM, 10.0, 0.0), line(MAGNESIUM, 10.0, 0.0), line(CALCIUM, 7.0, 0.0)]
    picture("metals_with_edta", "pM", lines, slope="|ΔpM/ΔV| / (1/mL)")
    lines = [line(ZINC, 10.0, 0.1), line(ZINC, 5.0, 0.0), line(COPPER, 5.0, 0.0)]
    picture("zinc_and_copper_with_edta", "pM", lines, slope="|ΔpM/ΔV| / (1/mL)")


def main() -> None:
    """All of them."""
    redox_pictures()
    acid_base_pictures()
    silver_pictures()
    edta_pictures()


if __name__ == "__main__":
    main()
