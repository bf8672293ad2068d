"""Which interval is told, and that it holds the truth: truths drawn from the very distributions stated (seeded)."""

import math

import numpy as np
import pytest

from titrator.evaluate.evaluation import EquivalencePoint, Evaluation
from titrator.evaluate.measurement import model_of
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.results import ResultInputs, results
from titrator.evaluate.told_interval import in_other_unit, told_interval
from titrator.evaluate.validated import validated
from titrator.evaluate.volumes import Burette

# half-width of the burette, relative u of titrant and aliquot, relative sd of the volume, its degrees of freedom
CASES = {
    "a rectangular source dominates": (0.010, 0.0005, 0.0005, 0.0003, 20),
    "normal sources dominate": (0.0005, 0.003, 0.001, 0.0005, 20),
    "a source with 5 degrees of freedom dominates": (0.0005, 0.0003, 0.0003, 0.003, 5),
    "mixed": (0.003, 0.001, 0.0008, 0.001, 8),
}
TRUTHS = 400


def one_interval(random, case):
    """Draw the truth about what is stated, the volume about its truth with its own estimate of scatter; evaluate."""
    half_width, u_titrant, u_aliquot, sd_volume, dof = case
    titrant, aliquot_mL, volume_mL = 0.1, 10.0, 17.0
    truth = titrant * (1.0 + u_titrant * random.standard_normal()) * volume_mL
    truth *= 1.0 + random.uniform(-half_width, half_width)
    truth /= aliquot_mL * (1.0 + u_aliquot * random.standard_normal())
    found_mL = volume_mL * (1.0 + sd_volume * random.standard_normal())
    u_mL = volume_mL * sd_volume * math.sqrt(random.chisquare(dof) / dof)
    inputs = ResultInputs(
        "x", Quantity("titrant concentration", titrant, u_titrant * titrant, "mol/L"),
        Quantity("aliquot", aliquot_mL, u_aliquot * aliquot_mL, "mL"), burette=Burette.within(half_width),
    )  # fmt: skip
    point = EquivalencePoint(found_mL, u_mL, float(dof), (0.0, 20.0), 0.0, "mV", "model-fit")
    return truth, results(Evaluation((point,)), inputs)[0]


@pytest.mark.parametrize("name", CASES)
def test_the_interval_holds_the_truth(name):
    """A true 95 % interval holds 365 to 393 of 400 truths but once in 1000 cases (binomial)."""
    random = np.random.default_rng(11)
    drawn = [one_interval(random, CASES[name]) for _ in range(TRUTHS)]
    held = sum(result.interval_95[0] <= truth <= result.interval_95[1] for truth, result in drawn)
    assert 365 <= held <= 393


def rectangle_and(share_of_normal):
    """A rectangular factor of u 0.2 % and a normal one that brings a share of u²."""
    normal = 0.002 * math.sqrt(share_of_normal / (1.0 - share_of_normal))
    factor = model_of(Quantity.bounded("calibration", 1.0, 0.002 * math.sqrt(3.0)))
    return (factor * Quantity("volume", 17.0, 17.0 * normal, "mL")).in_unit("mL")


@pytest.mark.parametrize("share", [0.05, 0.2, 0.5, 0.8, 0.95])
def test_as_a_thorough_propagation(share):
    """The ends told at little cost are those of a million trials, to a twentieth of u."""
    model = rectangle_and(share)
    quick, thorough = told_interval(model), validated(model, seed=99)
    for told, wanted in zip(quick.interval_95, thorough.simulated.interval_95, strict=True):
        assert told == pytest.approx(wanted, abs=0.05 * quick.gum.u)


def test_nothing_is_drawn_where_both_are_known_to_agree():
    """Five normal factors of 0.1 %: the formula's bend moves an end by 0.1 % of u; one rectangle alone: drawn."""
    product = model_of(Quantity("x0", 3.0, 0.003))
    for number in range(1, 5):
        product = product * Quantity(f"x{number}", 3.0, 0.003)
    assert told_interval(product).simulated is None
    assert told_interval(product).interval_from == "GUM"
    assert told_interval(rectangle_and(0.0)).simulated is not None
    exact = told_interval(model_of(2.0) * 3.0)
    assert (exact.simulated, exact.interval_95) == (None, (6.0, 6.0))


def test_a_bend_is_drawn():
    """1/x with u 10 %: a division, whose distribution leans to one side."""
    told = told_interval(1.0 / model_of(Quantity("x", 1.0, 0.1)))
    assert told.interval_from == "Monte Carlo"
    assert told.interval_95 == pytest.approx((1.0 / 1.196, 1.0 / 0.804), abs=0.01)


def test_another_unit_draws_nothing_anew():
    told = told_interval(rectangle_and(0.1))
    other = in_other_unit(told, (rectangle_and(0.1) * 1000.0).in_unit("µL"))
    assert other.interval_95 == pytest.approx([1000.0 * each for each in told.interval_95])
    assert other.simulated.trials == told.simulated.trials
    assert other.agree == told.agree


def test_the_same_numbers_each_time():
    assert told_interval(rectangle_and(0.3)).interval_95 == told_interval(rectangle_and(0.3)).interval_95
    assert told_interval(rectangle_and(0.3), 1).interval_95 != told_interval(rectangle_and(0.3), 2).interval_95
