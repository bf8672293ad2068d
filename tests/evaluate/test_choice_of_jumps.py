"""Which jumps are taken where more stand out than are sought: those with which one fit describes every reading."""

from pathlib import Path

import numpy as np
import pytest
from test_family_curves import BURETTE

from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.method import load_method
from titrator.run.expectations import expectation_of

METHOD = Path(__file__).parents[2] / "configs" / "methods" / "iodide_and_chloride.yaml"
TRUE_mL = (4.5936, 12.7383)
READ = np.array([
    (0.0, -224.13, 0.265), (0.04, -224.19, 0.056), (1.96, -209.66, 0.195), (4.28, -155.45, 0.195),
    (4.54, -112.42, 0.162), (4.5762, -85.25, 0.124), (4.58, -74.62, 0.199), (4.5838, -73.91, 0.356),
    (4.5919, -40.37, 0.791), (4.6556, 132.11, 0.128), (4.7156, 132.42, 0.179), (11.8356, 189.60, 0.209),
    (12.6956, 264.73, 0.125), (12.6994, 268.29, 0.131), (12.7394, 308.24, 0.112), (12.7431, 315.50, 0.120),
    (12.7469, 321.73, 0.119), (13.6869, 425.35, 0.177),
])  # fmt: skip
"""Volumes in mL, potentials in mV and their standard deviations: a simulated run (computed by us).

The burette errs by 1 µL. About iodide's point two intervals stand out from their neighbours, and both more than
chloride's jump does."""


def found_in(readings):
    volume_mL, signal, sd = readings.T
    expectation = expectation_of(load_method(METHOD), BURETTE)
    return find_equivalence_points(Curve(volume_mL, signal, "mV", sd_signal=sd), expectation)


def test_two_jumps_seen_on_one():
    found = found_in(READ)
    assert [each.volume_mL for each in found.equivalence_points] == pytest.approx(TRUE_mL, abs=0.003)
    assert all(
        each.interval_95_mL[0] <= true <= each.interval_95_mL[1]
        for each, true in zip(found.equivalence_points, TRUE_mL, strict=True)
    )
    assert not any("another jump" in each for each in found.warnings)


def test_a_third_jump_that_no_fit_describes_stays_a_third():
    """A step of 150 mV behind chloride's point, as of a third ion, is not passed over in silence."""
    high = np.column_stack([13.8 + 0.2 * np.arange(6), 580.0 + 3.0 * np.arange(6), np.full(6, 0.2)])
    found = found_in(np.vstack([READ, high]))
    assert not found.equivalence_points
    assert any("another jump near 13.7" in each for each in found.warnings)
