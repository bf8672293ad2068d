"""Two solids one after the other: the corner between them is found from readings, and approached from before it."""

import math
import random

import numpy as np
import pytest

from titrator.control.foresight.corner import Corner, corner_of
from titrator.control.foresight.estimate import Beforehand, Datum, Estimate
from titrator.control.foresight.law import Branch, Kind, Law
from titrator.control.foresight.layers import NEWEST, Layers
from titrator.evaluate.whole_curve_silver import SilverCurve

LN_10 = math.log(10.0)
SLOPE_mV, ELECTRODE_mV, TITRANT_mol_per_L, VESSEL_mL = 24.63, 590.0, 0.1, 50.0
IODIDE, BROMIDE, CHLORIDE = -16.08, -12.3, -9.75
"""Decadic logarithms of solubility products, rounded (common values at 25 °C, from memory)."""


def halides(*log_Ksp):
    """The law of halides with silver, its places as expected."""
    free = [
        Branch(Kind.FREE, ELECTRODE_mV + SLOPE_mV * (LN_10 * each - math.log(TITRANT_mol_per_L)), 9.0, SLOPE_mV, number)
        for number, each in enumerate(log_Ksp)
    ]
    at_titrant_mV = ELECTRODE_mV + SLOPE_mV * math.log(TITRANT_mol_per_L)
    return Law((*free, Branch(Kind.EXCESS, at_titrant_mV, 9.0, SLOPE_mV, len(log_Ksp) - 1)), VESSEL_mL)


def beforehand(*amounts_mL):
    return Beforehand(amounts_mL, (0.8,) * len(amounts_mL), 10.0, 0.015, 4.5, 0.4, 0.001)


def read(volumes_mL, points_mL, log_Ksp, *, noise, sd_mV=0.3):
    """Readings where the evaluation's model, with constants other than the expected ones, has these volumes."""
    model = SilverCurve(len(log_Ksp), TITRANT_mol_per_L, ("I-", "Cl-"))
    signal = np.linspace(-400.0, 480.0, 1_760_001)
    volume = model.volume_mL(signal, np.array([*points_mL, ELECTRODE_mV - 4.0, SLOPE_mV * 0.99, VESSEL_mL, *log_Ksp]))
    data = []
    for each in volumes_mL:
        y_mV = float(np.interp(each + 0.001 * noise.gauss(0.0, 1.0), volume, signal))
        data.append(Datum(each, y_mV + sd_mV * noise.gauss(0.0, 1.0), sd_mV))
    return data


BEFORE_mL = (0.1, 1.5, 4.3, 4.85, 4.87, 4.875, 4.88, 4.885, 4.89, 4.895)
PLATEAU_mL = (4.96, 5.02, 8.0, 11.0, 13.0)
JUMP_mL = (14.0, 14.15, 14.18, 14.184, 14.188, 14.196, 14.204, 14.212, 14.4)
POINTS_mL = (4.9, 14.2)


@pytest.mark.parametrize("seed", range(8))
def test_readings_one_by_one_find_both_points(seed):
    """Outside the law: volumes from the vectorised model of the evaluation."""
    volumes = (*BEFORE_mL, *PLATEAU_mL, *JUMP_mL)
    data = read(volumes, POINTS_mL, (IODIDE - 0.1, CHLORIDE + 0.1), noise=random.Random(seed))
    estimate = Estimate(halides(IODIDE, CHLORIDE), beforehand(6.0, 8.0))
    for count in range(1, len(data) + 1):
        estimate.fit(data[:count])
    assert estimate.layers.corners_mL == [PLATEAU_mL[0]]
    for number, point_mL in enumerate(POINTS_mL):
        sd_mL = estimate.point_sd_mL(number)
        assert 0.0003 < sd_mL < 0.0015
        assert abs(estimate.points_mL()[number] - point_mL) < 4.0 * sd_mL
    assert estimate.misfit < 2.0 * len(data)


@pytest.mark.parametrize("seed", range(8))
def test_all_readings_at_once_find_the_corner(seed):
    """From nothing but what is known beforehand; the corner is among the newest readings."""
    assert len(PLATEAU_mL) < NEWEST
    data = read((*BEFORE_mL, *PLATEAU_mL), POINTS_mL, (IODIDE - 0.1, CHLORIDE + 0.1), noise=random.Random(seed))
    estimate = Estimate(halides(IODIDE, CHLORIDE), beforehand(6.0, 8.0))
    estimate.fit(data)
    assert estimate.layers.corners_mL == [PLATEAU_mL[0]]
    assert abs(estimate.points_mL()[0] - POINTS_mL[0]) < 4.0 * estimate.point_sd_mL(0) < 0.006


def test_a_reading_behind_the_corner_is_known_at_once(monkeypatch):
    """One reading on the plateau, four microlitres behind the point, though nothing else is amiss."""
    monkeypatch.setattr("titrator.control.foresight.estimate.SUSPECT", math.inf)
    noise = random.Random(12)
    data = read((*BEFORE_mL, 4.904), POINTS_mL, (IODIDE, CHLORIDE), noise=noise)
    estimate = Estimate(halides(IODIDE, CHLORIDE), beforehand(6.0, 8.0))
    for count in range(1, len(data) + 1):
        estimate.fit(data[:count])
    assert estimate.layers.corners_mL == [4.904]


def test_readings_that_fall_behind_the_corner_leave_the_second_amount_open():
    """Errors of a millivolt are larger than what the potential rises there: the volume must not be fitted to them."""
    data = read((*BEFORE_mL, 4.908, 5.004, 5.1), POINTS_mL, (IODIDE, CHLORIDE), noise=random.Random(11), sd_mV=0.05)
    estimate = Estimate(halides(IODIDE, CHLORIDE), beforehand(6.0, 8.0))
    for count in range(1, len(BEFORE_mL) + 1):
        estimate.fit(data[:count])
    before_mL = estimate.points_mL()[0]
    for k, (away_mV, sd_mV) in enumerate([(4.5, 1.5), (0.8, 0.6), (-0.2, 0.3)], len(BEFORE_mL)):
        data[k] = data[k]._replace(y_mV=data[k].y_mV + away_mV, sd_mV=sd_mV)
        estimate.fit(data[: k + 1])
    assert estimate.points_mL()[0] == pytest.approx(before_mL, abs=5e-5)
    assert abs(estimate.x[1] - math.log(8.0)) < 0.8, "within what was known of it"
    assert estimate.misfit < 2.0 * len(data)


def test_a_corner_lies_where_the_second_solid_begins_to_form():
    """Textbook: both solids are there once the free ions stand in the ratio of the solubility products."""
    bromide_mL, chloride_mL = 6.0, 8.0
    estimate = Estimate(halides(BROMIDE, CHLORIDE), beforehand(bromide_mL, chloride_mL))
    corner = corner_of(estimate, 0)
    free_mL = chloride_mL * 10.0 ** (BROMIDE - CHLORIDE)
    assert bromide_mL - corner.volume_mL == pytest.approx(free_mL, rel=0.01)
    assert corner.width_mL == pytest.approx(free_mL, rel=0.01)
    assert corner.sd_mL - estimate.point_sd_mL(0) == pytest.approx(free_mL, rel=0.01)
    sharp = corner_of(Estimate(halides(IODIDE, CHLORIDE), beforehand(6.0, 8.0)), 0)
    assert sharp.volume_mL == pytest.approx(6.0, abs=1e-5)


def test_a_corner_is_approached_and_passed_in_time():
    corner = Corner(5.0, 0.0, 0.01)
    assert corner.next_mL(4.0, 0.03, 0.005, 6, 0.001) == pytest.approx(5.0 - 0.035 - 0.01)  # 3.5 sd and 1 % of the way
    sure = corner._replace(sd_mL=0.001)
    assert sure.next_mL(4.9, 0.03, 0.005, 6, 0.001) == pytest.approx(4.97)
    last_mL = 2.5 * math.hypot(0.001, 0.001)
    assert sure.next_mL(4.97, 0.03, 0.005, 5, 0.001) == pytest.approx(4.97 + (0.03 - last_mL) / 5)
    assert sure.next_mL(4.98, 0.03, 0.005, 5, 0.001) == pytest.approx(4.985)
    assert sure.next_mL(4.98, 0.03, 0.005, 0, 0.001) is None, "enough of them"
    assert sure.next_mL(4.9935, 0.03, 0.005, 3, 0.001) is None, "the next one might lie behind it"


def test_layers_of_three_solids():
    layers = Layers(3)
    assert layers.unassigned([1.0, 2.0])
    assert not layers.unassigned([1.0, 2.0])
    assert layers.with_newest() == [[], [2.0]]
    layers.corners_mL = [2.0]
    assert [layers.at(each) for each in (1.0, 2.0, 3.0)] == [1, 2, 2]
    assert layers.unassigned([1.0, 2.0, 3.0])
    assert layers.with_newest() == [[2.0], [2.0, 3.0]]
    assert layers.moved([1.0, 2.0, 3.0]) == [[2.0], [1.0], [2.0], [3.0], [2.0, 3.0]]
    layers.corners_mL = [2.0, 5.0]
    assert layers.moved([1.0, 2.0, 5.0, 6.0]) == [[2.0, 5.0], [2.0, 5.0], [2.0, 6.0]]
    assert [Layers(1).at(each) for each in (1.0, 9.0)] == [0, 0]
    assert not Layers(1).unassigned([1.0])
