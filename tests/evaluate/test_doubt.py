"""What no titration does is told from a jump; 324 hostile curves, and the true ones beside them."""

import numpy as np
import pytest
from hostile_curves import HOSTILE, hostile, true_ones
from hostile_rigs import RIGS, hostile_rigs
from titration_curves import redox_mV

from titrator.evaluate.artefact import artefact_of
from titrator.evaluate.curve import Curve, CurveError
from titrator.evaluate.doubt import (
    contradiction,
    falls,
    flat_branch,
    goes_back,
    held,
    least_slope,
    off_one_bend,
    taken_back,
)
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.jump import Jump

REDOX = Expectation.of_redox(analyte_potential_mV=470.0, titrant_potential_mV=1230.0, nernst_slope_mV=25.26)
EACH = 9


@pytest.mark.parametrize("expectation", [None, REDOX], ids=["no method", "method"])
@pytest.mark.parametrize(("draw", "kinds", "every"), [(hostile, HOSTILE, 216), (hostile_rigs, RIGS, 108)])
def test_hostile_curves_have_no_point(draw, kinds, every, expectation):
    """A false point is a failure: none of them."""
    false, count = [], 0
    for name, curve in draw(EACH, "third draw"):
        if expectation is not None and curve.signal_unit != "mV":
            continue
        count += 1
        evaluation = find_equivalence_points(curve, expectation)
        if evaluation.equivalence_points:
            false.append(name)
        else:
            assert evaluation.warnings, name
    assert count == (every if expectation is None else every - 2 * len(kinds))
    assert false == []


@pytest.mark.parametrize("seed", range(6))
def test_a_dropout_right_behind_the_jump_of_a_method_is_no_false_point(seed):
    """Four readings behind the jump fall by 300 mV and come back: the point is at 10.03 mL or nowhere."""
    volume = np.arange(0.25, 15.0, 0.25)
    signal = np.array([redox_mV(v, equivalence_mL=10.03) for v in volume])
    signal += np.random.default_rng(seed).normal(0.0, 0.3, len(volume))
    first = int(np.argmax(volume > 10.03)) + 1 + seed % 3
    signal[first : first + 4] -= 300.0
    for point in find_equivalence_points(Curve(volume, signal, "mV"), REDOX).equivalence_points:
        assert point.interval_95_mL[0] <= 10.03 <= point.interval_95_mL[1]


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 5])
@pytest.mark.parametrize("expectation", [None, REDOX], ids=["no method", "method"])
def test_tiny_curves_of_chance_have_no_point(count, expectation):
    for seed in range(20):
        rng = np.random.default_rng(seed)
        curve = Curve(np.sort(rng.uniform(0.0, 20.0, count)), 400.0 + rng.normal(0.0, 3.0, count), "mV")
        evaluation = find_equivalence_points(curve, expectation)
        assert evaluation.equivalence_points == ()
        assert evaluation.warnings


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_numbers_that_are_none_are_refused_with_their_place(value):
    signal = np.linspace(0.0, 500.0, 20)
    signal[7] = value
    with pytest.raises(CurveError, match="index 7"):
        Curve(np.arange(20.0), signal, "mV")


def test_a_rise_that_an_artefact_describes():
    """A ramp with two kinks is described to within its noise; a titration of the same height is not."""
    volume = np.linspace(0.5, 15.0, 60)
    noise, sd = np.random.default_rng(1).normal(0.0, 0.3, 60), np.full(60, 0.3)
    ramp = 400.0 + 2.0 * volume + 150.0 * np.clip((volume - 6.0) / 3.0, 0.0, 1.0)
    found = artefact_of(volume, ramp + noise, sd)
    assert found is not None
    assert found.name == "a straight rise between two levels"
    assert found.misfit == pytest.approx(1.0, abs=0.3)
    assert artefact_of(volume, np.array([redox_mV(v, equivalence_mL=7.7) for v in volume]) + noise, sd) is None


def test_true_ones_keep_their_point():
    """Titrations with noise of 0.1 to 3 mV, jumps of 250 mV and more: one point each, near the truth."""
    for name, curve, equivalence_mL in true_ones(10, "second draw"):
        evaluation = find_equivalence_points(curve)
        assert len(evaluation.equivalence_points) == 1, (name, evaluation.warnings)
        (point,) = evaluation.equivalence_points
        assert point.volume_mL == pytest.approx(equivalence_mL, abs=5.0 * point.u_random_mL), name


def test_a_flat_branch_is_flatter_than_any_titration():
    """The branch before a jump follows the logarithm of what is left: the slope of six electrons is the least one."""
    volume = np.arange(0.5, 10.0, 0.5)
    left, sd = 10.0 - volume, np.full(len(volume), 0.3)
    flat = flat_branch(left, np.full(len(volume), 400.0), sd, least_slope("mV"))
    assert flat is not None
    assert flat[1] == pytest.approx(25.693 / 6.0), "RT/F at 25 °C over six electrons"
    for electrons in (1, 2, 3, 6):
        branch = 400.0 + 25.693 / electrons * np.log(left)
        assert flat_branch(left, branch, sd, least_slope("mV")) is None
        assert flat_branch(left, -branch, sd, least_slope("mV")) is not None, "towards the point it goes the other way"
    assert flat_branch(left, np.full(len(volume), 400.0), 30.0 * sd, least_slope("mV")) is None, "noise hides it"
    assert flat_branch(left[:2], branch[:2], sd[:2], least_slope("mV")) is None
    assert least_slope("pH") == pytest.approx(1.0 / np.log(10.0) / 6.0)


def test_a_titration_is_one_bend_and_stairs_are_not():
    volume = np.arange(0.2, 15.0, 0.2)
    signal = np.array([redox_mV(v, equivalence_mL=10.03) for v in volume])
    steepest = int(np.argmax(np.diff(signal)))
    jump = Jump(steepest, 26, len(volume) - 2, 1.0)  # from 5.4 mL: behind the turn of its branch at 5.0
    assert off_one_bend(volume, signal, jump) < 1e-6
    stairs = 100.0 * np.floor(volume / 3.0)
    middle = int(np.argmax(volume >= 9.0)) - 1
    assert off_one_bend(volume, stairs, Jump(middle, 5, len(volume) - 5, 1.0)) >= 25.0


def test_what_is_taken_back():
    signal = np.concatenate([np.zeros(10), np.full(4, 300.0), np.zeros(10)])
    assert taken_back(signal, Jump(9, 9, 10, 1.0)) == pytest.approx(300.0)
    steady = np.concatenate([np.zeros(10), np.full(10, 300.0)])
    assert taken_back(steady, Jump(9, 9, 10, 1.0)) == 0.0
    steady[[3, 15]] += 500.0
    assert taken_back(steady, Jump(9, 9, 10, 1.0)) == 0.0, "a single stray reading says nothing"


def test_what_goes_back_reading_after_reading():
    """By hand: a fall of 90 in three steps counts, one step (a contact) and a single stray reading do not."""
    rising, sd = np.array([100.0, 70.0, 40.0, 10.0, 12.0, 300.0, 305.0, 306.0, 307.0]), np.full(9, 0.3)
    assert goes_back(rising, sd, Jump(4, 3, 5, 1.0)) == pytest.approx(90.0)
    assert goes_back(rising, np.full(9, 30.0), Jump(4, 3, 5, 1.0)) == 0.0, "noise hides it"
    contact = np.array([100.0, 100.0, 10.0, 11.0, 12.0, 300.0, 305.0, 150.0, 307.0])
    assert goes_back(contact, sd, Jump(4, 2, 5, 1.0)) == 0.0
    bump = np.array([10.0, 10.0, 11.0, 11.0, 12.0, 300.0, 305.0, 200.0, 107.0])
    assert goes_back(bump, sd, Jump(4, 3, 6, 1.0)) == pytest.approx(198.0), "up to the end two steps tell"
    turned = -bump[::-1]
    assert goes_back(turned, sd, Jump(3, 2, 5, 1.0)) == pytest.approx(198.0), "and from the beginning"
    assert goes_back(turned, sd, Jump(3, 2, 5, 1.0), bare=1) == 0.0, "but not from before any titrant"


def test_falls_are_counted_and_a_stray_reading_makes_one():
    """By hand: back by 50 and 40 in a row, then by 30: two falls; a reading 60 too high, or too low, makes one."""
    sd = np.full(8, 0.5)
    assert falls(np.array([100.0, 50.0, 10.0, 20.0, 60.0, 30.0, 70.0, 80.0]), sd, 20.0) == 2
    for stray in (-60.0, 60.0):
        assert falls(np.array([1.0, 2.0, 3.0, 4.0 + stray, 5.0, 6.0, 7.0, 8.0]), sd, 20.0) == 1
    assert falls(np.arange(8.0), sd, 20.0) == 0
    assert falls(np.array([100.0, 50.0, 10.0, 20.0, 60.0, 30.0, 70.0, 80.0]), 30.0 * sd, 20.0) == 0, "noise hides them"


def test_two_readings_on_a_jump_that_contradict_each_other():
    """By hand: between 4 and 7 mL the readings are 10, 270, 20, 400: back by 250 behind the second of them."""
    volume, signal = np.arange(9.0), np.array([8.0, 9.0, 9.0, 9.0, 10.0, 270.0, 20.0, 400.0, 402.0])
    assert contradiction(volume, signal, np.full(9, 2.0), (4.0, 7.0)) == (5, 250.0)
    assert contradiction(volume, signal, np.full(9, 200.0), (4.0, 7.0)) is None, "noise hides it"
    assert contradiction(volume, np.sort(signal), np.full(9, 2.0), (4.0, 7.0)) is None
    assert contradiction(volume, signal, np.full(9, 2.0), (6.0, 7.0)) is None, "nothing stands between them"


def test_a_plug_that_works_loose_is_an_estimate():
    """Two levels and, between them, a reading up, one down again: which of the two is wrong nobody can tell."""
    volume = np.arange(0.5, 9.0, 0.5)
    signal = np.where(volume < 4.4, 300.0, 700.0) + np.random.default_rng(5).normal(0.0, 2.0, len(volume))
    signal[(volume > 3.9) & (volume < 4.1)] = 560.0
    signal[(volume > 4.4) & (volume < 4.6)] = 315.0
    evaluation = find_equivalence_points(Curve(volume, signal, "mV"))
    assert evaluation.equivalence_points == ()
    assert "contradict each other" in evaluation.estimates[0].reason


def test_a_soft_limit_between_few_readings_is_found():
    """A hyperbolic tangent on a straight line, readings at random: the trials stand between readings too."""
    rng = np.random.default_rng(13)
    for _ in range(5):
        volume = np.sort(rng.uniform(0.5, 7.5, 15))
        middle, width = rng.uniform(3.0, 5.0), rng.uniform(0.6, 1.2)
        signal = 540.0 + 2.0 * volume + 240.0 * np.tanh((volume - middle) / width) + rng.normal(0.0, 0.3, 15)
        found = artefact_of(volume, signal, np.full(15, 0.3), within=2.5)
        assert found is not None
        assert found.name == "a soft limit at either end"


def test_a_logger_that_repeats_itself_is_no_coarse_display():
    """Every value twice is held; a titration shown to 10 mV repeats values too, and is a titration."""
    volume = np.arange(0.25, 15.1, 0.25)
    signal = np.array([redox_mV(v, equivalence_mL=10.03) for v in volume])
    assert held(np.repeat(signal[::2], 2))
    coarse = np.round(signal, -1)
    assert np.mean(np.diff(coarse) == 0.0) > 0.4
    assert not held(coarse)
    assert not held(signal)
    assert not held(np.full(30, 400.0))


def test_a_model_that_passes_over_the_jump_itself_does_not_describe_it():
    """An electrode that starts 150 mV low: a titration far behind fits all readings but those of the only rise."""
    volume = np.linspace(0.25, 24.0, 25)
    signal = 1200.0 + 50.0 * np.log(volume / 5.0)
    signal[:2] -= 150.0
    signal += np.random.default_rng(4).normal(0.0, 0.3, 25)
    evaluation = find_equivalence_points(Curve(volume, signal, "mV"))
    assert evaluation.equivalence_points == ()


@pytest.mark.parametrize("expectation", [None, REDOX], ids=["no method", "method"])
def test_a_loose_contact_is_an_estimate_with_its_reason(expectation):
    signal = np.where(np.arange(30) < 17, 400.0, 1100.0) + np.random.default_rng(3).normal(0.0, 0.2, 30)
    evaluation = find_equivalence_points(Curve(np.linspace(0.5, 15.0, 30), signal, "mV"), expectation)
    assert evaluation.equivalence_points == ()
    assert len(evaluation.estimates) == 1
    assert any("flatter than any titration" in text for text in evaluation.warnings)


def test_a_coarse_titration_keeps_its_point():
    """Additions of 1 mL, no reading on the jump, no method: branches bend as they must."""
    volume = np.arange(1.0, 17.0)
    signal = np.array([redox_mV(v, equivalence_mL=10.4) for v in volume])
    (point,) = find_equivalence_points(Curve(volume, signal, "mV")).equivalence_points
    assert point.interval_95_mL[0] <= 10.4 <= point.interval_95_mL[1]
