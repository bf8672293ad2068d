"""Draw the pictures of these pages: python docs/chemistry/draw_curves.py."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import matplotlib as mpl
import numpy as np

mpl.use("Agg")
from matplotlib import pyplot as plt

from titrator.chemistry import curves
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, IRON_II, IRON_III, PHOSPHORIC
from titrator.chemistry.chelates import CALCIUM, ZINC
from titrator.chemistry.complexation import conditional_log_K, edta_system, metal_fraction, pM
from titrator.chemistry.couple_table import DICHROMATE, PERMANGANATE, TIN
from titrator.chemistry.couples import CERIUM, IRON
from titrator.chemistry.precipitation import CHLORIDE, IODIDE, silver_system
from titrator.chemistry.redox_cell import CellTitration, RedoxCell
from titrator.chemistry.titration import Titration

Floats = np.ndarray

HERE = Path(__file__).parent
STYLES = ("-", "--", "-.")
SODA = {"Na+": 0.1, "OH-": 0.1}
SILVER = {"Ag+": 0.1, "NO3-": 0.1}
VOLUMES_mL = np.linspace(0.05, 100.0, 1500)


def picture(name: str, axis: str, lines: Mapping[str, Sequence[float] | Floats]) -> None:
    """One picture: lines told apart by their style as well as their shade."""
    figure, axes = plt.subplots(figsize=(6.4, 3.6), dpi=100, layout="constrained")
    for (label, values), style, colour in zip(lines.items(), STYLES, ("#1b1b1b", "#0060a0", "#a04000"), strict=False):
        axes.plot(VOLUMES_mL, values, style, color=colour, label=label)
    axes.set_xlabel("volume of titrant / mL")
    axes.set_ylabel(axis)
    axes.legend(frameon=False, fontsize=8)
    figure.savefig(HERE / f"{name}.png", metadata={"Software": None})
    plt.close(figure)


def acids() -> None:
    """pH."""
    bath = {"H+": 0.002, "Cl-": 0.0059, "Fe+3": 0.0003, "Fe+2": 0.0015}
    davies = "davies"
    cases = {
        "5 mmol acetic acid": Titration(acid_base_system([ACETIC], activity=davies), {"CH3COOH": 0.005}, 50.0, SODA),
        "3 mmol phosphoric acid": Titration(
            acid_base_system([PHOSPHORIC], activity=davies), {"H3PO4": 0.003}, 50.0, SODA
        ),
        "bath: 2 mmol acid, 0.3 Fe(III), 1.5 Fe(II)": Titration(
            acid_base_system(metals=[IRON_III, IRON_II], activity=davies), bath, 50.0, SODA
        ),
    }  # fmt: skip
    picture("acid-base", "pH", {label: curves.p(case, VOLUMES_mL) for label, case in cases.items()})


def halides() -> None:
    """pAg."""
    system = silver_system([CHLORIDE, IODIDE], activity="davies")
    mixed = {"I-": 0.0025, "Cl-": 0.004, "Na+": 0.0065}
    cases = {
        "5 mmol chloride": Titration(system, {"Cl-": 0.005, "Na+": 0.005}, 50.0, SILVER),
        "2.5 mmol iodide, 4 mmol chloride": Titration(system, mixed, 50.0, SILVER),
    }  # fmt: skip
    picture("precipitation", "pAg", {label: curves.p(case, VOLUMES_mL) for label, case in cases.items()})


def chelates() -> None:
    """pM."""
    lines = {}
    for chelate, ammonia in ((CALCIUM, 0.0), (ZINC, 0.1)):
        system = edta_system({chelate.ion: conditional_log_K(chelate, 10.0, ammonia).value})
        case = Titration(system, {chelate.ion: 0.0005}, 50.0, {"EDTA": 0.01})
        free = metal_fraction(chelate, 10.0, ammonia)
        label = f"0.5 mmol {chelate.metal}, pH 10" + (f", {ammonia:g} mol/L NH3" if ammonia else "")
        lines[label] = [pM(case, float(v), chelate.ion, free) for v in VOLUMES_mL]
    picture("complexation", "pM", lines)


def couples() -> None:
    """E against SHE."""
    both = RedoxCell([(TIN, 0.139), (IRON, 0.70), (CERIUM, 1.28)])
    iron = {"iron(II)": 0.005}
    cases = {
        "2 mmol tin(II), 3 mmol iron(II), cerium(IV)": CellTitration(
            both, {"tin(II)": 0.002, "iron(II)": 0.003}, 50.0, {"cerium(IV)": 0.1}
        ),
        "5 mmol iron(II), permanganate, pH 0": CellTitration(
            RedoxCell([(IRON, 0.68), (PERMANGANATE, 1.51)]), iron, 50.0, {"permanganate": 0.02}
        ),
        "5 mmol iron(II), dichromate, pH 0": CellTitration(
            RedoxCell([(IRON, 0.68), (DICHROMATE, 1.33)]), iron, 50.0, {"dichromate": 1 / 60}
        ),
    }
    slope_mV = both.slope_mV * math.log(10.0)
    picture(
        "redox",
        "E / mV (SHE)",
        {label: slope_mV * curves.p(case.titration, VOLUMES_mL) for label, case in cases.items()},
    )


if __name__ == "__main__":
    acids()
    halides()
    chelates()
    couples()
