"""Worked examples of JCGM 100:2008 (annex H) and JCGM 101:2008 (clause 9).

H.1: inputs as the documentation of the GTC package retells them. H.2 and JCGM 101: figures from memory, each found
again by our own calculation; the exact values beside them worked in closed form.
"""

import math

import numpy as np
import pytest
from GTC import dof, result, ta

from titrator.evaluate.budget import budget
from titrator.evaluate.measurement import Model, model_of
from titrator.evaluate.monte_carlo import simulate
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.validated import validated


def test_end_gauge():
    """H.1: l 50 000 838 nm, u 32 (31.66) nm, ν_eff 16 (16.75)."""
    inputs = (
        Quantity("standard", 50_000_623.0, 25.0, "nm", "t", 18.0),
        Quantity("difference", 215.0, 5.8, "nm", "t", 24.0),
        Quantity("comparator, random", 0.0, 3.9, "nm", "t", 5.0),
        Quantity("comparator, systematic", 0.0, 6.7, "nm", "t", 8.0),
        Quantity.bounded("expansion", 11.5e-6, 2e-6, "1/K"),
        Quantity("difference of expansion", 0.0, 1e-6 / math.sqrt(3.0), "1/K", "rectangular", 50.0),
        Quantity("mean deviation", -0.1, 0.2, "K"),
        Quantity.bounded("cyclic deviation", 0.0, 0.5, "K", "arcsine"),
        Quantity("difference of temperature", 0.0, 0.05 / math.sqrt(3.0), "K", "rectangular", 2.0),
    )

    def length(x):
        warm = x["mean deviation"] + x["cyclic deviation"]
        found = x["standard"] + x["difference"] + x["comparator, random"] + x["comparator, systematic"]
        bent = x["difference of expansion"] * warm + x["expansion"] * x["difference of temperature"]
        return found - x["standard"] * bent

    found = budget(Model(length, inputs, "nm"))
    assert found.value == pytest.approx(50_000_838.0, abs=0.5)
    assert found.u == pytest.approx(31.66, abs=0.005)
    assert found.dof == pytest.approx(16.75, abs=0.005)
    assert math.fsum(line.share for line in found.budget) == pytest.approx(1.0, abs=1e-12)
    # With the terms of second order the guide has u = 34 nm: the Monte Carlo holds them.
    drawn = simulate(Model(length, tuple(each_normal(each) for each in inputs), "nm"), seed=1)
    assert drawn.u == pytest.approx(33.8, abs=0.15)


def each_normal(quantity: Quantity) -> Quantity:
    """A t distribution's own standard deviation is wider than u: for the second-order term u itself is wanted."""
    if quantity.distribution != "t":
        return quantity
    return Quantity(quantity.name, quantity.value, quantity.u, quantity.unit)


READINGS = {
    "V": [5.007, 4.994, 5.005, 4.990, 4.999],
    "I": [0.019663, 0.019639, 0.019640, 0.019685, 0.019678],
    "phi": [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
}
IMPEDANCE = {
    "R": (lambda x: x["V"] / x["I"] * np.cos(x["phi"]), 127.732, 0.071),
    "X": (lambda x: x["V"] / x["I"] * np.sin(x["phi"]), 219.847, 0.2955),
    "Z": (lambda x: x["V"] / x["I"], 254.260, 0.236),
}


@pytest.mark.parametrize("name", IMPEDANCE)
def test_simultaneous_resistance_and_reactance(name):
    """H.2 (data and results from memory), correlated inputs; ν = 4 as GTC has it for one set of observations."""
    function, value, u = IMPEDANCE[name]
    matrix = np.corrcoef([READINGS[each] for each in READINGS])
    names = list(READINGS)
    r = {(names[i], names[j]): float(matrix[i, j]) for i in range(3) for j in range(i)}
    used = names if name != "Z" else ["V", "I"]
    inputs = tuple(Quantity.mean_of(each, READINGS[each]) for each in used)
    r = {pair: each for pair, each in r.items() if set(pair) <= set(used)}
    found = budget(Model(function, inputs, "ohm"), r)
    assert found.value == pytest.approx(value, abs=0.0005)
    assert found.u == pytest.approx(u, abs=0.0006)  # X is printed 0.295, exact 0.2956
    assert found.dof == pytest.approx(4.0, rel=1e-9)
    shares = [line.share for line in found.budget] + [line.share for line in found.correlations]
    assert math.fsum(shares) == pytest.approx(1.0, abs=1e-9)
    v, i, phi = ta.multi_estimate_real([READINGS[each] for each in READINGS])
    from GTC import cos, sin  # its functions take its own numbers

    wanted = result({"R": v / i * cos(phi), "X": v / i * sin(phi), "Z": v / i}[name])
    assert (found.value, found.u) == (pytest.approx(wanted.x, rel=1e-12), pytest.approx(wanted.u, rel=1e-6))
    assert dof(wanted) == pytest.approx(4.0)


def rectangles(*u: float) -> Model:
    total = model_of(0.0)
    for number, each in enumerate(u):
        total = total + Quantity(f"X{number}", 0.0, each, "1", "rectangular")
    return total


def test_additive_normal_inputs():
    """JCGM 101, 9.2.2: four N(0, 1): u 2.00, interval ±3.92; the GUM confirmed."""
    total = model_of(0.0)
    for number in range(4):
        total = total + Quantity(f"X{number}", 0.0, 1.0)
    found = validated(total, seed=7)
    assert found.simulated.u == pytest.approx(2.0, abs=0.005)
    assert found.simulated.interval_95 == pytest.approx((-3.92, 3.92), abs=0.02)
    assert found.agree
    assert found.interval_95 == pytest.approx((-3.92, 3.92), abs=0.005)


def test_additive_rectangular_inputs():
    """JCGM 101, 9.2.3: four rectangular with u = 1: ±3.88 (exact 2√3(2 - 0.6^¼) = 3.8794)."""
    drawn = simulate(rectangles(1.0, 1.0, 1.0, 1.0), seed=7, tolerance=0.005)
    assert drawn.u == pytest.approx(2.0, abs=0.005)
    exact = 2.0 * math.sqrt(3.0) * (2.0 - 0.6**0.25)
    assert drawn.interval_95 == pytest.approx((-exact, exact), abs=0.01)
    shortest = simulate(rectangles(1.0, 1.0, 1.0, 1.0), seed=7, kind="shortest", tolerance=0.005)
    assert shortest.interval_95[1] - shortest.interval_95[0] == pytest.approx(2.0 * exact, abs=0.03)


def test_one_rectangular_input_dominates():
    """JCGM 101, 9.2.4: u 1, 1, 1, 10: GUM ±19.9 with u 10.1, true ±17.0 (exact 17.016); the interval is the latter."""
    found = validated(rectangles(1.0, 1.0, 1.0, 10.0), seed=7)
    assert found.gum.u == pytest.approx(10.1, abs=0.05)
    assert found.gum.interval_95 == pytest.approx((-19.9, 19.9), abs=0.05)
    assert not found.agree
    assert found.interval_from == "Monte Carlo"
    assert found.interval_95 == pytest.approx((-17.016, 17.016), abs=0.1)
    assert "one rectangular source, X3" in found.warning
    assert pytest.approx(found.k * found.u) == found.U


def test_calibration_of_a_mass():
    """JCGM 101, 9.3: first order 1.2340 mg, u 0.0539 [1.1285, 1.3395]; Monte Carlo u 0.0755, width 0.2991.

    Not the end points: the printed ones carry the scatter of their own draws.
    """
    inputs = (
        Quantity("m", 100_000.0, 0.050, "mg"),
        Quantity("dm", 1.234, 0.020, "mg"),
        Quantity.bounded("air", 1.20, 0.10, "kg/m3"),
        Quantity.bounded("weight", 8000.0, 1000.0, "kg/m3"),
        Quantity.bounded("reference", 8000.0, 50.0, "kg/m3"),
    )

    def excess(x):
        return (x["m"] + x["dm"]) * (1.0 + (x["air"] - 1.2) * (1.0 / x["weight"] - 1.0 / x["reference"])) - 100_000.0

    found = validated(Model(excess, inputs, "mg"), seed=3, kind="shortest")
    assert found.gum.value == pytest.approx(1.2340, abs=5e-5)
    assert found.gum.u == pytest.approx(0.0539, abs=5e-5)
    assert found.gum.interval_95 == pytest.approx((1.1285, 1.3395), abs=1e-4)
    assert not found.agree
    assert found.u == pytest.approx(0.0755, abs=0.0003)
    assert found.interval_95[1] - found.interval_95[0] == pytest.approx(0.2991, abs=0.001)


@pytest.mark.parametrize(
    ("x1", "gum", "true", "interval"),
    [
        (0.0, (0.0, 0.0), (50.0, 50.0), (0.0, 150.0)),
        (0.010, (100.0, 100.0), (150.0, 112.0), (0.0, 366.0)),
        (0.050, (2500.0, 500.0), (2550.0, 502.0), (1594.0, 3549.0)),
    ],
)
def test_comparison_loss(x1, gum, true, interval):
    """JCGM 101, 9.4: X1² + X2², u 0.005 each, x2 = 0, in units of 1e-6; shortest intervals."""
    model = model_of(Quantity("X1", x1, 0.005)) ** 2 + model_of(Quantity("X2", 0.0, 0.005)) ** 2
    found = validated(model, seed=5, kind="shortest")
    assert (found.gum.value * 1e6, found.gum.u * 1e6) == pytest.approx(gum, abs=0.5)
    assert (found.value * 1e6, found.u * 1e6) == pytest.approx(true, abs=1.0)
    # The density is flat at the ends: the ends of a shortest interval scatter, its width does not.
    assert found.interval_95[1] - found.interval_95[0] == pytest.approx((interval[1] - interval[0]) * 1e-6, abs=6e-6)
    assert not found.agree
