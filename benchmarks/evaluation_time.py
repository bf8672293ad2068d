"""How long the evaluation of a curve of 200 points takes, as a multiple of one plain fit of the same model to it.

Remake the table:  python benchmarks/evaluation_time.py > benchmarks/evaluation_time.md   (a minute on one core)
The plain fit is one call of scipy.optimize.least_squares (trf, bounds, default tolerances): the same model, parameters,
priors, weights, start and limit of the robust loss (Huber's) as the evaluation's own fit of the whole curve; without
the robust loss it takes less, which is told beside. Evaluation and fits take turns in one run.
"""

import statistics
import time
from pathlib import Path
from random import Random

import numpy as np
from scipy.optimize import brentq, least_squares

from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.model_fit import HUBER_LIMIT, FitData, standard_deviation_mL
from titrator.evaluate.whole_fit import whole_start
from titrator.method import load_method
from titrator.run.expectations import expectation_of

METHODS = Path(__file__).parents[1] / "configs" / "methods"
CASES = {
    "iron(II) with cerium(IV)": ("iron_in_pickling_bath", (12.03,)),
    "acetic acid": ("acetic_acid", (11.87,)),
    "phosphoric acid, two points": ("phosphoric_acid", (9.41, 18.77)),
    "chloride with silver": ("chloride_in_rinse_water", (10.33,)),
    "calcium with EDTA": ("calcium_hardness", (10.21,)),
}
POINTS, TURNS, NOISE_mV, BURETTE_mL = 200, 15, 0.2, 0.002
BURETTE = {"random_error_mL": BURETTE_mL, "calibration_half_width": 0.002}


def curve_of(expectation: Expectation, points_mL: tuple[float, ...]) -> tuple[Curve, FitData, object]:
    """A curve of the method's own model with its constants as in the tables, and the fit's data and start.

    Half of the readings stand where the signal changes most, as additions do that follow the curve.
    """
    known = expectation.known
    assert known is not None
    end_mL = 1.25 * points_mL[-1]
    start = whole_start(known, np.array([0.05, end_mL]), np.array([-900.0, 1500.0]), points_mL)
    x = np.where(np.isfinite(start.prior_sd), start.prior_mean, start.x)
    x[: known.points] = points_mL
    grid = np.linspace(-2500.0, 2500.0, 5001)
    volume_of = start.model.volume_mL(grid, x)
    random = Random("evaluation time")
    signal_at = lambda volume: _inverse(start.model, x, grid, volume_of, volume)  # noqa: E731
    even = np.linspace(0.1, end_mL, POINTS // 2)
    signal_even = np.array([signal_at(v) for v in even])
    ends = np.linspace(signal_even[0], signal_even[-1], POINTS - POINTS // 2 + 2)[1:-1]
    steep = start.model.volume_mL(ends, x)
    volume = np.unique(np.concatenate([even, steep]))
    read = np.array([signal_at(v + random.gauss(0.0, BURETTE_mL)) + random.gauss(0.0, NOISE_mV) for v in volume])
    sd = np.full(len(volume), NOISE_mV)
    data = FitData(volume, read, np.full(len(volume), BURETTE_mL), sd, np.zeros(len(volume)))
    begin = whole_start(known, volume, read, [v + 0.02 for v in points_mL])
    return Curve(volume, known.sign * read, "mV", sd), data, begin


def _inverse(model, x, grid, volume_of, volume):
    """The signal at a volume: the one place where the model passes it."""
    above = np.flatnonzero((volume_of[:-1] <= volume) & (volume_of[1:] > volume))
    k = int(above[0])
    return float(brentq(lambda e: float(model.volume_mL(np.array([e]), x)[0]) - volume, grid[k], grid[k + 1]))


def plain_fit(begin, data: FitData, loss: str) -> None:
    """One fit by the general library: residuals over their standard deviations, priors as further residuals."""
    sd_mL = standard_deviation_mL(begin.model, begin.x, data)
    known = np.isfinite(begin.prior_sd)

    def residuals(x):
        prior = (x - begin.prior_mean)[known] / begin.prior_sd[known]
        return np.concatenate([(data.volume_mL - begin.model.volume_mL(data.signal, x)) / sd_mL, prior])

    with np.errstate(all="ignore"):
        least_squares(
            residuals, begin.x, bounds=(begin.lower, begin.upper), x_scale="jac", loss=loss, f_scale=HUBER_LIMIT
        )


def clocked_s(work, *given) -> float:
    """Processor seconds of one call."""
    began = time.process_time()
    work(*given)
    return time.process_time() - began


def main() -> None:
    """Print the table."""
    print("# How long an evaluation takes (simulated curves)\n")
    print(
        f"Made by `python benchmarks/evaluation_time.py`: curves of {POINTS} points, made by the method's own model with"
    )
    print(
        f"{NOISE_mV} mV of noise and {BURETTE_mL} mL of the burette; medians of {TURNS} turns, one core, Monte Carlo apart. The"
    )
    print(
        "plain fit is one call of `scipy.optimize.least_squares` with the same model, parameters, start, readings and robust"
    )
    print("loss (Huber's); *plain squares*: the same ratio for a fit without the robust loss.\n")
    print("| curve | points found | by | plain fit | evaluation | ratio | plain squares |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    worst = 0.0
    for name, (method, points_mL) in CASES.items():
        expectation = expectation_of(load_method(METHODS / f"{method}.yaml"), BURETTE)
        curve, data, begin = curve_of(expectation, points_mL)
        found = find_equivalence_points(curve, expectation)
        fits, squares, whole = [], [], []
        for _ in range(TURNS):
            fits.append(clocked_s(plain_fit, begin, data, "huber"))
            squares.append(clocked_s(plain_fit, begin, data, "linear"))
            whole.append(clocked_s(find_equivalence_points, curve, expectation))
        fit_s, whole_s = statistics.median(fits), statistics.median(whole)
        worst = max(worst, whole_s / fit_s)
        by = ", ".join(point.found_by for point in found.equivalence_points)
        near = [abs(p.volume_mL - v) / p.u_random_mL for p, v in zip(found.equivalence_points, points_mL, strict=True)]
        assert max(near) < 4.0
        fit_ms, whole_ms = 1000.0 * fit_s, 1000.0 * whole_s
        of_squares = whole_s / statistics.median(squares)
        print(
            f"| {name} | {len(near)} | {by} | {fit_ms:.1f} ms | {whole_ms:.1f} ms | {whole_s / fit_s:.2f} | {of_squares:.2f} |"
        )
    print(f"\nLargest ratio: {worst:.2f} (at most 5 is the aim).")


if __name__ == "__main__":
    main()
