"""Speed of the chemistry against USGS PHREEQC on the same curves in the same run, and its floor on this processor.

    python benchmarks/equilibria.py > benchmarks/equilibria.md      (some 20 s, one core)

Needs the development dependencies (phreeqc). PHREEQC reads its mixtures as text, solves for every element with all its
own checks and keeps the whole solution; so the ratio compares the cost of a curve, not the quality of two solvers.
"""

import gc
import platform
import sys
from pathlib import Path
from time import perf_counter

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from tests.published.conftest import NERNST_V, Oracle
from titrator.chemistry import curves
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, PHOSPHORIC
from titrator.chemistry.couples import CERIUM, IRON
from titrator.chemistry.curve_table import CurveTable
from titrator.chemistry.precipitation import CHLORIDE, IODIDE, silver_system
from titrator.chemistry.redox_cell import CellTitration, RedoxCell
from titrator.chemistry.titration import Titration

SODA = {"Na+": 0.1, "OH-": 0.1}
ROUNDS = 3
POINTS = 20_000
FIRST_mL, LAST_mL = 0.05, 100.0


def cases():
    """(name, titration here, vessel there, titrant there, what to ask, solids, constants, end of the curve in mL)."""
    soda = "pH 13 charge\nNa 0.1"
    for activity in ("none", "davies"):
        here = "ideal" if activity == "none" else "Davies"
        yield (
            f"acetic acid with NaOH, {here}",
            Titration(acid_base_system([ACETIC], activity=activity), {"CH3COOH": 0.005}, 50.0, SODA),
            ("pH 3 charge\nAcetate 0.1", soda, '-LA("H+")', "", {}, activity == "none"),
        )
        yield (
            f"phosphoric acid with NaOH, {here}",
            Titration(acid_base_system([PHOSPHORIC], activity=activity), {"H3PO4": 0.0025}, 50.0, SODA),
            ("pH 2 charge\nP 0.05", soda, '-LA("H+")', "", {}, activity == "none"),
        )
    yield (
        "chloride and iodide with silver, ideal",
        Titration(
            silver_system([CHLORIDE, IODIDE]),
            {"Cl-": 0.004, "I-": 0.0025, "Na+": 0.0065},
            50.0,
            {"Ag+": 0.1, "NO3-": 0.1},
        ),
        (
            "pH 7 charge\nNa 0.13\nCl 0.08\nIod 0.05",
            "pH 7 charge\nAg 0.1\nN 0.1",
            '-LA("Ag+")',
            "AgCl(s) 0 0\nAgI(s) 0 0",
            {},
            True,
        ),
    )
    cell = RedoxCell([(IRON, 0.68), (CERIUM, 1.44)])
    away = {"OXYGEN": -300.0, "HYDROGEN": -300.0, "HYDROLYSIS": -30.0, "FE": -0.68 / NERNST_V, "CE": -1.44 / NERNST_V}
    yield (
        "iron(II) with cerium(IV), formal",
        CellTitration(cell, {"iron(II)": 0.005}, 50.0, {"cerium(IV)": 0.1}).titration,
        (
            "pH 0\npe 9\nCl 1.2 charge\nFe(+2) 0.1\nFe(+3) 1e-9",
            "pH 0\npe 26\nCl 1.5 charge\nCe(+4) 0.1\nCe(+3) 1e-12",
            '-LA("e-")',
            "",
            away,
            True,
        ),
    )


def seconds(work):
    """Least time of some rounds, the collector of garbage off."""
    times = []
    gc.disable()
    for _ in range(ROUNDS):
        begin = perf_counter()
        work()
        times.append(perf_counter() - begin)
    gc.enable()
    return min(times)


def warm(titration, volumes_mL):
    """The curve point by point, each starting from its neighbour, as a simulated cell does."""
    near = None
    for volume_mL in volumes_mL:
        near = titration.equilibrium(volume_mL, near)


def measure(titration, there):
    """µs a point: PHREEQC, numpy p(V) state by state, V(p), curve table with its making, scalar; largest table error."""
    vessel, titrant, asked, solids, constants, formal = there
    oracle = Oracle(formal=formal, **constants)
    oracle.solutions(vessel, titrant, asked, 50.0)
    volumes_mL = np.linspace(FIRST_mL, LAST_mL, POINTS)
    other = seconds(lambda: oracle.mixtures(volumes_mL.tolist(), solids))
    states = seconds(lambda: curves.p(titration, volumes_mL))
    p_values = curves.p(titration, volumes_mL)
    explicit = seconds(lambda: curves.volume_mL(titration, p_values))
    table = seconds(lambda: CurveTable(titration, LAST_mL, FIRST_mL).p(volumes_mL))
    scalar = seconds(lambda: warm(titration, volumes_mL[::10].tolist())) * 10
    error = float(np.max(np.abs(CurveTable(titration, LAST_mL, FIRST_mL).p(volumes_mL) - p_values)))
    return [1e6 * t / POINTS for t in (other, states, explicit, table, scalar)], error


def floor_ns():
    """What one evaluation of the balance cannot go below: ns of one exp and of one multiplication, in cache."""
    block = np.linspace(-30.0, 0.0, 4096)
    out = np.empty_like(block)

    def exps():
        for _ in range(200):
            np.exp(block, out=out)

    def products():
        for _ in range(200):
            np.multiply(block, block, out=out)

    return tuple(1e9 * seconds(work) / (200 * 4096) for work in (exps, products))


def verdict(rows):
    """What the table says, in a sentence: the least of each column; rows are (name, PHREEQC, p(V), curve table)."""
    least = min(rows, key=lambda row: row[1] / row[3])
    slowest = min(rows, key=lambda row: row[1] / row[2])
    return (
        f"\nA whole curve of {POINTS} volumes (curve table, its making included) is at least {least[1] / least[3]:.0f} times as fast as\n"
        f"PHREEQC ({least[0]}), at no less than {1e6 / max(row[3] for row in rows):.1e} points/s. State by state, without a\n"
        f"neighbour's help, it is {slowest[1] / slowest[2]:.0f} times as fast at worst ({slowest[0]}) and\n"
        f"{min(1e6 / row[2] for row in rows):.1e} to {max(1e6 / row[2] for row in rows):.1e} states/s: 200 times is met by curves, not by single states, and why is\n"
        "told by the floor below. PHREEQC's time holds reading its input as text, its checks and handing over the answers."
    )


def main():
    """Print the tables."""
    print("# Speed of the equilibria\n")
    print(
        "Remade by `python benchmarks/equilibria.py > benchmarks/equilibria.md`. Least time of three rounds, one core,"
    )
    print(
        f"numpy {np.__version__}, Python {platform.python_version()}. PHREEQC computes the same {POINTS} volumes of the same curve in"
    )
    print("the same run, with a database of these constants only, the whole curve in one input. Times in µs a point.\n")
    print(
        "| curve | PHREEQC | each state on its own, p(V) | explicit, V(p) | curve table | its error in p | scalar, warm |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    results = [(name, *measure(titration, there)) for name, titration, there in cases()]
    for name, (other, states, explicit, table, scalar), error in results:
        print(f"| {name} | {other:.0f} | {states:.2f} | {explicit:.2f} | {table:.3f} | {error:.0e} | {scalar:.1f} |")
    print("\nHow many times faster than PHREEQC, and points a second:\n")
    print("| curve | p(V) | V(p) | curve table | states/s, p(V) | points/s, curve table |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name, (other, states, explicit, table, _), _ in results:
        ratios = " | ".join(f"{other / ours:.0f}" for ours in (states, explicit, table))
        print(f"| {name} | {ratios} | {1e6 / states:.1e} | {1e6 / table:.1e} |")
    print(verdict([(name, other, states, table) for name, (other, states, _, table, _), _ in results]))
    print(
        "\n*Each state on its own*: any set of states, no neighbour helps (`curves.p`). *Explicit*: the same curve asked the"
    )
    print(
        "other way round. *Curve table*: exact nodes, made within the time, and cubics between them. The scalar engine starts"
    )
    print("each point from the last, as a simulated cell does; it serves single states, not curves.\n")
    exp_ns, product_ns = floor_ns()
    low, high = (5.5 * (e * exp_ns + p * product_ns) / 1000 for e, p in ((3, 45), (6, 90)))
    print(
        f"Floor of p(V) state by state on this processor: {exp_ns:.1f} ns for one exp and {product_ns:.2f} ns for one pass over a"
    )
    print(
        "block in cache. A weak acid takes 3 exp and some 45 passes an evaluation with its Newton step, phosphoric acid 6"
    )
    print(
        f"and 90, and 5 or 6 evaluations lead from a cold start to the last digit: {low:.2f} and {high:.2f} µs. With a self-consistent"
    )
    print("ionic strength all of that is done four or five times.")


if __name__ == "__main__":
    main()
