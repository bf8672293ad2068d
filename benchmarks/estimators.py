"""The whole-curve fit against its bound and against derivatives: simulated curves of many cells, no frames, no waiting.

    python benchmarks/estimators.py > benchmarks/estimators.md      (one process)
    python benchmarks/estimators.py 200 weak                        (curves a cell, cells whose name holds the word)

A curve is computed by titrator.chemistry; constants, electrode and equivalence volumes are drawn for each, each volume
has a normal error about its target and each reading one of its potential. Streams: Random(f"estimators/{cell}/{seed}"),
from FIRST on, which was stated before they were drawn: none of them was looked at while the fit was developed.
"""

import math
import sys
from dataclasses import dataclass
from pathlib import Path
from random import Random

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "evaluate"))

from whole_cases import Case, Drawn, case

from titrator.chemistry.reactions import find_reaction
from titrator.evaluate import model_fit
from titrator.evaluate.derivative import first_derivative
from titrator.evaluate.model_fit import FitData
from titrator.evaluate.models import Start
from titrator.evaluate.second_derivative import Zero, zero_of_second_derivative
from titrator.evaluate.whole_fit import fit_whole, points

CURVES = 300
FIRST = 10_001
FINE_mL, REACH_mL = 0.02, 0.1


@dataclass(frozen=True)
class Cell:
    """A kind of curve: analytes and titrant, where its points lie, the errors, how it is added to."""

    name: str
    analytes: tuple[str, ...]
    titrant: str
    spans_mL: tuple[tuple[float, float], ...] = ((12.0, 18.0),)
    sd_mL: float = 0.001
    sd_mV: float = 0.25
    titrant_mol_per_L: float = 0.1
    beside_sd: float = 1.0
    fixed_mL: float = 0.0
    worse: float = 1.0  # times the stated error of the burette
    backlash_mL: float = 0.0
    lag_mV: float = 0.0


TWO = ((6.0, 8.0), (13.0, 16.0))
THREE = (*TWO, (20.0, 23.0))
CELLS = (
    Cell("iron(II) with cerium(IV), 1:1", ("iron(II)",), "cerium(IV)"),
    Cell("the same, additions of 0.1 mL", ("iron(II)",), "cerium(IV)", fixed_mL=0.1),
    Cell("the same, 1.25 mV and 3 µL", ("iron(II)",), "cerium(IV)", sd_mL=0.003, sd_mV=1.25),
    Cell("the same, potentials 20 mV beside the table", ("iron(II)",), "cerium(IV)", beside_sd=20.0 / 17.0),
    Cell("iron(II) with permanganate, 5:1, slow", ("iron(II)",), "permanganate"),
    Cell("tin(II) with cerium(IV), 1:2, slow", ("tin(II)",), "cerium(IV)"),
    Cell("tin(II) and iron(II) with cerium(IV)", ("tin(II)", "iron(II)"), "cerium(IV)", TWO),
    Cell("ascorbic acid with iodine", ("ascorbic acid",), "iodine"),
    Cell("hydrochloric acid, dilute (0.005 mol/L)", ("hydrochloric acid",), "hydroxide", titrant_mol_per_L=0.005),
    Cell("weak acid: acetic", ("acetic acid",), "hydroxide"),
    Cell("weak acid: citric", ("citric acid",), "hydroxide"),
    Cell("carbonate, two points", ("carbonate", "hydrogen carbonate"), "hydrochloric acid", ((5.0, 6.4), (13.0, 16.0))),
    Cell("chloride with silver, dilute (0.01 mol/L)", ("chloride",), "silver", titrant_mol_per_L=0.01),
    Cell("iodide and chloride with silver", ("iodide", "chloride"), "silver", TWO),
    Cell("iodide, bromide and chloride", ("iodide", "bromide", "chloride"), "silver", THREE),
    Cell("calcium with EDTA", ("calcium",), "EDTA"),
    Cell("zinc with EDTA, trace of copper", ("zinc",), "EDTA"),
    Cell("iron(II) with cerium(IV), burette twice as bad", ("iron(II)",), "cerium(IV)", worse=2.0),
    Cell(
        "the same, backlash 2 µL and lag 0.5 mV, not told", ("iron(II)",), "cerium(IV)", backlash_mL=0.002, lag_mV=0.5
    ),
)


def volumes_mL(cell, points_mL, random):
    """Volumes as a controller would choose them: 1 mL far off, 20 µL through each jump; or fixed steps."""
    last = points_mL[-1] + 3.0
    if cell.fixed_mL:
        return np.arange(cell.fixed_mL, last, cell.fixed_mL)
    rough = [np.arange(0.5, last, 1.0)]
    for point in points_mL:
        phase = FINE_mL * random.random()
        fine = point - REACH_mL + phase + FINE_mL * np.arange(round(2.0 * REACH_mL / FINE_mL))
        rough += [fine, [fine[0] - 0.3, fine[0] - 0.1, fine[-1] + 0.1, fine[-1] + 0.3]]
    return np.unique(np.round(np.concatenate(rough), 4))


def curve(cell, seed):
    """(case, volumes as indicated, data of the rising signal) of one seed."""
    random = Random(f"estimators/{cell.name}/{seed}")
    points_mL = tuple(random.uniform(*span) for span in cell.spans_mL)
    drawn = Drawn(random, random.uniform(0.95, 1.0), cell.beside_sd)
    if "20 mV" in cell.name:
        drawn = Beside(random, drawn.slope_share)
    reaction = find_reaction(cell.analytes, cell.titrant)
    made = case(reaction, points_mL, drawn=drawn, titrant=cell.titrant_mol_per_L)
    volume = volumes_mL(cell, points_mL, random)
    wrong_mL = [random.gauss(0.0, cell.worse * cell.sd_mL) - cell.backlash_mL * random.random() for _ in volume]
    delivered = np.maximum(volume + wrong_mL, 1e-6)
    signal = made.signal(delivered)
    rise = np.diff(signal, prepend=signal[0])
    signal = signal - cell.lag_mV * np.clip(rise / 50.0, -1.0, 1.0) + [random.gauss(0.0, cell.sd_mV) for _ in volume]
    size = len(volume)
    data = FitData(
        volume, made.known.sign * signal, np.full(size, cell.sd_mL), np.full(size, cell.sd_mV), np.zeros(size)
    )
    return made, data, made.known.sign * made.signal(volume)


class Beside(Drawn):
    """Constants exactly 20 mV beside the table, up or down."""

    def shift(self, sd: float) -> float:
        del sd
        assert self.random is not None
        return math.copysign(20.0, self.random.random() - 0.5)


def bound_mL(made: Case, start: Start, data: FitData, exact: np.ndarray) -> np.ndarray:
    """Cramér-Rao bound of each point: the same readings, errors and priors, no error of the model (mL)."""
    truth = made.truth
    at = FitData(data.volume_mL, exact, data.sd_volume_mL, data.sd_signal, data.remainder_bound)
    chord = model_fit._chord(start.model, truth, at)
    sd = np.hypot(data.sd_volume_mL, chord * data.sd_signal)
    jacobian = model_fit._jacobian(start, truth, at) / sd[:, None]
    prior = np.where(np.isfinite(start.prior_sd), start.prior_sd**-2.0, 0.0)
    information = jacobian.T @ jacobian + np.diag(prior)
    unit = 1.0 / np.sqrt(np.diag(information))
    inverse = np.linalg.inv(information * np.outer(unit, unit)) * np.outer(unit, unit)
    return np.sqrt(np.diag(inverse)[: len(made.points_mL)])


def derivatives(made: Case, data: FitData, point: int):
    """(middle of the steepest secant, zero of the second derivative or nan) near a point."""
    truth = made.points_mL[point]
    near = np.abs(data.volume_mL - truth) < 1.0
    derivative = first_derivative(data.volume_mL[near], data.signal[near], data.sd_signal[near])
    k = int(np.argmax(derivative.slope))
    middle = float(derivative.volume_mL[k])
    zero = zero_of_second_derivative(derivative, k, data.sd_signal[near], float(data.sd_volume_mL[0]))
    return middle, zero.volume_mL if isinstance(zero, Zero) else math.nan


def study(cell, curves):
    """One row for each point of the cell."""
    rows = [[] for _ in cell.spans_mL]
    failed = []
    for seed in range(FIRST, FIRST + curves):
        made, data, exact = curve(cell, seed)
        plain = [derivatives(made, data, k) for k in range(len(rows))]
        found = fit_whole(made.known, data, [each[0] for each in plain])
        if isinstance(found, str):
            failed.append((seed, found))
            continue
        fitted, start = found
        told = points(fitted, len(rows))
        bound = bound_mL(made, start, data, exact)
        for k, row in enumerate(rows):
            truth = made.points_mL[k]
            one = told.each[k]
            error = one.equivalence_volume_mL - truth
            half = one.half_interval_mL
            others = (plain[k][0] - truth, plain[k][1] - truth)
            row.append((error, abs(error) <= half, 2.0 * half, bound[k], *others, len(data.volume_mL)))
    return [np.array(row, dtype=np.float64) for row in rows], failed


def rms(values):
    """Root mean square of the finite values."""
    return float(np.sqrt(np.mean(values[np.isfinite(values)] ** 2)))


HEAD = """# The whole-curve fit against its bound and against derivatives (simulated)

Made by `python benchmarks/estimators.py {curves}`: {curves} curves a cell, seeds from {first} on, none looked at before. Curves by
`titrator.chemistry` with drawn constants, 1 µL and 0.25 mV (standard deviations) unless the cell says otherwise, additions
of 1 mL far off and of 20 µL through the jumps. All points of a curve come from one fit. The bound is Cramér and Rao's, of
the same readings, errors and priors; the model's own error, which the fit allows for, is not in it. `rms/bound` is taken
curve by curve. `held`: how many 95 % intervals hold the truth. `secant` and `zero`: middle of the steepest secant, zero
of the second derivative.

| cell | point | readings | rms µL | bound µL | rms/bound | worst µL | held % | width µL | secant µL | zero µL | no fit |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"""


def line(cell: Cell, point: int, row: np.ndarray, failed: int) -> str:
    """A line of the table."""
    error, held, width, bound, secant, zero, readings = row.T
    figures = [
        f"{np.median(readings):.0f}",
        f"{1e3 * rms(error):.3g}",
        f"{1e3 * rms(bound):.3g}",
        f"{rms(error / bound):.2f}",
        f"{1e3 * np.max(np.abs(error)):.3g}",
        f"{100.0 * np.mean(held):.1f}",
        f"{1e3 * np.median(width):.3g}",
        f"{1e3 * rms(secant):.3g}",
        f"{1e3 * rms(zero):.3g}",
        f"{failed}",
    ]
    return f"| {cell.name} | {point} | {' | '.join(figures)} |"


def main():
    """Print the table."""
    curves = int(sys.argv[1]) if len(sys.argv) > 1 else CURVES
    word = sys.argv[2] if len(sys.argv) > 2 else ""
    print(HEAD.format(curves=curves, first=FIRST))
    for cell in CELLS:
        if word not in cell.name:
            continue
        rows, failed = study(cell, curves)
        for k, row in enumerate(rows, start=1):
            print(line(cell, k, row, len(failed)), flush=True)
        for seed, why in failed[:3]:
            print(f"{cell.name}, seed {seed}: {why}", file=sys.stderr)


if __name__ == "__main__":
    main()
