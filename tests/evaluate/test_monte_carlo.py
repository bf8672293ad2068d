"""Propagation of distributions: shapes, seeds, correlated inputs, and what is refused."""

import math

import numpy as np
import pytest
from scipy import stats

from titrator.evaluate.budget import budget
from titrator.evaluate.measurement import Model, model_of
from titrator.evaluate.monte_carlo import BLOCK, interval, numerical_tolerance, simulate
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.validated import validated

SHAPES = {
    "normal": stats.norm(5.0, 0.3),
    "rectangular": stats.uniform(5.0 - 0.3 * math.sqrt(3.0), 0.6 * math.sqrt(3.0)),
    "triangular": stats.triang(0.5, 5.0 - 0.3 * math.sqrt(6.0), 0.6 * math.sqrt(6.0)),
    "arcsine": stats.arcsine(5.0 - 0.3 * math.sqrt(2.0), 0.6 * math.sqrt(2.0)),
    "t": stats.t(6, 5.0, 0.3),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_draws_have_the_shape(shape):
    """Kolmogorov and Smirnov's test against scipy's distribution (fixed seed)."""
    quantity = Quantity("x", 5.0, 0.3, "mL", shape, 6.0 if shape == "t" else math.inf)
    draws = quantity.drawn(quantity.stream(1), 50_000)
    assert stats.kstest(draws, SHAPES[shape].cdf).pvalue > 0.01
    if shape != "t":
        assert SHAPES[shape].std() == pytest.approx(0.3, rel=1e-9)


def test_a_seed_gives_the_same_whatever_stands_beside():
    x, y = Quantity("x", 1.0, 0.1), Quantity("y", 2.0, 0.1)
    assert simulate(model_of(x) + y, seed=3) == simulate(model_of(x) + y, seed=3)
    assert simulate(model_of(x) + y, seed=3) != simulate(model_of(x) + y, seed=4)
    assert np.array_equal(x.drawn(x.stream(3), 5), x.drawn(x.stream(3), 5))


def test_shared_source_is_drawn_once():
    x = Quantity("x", 1.0, 0.1)
    assert simulate(model_of(x) - x, seed=1).u == 0.0
    assert simulate((model_of(x) + 1.0) / (model_of(x) + 1.0), seed=1).interval_95 == (1.0, 1.0)


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    # Two digits of 0.0998 are 0.10, so its last digit stands for 0.01; those of 0.0993 are 0.099.
    [(0.00028, 1, 5e-5), (0.00028, 2, 5e-6), (0.0993, 2, 5e-4), (0.0998, 2, 5e-3), (2.0, 2, 0.05), (0.0, 2, 0.0)],
)
def test_numerical_tolerance(u, digits, tolerance):
    """JCGM 101, 7.9.2: 0.00028 is 3e-4 (δ 0.5e-4) or 28e-5 (δ 0.5e-5)."""
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance)


def test_interval_of_a_skewed_sample():
    """Exponential: shortest interval starts at 0 and ends at the 95 % point, ln 20; symmetric from ln(1/0.975)."""
    draws = np.sort(np.random.default_rng(1).exponential(1.0, 400_000))
    assert interval(draws, "shortest") == pytest.approx((0.0, math.log(20.0)), abs=0.03)
    assert interval(draws, "symmetric") == pytest.approx((-math.log(0.975), -math.log(0.025)), abs=0.03)


def test_few_degrees_of_freedom():
    """A t source alone: the Monte Carlo's interval is Student's, as the GUM's; confirmed."""
    found = validated(Quantity("x", 10.0, 0.1, "mL", "t", 8.0), seed=2)
    assert found.agree
    assert found.interval_95 == pytest.approx((10.0 - 0.2306, 10.0 + 0.2306), abs=1e-4)  # t = 2.306 (tables)


def test_correlated_inputs():
    """u² = 9 + 16 + 2 × 0.5 × 12 = 37."""
    total = model_of(Quantity("a", 1.0, 3.0)) + Quantity("b", 1.0, 4.0)
    drawn = simulate(total, seed=1, correlations={("a", "b"): 0.5}, tolerance=0.02)
    assert drawn.u == pytest.approx(math.sqrt(37.0), abs=0.03)
    with pytest.raises(ValueError, match="normal or t"):
        simulate(
            model_of(Quantity.bounded("a", 1.0, 3.0)) + Quantity("b", 1.0, 4.0), seed=1, correlations={("a", "b"): 0.5}
        )


def test_refused():
    with pytest.raises(ValueError, match="trials"):
        simulate(Quantity("x", 1.0, 0.1), seed=1, most_trials=BLOCK)
    with pytest.raises(ValueError, match="every draw"):
        simulate(Model(lambda v: np.log(v["x"]), (Quantity("x", 1.0, 1.0),)), seed=1)


def test_one_rectangular_source_gives_the_interval():
    """y = V (1 + calibration ±1 %): u is that of the rectangle, the interval ±0.95 % and not ±1.96/√3 = 1.13 %."""
    volume = Quantity("volume", 20.0, 0.001, "mL") * model_of(Quantity.bounded("burette calibration", 1.0, 0.01))
    found = validated(volume.in_unit("mL"), seed=11)
    assert not found.agree
    assert found.interval_95 == pytest.approx((20.0 - 0.19, 20.0 + 0.19), abs=0.001)
    assert found.u == pytest.approx(0.2 / math.sqrt(3.0), rel=2e-3)
    assert pytest.approx(0.95 * math.sqrt(3.0), abs=0.01) == found.k
    assert found.notable
    assert "100 % of u² is one rectangular source, burette calibration" in found.warning
    assert budget(volume).u == found.gum.u


def test_causes_are_told():
    """Rectangles of which none has half of u² (1/2.16); a model that bends; a t source, 2 degrees of freedom."""
    three = model_of(Quantity.bounded("pipette", 0.0, 1.0)) + Quantity.bounded("flask", 0.0, 1.0)
    three = three + Quantity.bounded("burette", 0.0, 0.4)
    assert "the largest pipette (46 % of u²)" in validated(three, seed=1).warning
    bent = model_of(Quantity("x", 1.0, 0.5)) ** 2
    assert "bends" in validated(bent, seed=1).warning
    few = model_of(Quantity("mean", 0.0, 1.0, "1", "t", 2.0)) + Quantity("other", 0.0, 0.7)
    assert "few readings, mean" in validated(few, seed=1).warning


def test_a_difference_too_small_to_mention():
    """Four rectangular inputs in one digit more than JCGM 101 asks: ±3.88 for ±3.92 is told, not notable."""
    total = model_of(0.0)
    for number in range(4):
        total = total + Quantity(f"X{number}", 0.0, 1.0, "1", "rectangular")
    found = validated(total, seed=1, digits=3)
    assert not found.agree
    assert not found.notable
