"""Equivalence points of whole curves, with and without a method; truths by bisection (titration_curves.py)."""

import numpy as np
import pytest
from titration_curves import SLOPE_mV, measured, redox_mV, strong_acid_ph, volumes_about, weak_acid_ph

from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.expectation import Expectation

IRON = Expectation.of_redox(
    analyte_potential_mV=470.0, titrant_potential_mV=1230.0, nernst_slope_mV=SLOPE_mV, sd_volume_mL=0.001,
    calibration_half_width=0.002,
)  # fmt: skip


def iron_curve(seed=1, equivalence_mL=17.3, **options) -> Curve:
    volume = volumes_about(equivalence_mL)
    signal = measured(lambda v: redox_mV(v, equivalence_mL=equivalence_mL, **options), volume, seed, 0.001, 0.1)
    return Curve(volume, signal, "mV", sd_signal=np.full(len(volume), 0.1))


def test_a_redox_curve_by_all_ways():
    evaluation = find_equivalence_points(iron_curve(), IRON)
    (point,) = evaluation.equivalence_points
    assert point.found_by == "model-fit"
    assert point.volume_mL == pytest.approx(17.3, abs=0.002)
    assert point.potential_mV == pytest.approx((470.0 + 1230.0) / 2.0, abs=10.0)
    assert point.u_mL == pytest.approx(np.hypot(point.u_random_mL, 17.3 * 0.002 / np.sqrt(3.0)), rel=1e-3)
    assert {way.name for way in evaluation.by_method} == {"model-fit", "second-derivative", "first-derivative", "gran"}
    for way in evaluation.by_method:
        assert way.volume_mL == pytest.approx(17.3, abs=0.02)
        assert abs(way.volume_mL - 17.3) < 3.0 * way.u_mL
    assert evaluation.warnings == ()
    assert evaluation.estimates == ()


def test_a_falling_redox_curve():
    """A reducing titrant: the mirror image of the rising curve, -E of the exact balance."""
    rising = iron_curve()
    falling = Curve(rising.volume_mL, -rising.signal, "mV", rising.sd_signal)
    expectation = Expectation.of_redox(
        analyte_potential_mV=-470.0, titrant_potential_mV=-1230.0, nernst_slope_mV=SLOPE_mV, sd_volume_mL=0.001
    )
    up = find_equivalence_points(rising, IRON).equivalence_points[0]
    (down,) = find_equivalence_points(falling, expectation).equivalence_points
    assert down.volume_mL == pytest.approx(up.volume_mL, abs=1e-9)
    assert down.signal == pytest.approx(-up.signal, abs=1e-6)


@pytest.mark.parametrize("shape", ["strong", "weak"])
def test_acid_curves_without_a_method(shape):
    curve_of = strong_acid_ph if shape == "strong" else weak_acid_ph
    volume = volumes_about(18.25, fine_mL=0.1, reach_mL=0.5)
    signal = measured(lambda v: curve_of(v, equivalence_mL=18.25), volume, 3, 0.005, 0.01)
    (point,) = find_equivalence_points(Curve(volume, signal, "pH")).equivalence_points
    assert point.found_by == "model-fit"
    assert point.volume_mL == pytest.approx(18.25, abs=0.02)
    assert point.interval_95_mL[0] < 18.25 < point.interval_95_mL[1]
    assert point.potential_mV is None
    assert point.signal_unit == "pH"


def test_a_burette_that_did_not_begin_at_zero():
    curve = iron_curve()
    moved = Curve(curve.volume_mL + 10.0, curve.signal, "mV")
    (point,) = find_equivalence_points(moved).equivalence_points
    assert point.volume_mL == pytest.approx(27.3, abs=0.005)


def test_order_and_repetition_do_not_matter():
    curve = iron_curve()
    shuffled = curve.chosen(np.random.default_rng(4).permutation(len(curve)))
    ordered, mixed = (find_equivalence_points(each, IRON) for each in (curve, shuffled))
    assert mixed.equivalence_points[0].volume_mL == pytest.approx(ordered.equivalence_points[0].volume_mL, abs=1e-9)
    assert any("steps back" in text for text in mixed.warnings)
    twice = curve.chosen(np.repeat(np.arange(len(curve)), 2))
    repeated = find_equivalence_points(twice, IRON)
    assert repeated.equivalence_points[0].volume_mL == pytest.approx(ordered.equivalence_points[0].volume_mL, abs=0.001)
    assert any("repeat a volume" in text for text in repeated.warnings)


def test_a_titration_stopped_too_early_gives_an_estimate_only():
    curve = iron_curve()
    evaluation = find_equivalence_points(curve.chosen(curve.volume_mL < 17.25), IRON)
    assert evaluation.equivalence_points == ()
    assert any("branch behind the jump is missing" in text for text in evaluation.warnings)
    assert {estimate.found_by for estimate in evaluation.estimates} == {"model-fit", "gran-before"}
    for estimate in evaluation.estimates:
        assert estimate.volume_mL == pytest.approx(17.3, abs=3.0 * estimate.u_random_mL)
        assert estimate.interval_95_mL[0] < 17.3 < estimate.interval_95_mL[1]
        assert estimate.reason.startswith("extrapolated")


def test_no_estimate_without_a_method():
    curve = iron_curve()
    assert find_equivalence_points(curve.chosen(curve.volume_mL < 17.25)).estimates == ()


def test_a_blank_has_no_point_and_no_alarm():
    """Cerium(IV) into acid: only a logarithm, steepest at its beginning; a little oxidisable matter shifts nothing."""
    volume = np.arange(0.1, 5.0, 0.2)
    signal = 1230.0 + SLOPE_mV * np.log(volume / 0.05) + np.random.default_rng(8).normal(0.0, 0.2, len(volume))
    blank = Curve(volume, signal, "mV", sd_signal=np.full(len(volume), 0.2))
    declared = find_equivalence_points(blank, Expectation(points_sought=0))
    assert (declared.equivalence_points, declared.warnings) == ((), ())
    undeclared = find_equivalence_points(blank)
    assert undeclared.equivalence_points == ()
    assert len(undeclared.warnings) == 1


def test_a_declared_blank_with_a_jump_is_told():
    evaluation = find_equivalence_points(iron_curve(), Expectation(points_sought=0))
    assert evaluation.equivalence_points == ()
    assert any("a blank was declared" in text and "jump near 17." in text for text in evaluation.warnings)


def two_jumps() -> Curve:
    """Two analytes 400 mV apart, 6 and 8 mL of titrant: a sum of two exact one-analyte balances in V(E)."""
    potential = np.linspace(150.0, 1330.0, 4000)
    share = [1.0 / (1.0 + np.exp(-(potential - centre) / SLOPE_mV)) for centre in (250.0, 650.0)]
    volume = (6.0 * share[0] + 8.0 * share[1]) * (1.0 + np.exp((potential - 1230.0) / SLOPE_mV))
    taken = np.concatenate([np.arange(0.5, 5.5, 0.5), np.arange(5.5, 6.5, 0.05), np.arange(6.6, 13.5, 0.5),
                            np.arange(13.5, 14.5, 0.05), np.arange(14.6, 18.0, 0.5)])  # fmt: skip
    return Curve(taken, np.interp(taken, volume, potential), "mV", sd_signal=np.full(len(taken), 0.2))


def test_two_points_in_order_of_volume():
    evaluation = find_equivalence_points(two_jumps(), Expectation(points_sought=2))
    first, second = evaluation.equivalence_points
    for point, truth in ((first, 6.0), (second, 14.0)):
        assert point.volume_mL == pytest.approx(truth, abs=0.03)
        assert point.interval_95_mL[0] < truth < point.interval_95_mL[1]


def test_more_points_than_the_method_seeks_are_told_not_reported():
    evaluation = find_equivalence_points(two_jumps(), Expectation(points_sought=1))
    assert len(evaluation.equivalence_points) == 1
    assert any("another jump near" in text for text in evaluation.warnings)


def test_fewer_points_than_sought_are_told():
    evaluation = find_equivalence_points(iron_curve(), Expectation(points_sought=2))
    assert len(evaluation.equivalence_points) == 1
    assert any(text.startswith("2 equivalence points were sought, 1") for text in evaluation.warnings)


def test_a_wrong_medium_is_noticed():
    """Both potentials 90 mV below what the method expects (another reference, say): found all the same, and said."""
    evaluation = find_equivalence_points(iron_curve(analyte_mV=380.0, titrant_mV=1140.0), IRON)
    (point,) = evaluation.equivalence_points
    assert point.volume_mL == pytest.approx(17.3, abs=0.003)
    (told,) = evaluation.diagnostics
    assert "-90 mV" in told.sentence
    assert "reference electrode" in told.sentence


def test_ways_that_disagree_are_told():
    """The volumes beside the jump are shifted by 0.1 mL against the rest: no model, no derivative agrees any more."""
    curve = iron_curve()
    volume = curve.volume_mL.copy()
    volume[volume < 16.0] *= 0.9
    evaluation = find_equivalence_points(Curve(volume, curve.signal, "mV", curve.sd_signal), IRON)
    assert any("does not describe the curve" in text or "disagree" in text for text in evaluation.warnings)


def test_a_reaction_that_is_not_the_methods_falls_back_on_derivatives():
    volume = volumes_about(18.25, fine_mL=0.1, reach_mL=0.5)
    signal = np.array([-59.16 * (strong_acid_ph(v, equivalence_mL=18.25) - 7.0) for v in volume])
    evaluation = find_equivalence_points(Curve(volume, -signal, "mV", np.full(len(volume), 0.2)), IRON)
    (point,) = evaluation.equivalence_points
    assert point.volume_mL == pytest.approx(18.25, abs=0.1)
    assert point.interval_95_mL[0] < 18.25 < point.interval_95_mL[1]
    assert point.found_by == "second-derivative"
    assert any("model" in text and "placed by derivatives" in text for text in evaluation.warnings)
