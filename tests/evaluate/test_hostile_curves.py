"""Whatever comes: no traceback, and no point where there is none."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.evaluation import Evaluation
from titrator.evaluate.expectation import Expectation

REDOX = Expectation.of_redox(analyte_potential_mV=470.0, titrant_potential_mV=1230.0, nernst_slope_mV=25.26)
finite = st.floats(allow_nan=False, allow_infinity=False)
tame = st.floats(-50.0, 2000.0)
units = st.sampled_from(["mV", "pH", "pX"])


def checked(curve: Curve, expectation: Expectation | None = None) -> Evaluation:
    """Evaluate and check what holds for every curve: sentences for no result, finite numbers, bracketing readings."""
    evaluation = find_equivalence_points(curve, expectation)
    json.dumps(evaluation.to_json(), allow_nan=False)
    if not evaluation.equivalence_points:
        assert evaluation.warnings
    for point in evaluation.equivalence_points:
        assert curve.volume_mL.min() <= point.volume_mL <= curve.volume_mL.max()
        assert point.interval_95_mL[0] <= point.volume_mL <= point.interval_95_mL[1]
        assert point.u_random_mL > 0.0
    return evaluation


@settings(max_examples=150)
@given(st.lists(st.tuples(finite, finite), max_size=25), units, st.sampled_from([None, REDOX]))
def test_any_numbers_at_all(rows, unit, expectation):
    volume, signal = [v for v, _ in rows], [e for _, e in rows]
    curve = Curve(volume, signal, unit)
    evaluation = find_equivalence_points(curve, expectation)
    json.dumps(evaluation.to_json(), allow_nan=False)


@settings(max_examples=150)
@given(st.lists(st.tuples(st.floats(0.0, 30.0), tame), max_size=40), units, st.sampled_from([None, REDOX]))
def test_any_readings(rows, unit, expectation):
    checked(Curve([v for v, _ in rows], [e for _, e in rows], unit), expectation)


@settings(max_examples=150)
@given(st.integers(4, 60), st.integers(0, 10**6), st.sampled_from([0.1, 1.0, 5.0]), st.sampled_from([None, REDOX]))
def test_flat_noise_has_no_point(count, seed, sd_mV, expectation):
    rng = np.random.default_rng(seed)
    curve = Curve(np.sort(rng.uniform(0.0, 20.0, count)), 400.0 + rng.normal(0.0, sd_mV, count), "mV")
    assert checked(curve, expectation).equivalence_points == ()


@settings(max_examples=100)
@given(st.integers(8, 60), st.integers(0, 10**6), st.floats(0.0, 40.0), st.sampled_from(["line", "log", "root"]))
def test_smooth_drifts_have_no_point(count, seed, size, shape):
    """Straight lines, a blank's logarithm and a square root, with the noise of a good electrode."""
    rng = np.random.default_rng(seed)
    volume = np.linspace(0.2, 20.0, count)
    signal = {"line": volume, "log": np.log(volume), "root": np.sqrt(volume)}[shape] * size
    assert checked(Curve(volume, signal + rng.normal(0.0, 0.5, count), "mV")).equivalence_points == ()


@pytest.mark.parametrize("level", [0.0, 400.0, -1e6, 1e300])
@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 50])
def test_constant_signals(level, count):
    evaluation = find_equivalence_points(Curve(np.arange(float(count)), np.full(count, level), "mV"))
    assert evaluation.equivalence_points == ()
    assert evaluation.warnings


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_too_few_readings_are_told(count):
    curve = Curve(np.arange(float(count)), np.arange(float(count)) * 500.0, "mV")
    evaluation = find_equivalence_points(curve)
    assert evaluation.equivalence_points == ()
    assert f"{count} reading" in evaluation.warnings[0]


def test_all_readings_at_one_volume():
    evaluation = find_equivalence_points(Curve(np.full(30, 5.0), np.linspace(0.0, 900.0, 30), "mV"))
    assert evaluation.equivalence_points == ()
    assert "1 reading at distinct volumes" in evaluation.warnings[-1]


@pytest.mark.parametrize("row", [1, 10, 28])
def test_a_single_stray_reading_is_no_jump(row):
    signal = 400.0 + np.random.default_rng(row).normal(0.0, 0.2, 30)
    signal[row] += 500.0
    assert checked(Curve(np.linspace(0.5, 15.0, 30), signal, "mV")).equivalence_points == ()


def test_a_dead_electrode_that_drifts():
    """0.05 mV/min over an hour, resolution 0.1 mV: with or without a method nothing is found."""
    signal = np.round(350.0 + 0.05 * np.linspace(0.0, 60.0, 40), 1)
    curve = Curve(np.linspace(0.0, 24.0, 40), signal, "mV", np.full(40, 0.03), None, np.full(40, 0.05))
    assert checked(curve, REDOX).equivalence_points == ()
    assert checked(curve).equivalence_points == ()


def test_an_electrode_that_falls_off_is_no_equivalence_point_before_its_branch():
    """The input goes to its rail and stays: the curve has a step, but to a level that no reading brackets smoothly.

    A step between two flats cannot be told from a steep jump; what must hold is an interval as wide as the step.
    """
    volume = np.arange(1.0, 21.0)
    signal = np.where(volume < 12.5, 450.0 + volume, 2000.0)
    for point in checked(Curve(volume, signal, "mV")).equivalence_points:
        assert point.interval_95_mL[0] <= 12.0
        assert point.interval_95_mL[1] >= 13.0


@pytest.mark.parametrize("scale", [1e-300, 1e-12, 1e12, 1e150, 1e300])
def test_scales_beyond_all_units(scale):
    volume = np.linspace(0.0, 20.0, 30) * scale
    signal = np.tanh(np.linspace(-9.0, 9.0, 30)) * 300.0
    json.dumps(find_equivalence_points(Curve(volume, signal, "mV")).to_json(), allow_nan=False)
    json.dumps(find_equivalence_points(Curve(volume, signal * scale, "mV")).to_json(), allow_nan=False)
