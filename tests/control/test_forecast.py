"""The forecast against the curve it is derived from: Nernst's equation for one couple, E = E0 + (RT/F)·ln(V/(Ve - V)).

RT/F at 20 °C is 25.26 mV (CODATA 2018 constants).
"""

import math

import pytest
from plans import FixedSettings, plan

from titrator.control.forecast import Forecast
from titrator.control.point import Point

SLOPE_MV = 25.26


def point(number, volume_mL, potential_mV):
    return Point(number, 20.0 * number, volume_mL, potential_mV, 0.02, 0.0, 0.01, 0.1, 0.05, 0.01, True, 18.0, 180)


def nernst_mV(volume_mL, at_mL):
    return 470.0 + SLOPE_MV * math.log(volume_mL / (at_mL - volume_mL))


@pytest.mark.parametrize("at_mL", [12.0, 17.0, 22.0])
@pytest.mark.parametrize("rising", [1, -1])
def test_foresees_the_equivalence_volume_from_three_quarters_of_the_way_on(at_mL, rising):
    forecast = Forecast(plan())
    for number in range(1, int(0.75 * at_mL) + 1):
        forecast.add_point(point(number, float(number), rising * nernst_mV(float(number), at_mL)))
    foreseen = forecast.foreseen
    assert foreseen is not None
    assert foreseen.jump_mL == pytest.approx(at_mL, rel=0.02)  # chords instead of tangents: their difference, no more
    assert foreseen.left_s > 0.0


def test_counts_the_additions_of_a_fixed_rule():
    forecast = Forecast(plan(additions=FixedSettings(0.5)))
    for number in range(1, 21):
        forecast.add_point(point(number, 0.5 * number, nernst_mV(0.5 * number, 14.0)))
    assert forecast.foreseen is not None
    # From 10 mL to 14 mL there are 8 additions of 0.5 mL, and the plan wants 6 points behind the jump.
    assert forecast.foreseen.points == pytest.approx(8 + 6 + 1, abs=1)


def test_a_straight_line_has_no_jump_to_foresee():
    forecast = Forecast(plan())
    for number in range(1, 20):
        forecast.add_point(point(number, float(number), 300.0 + 5.0 * number))
        assert forecast.foreseen is None


def test_a_blank_seeks_no_jump_and_a_jump_beyond_the_limit_is_none():
    for changes, at_mL in (({"jumps_sought": 0}, 12.0), ({"volume_above_mL": 10.0}, 15.0)):
        forecast = Forecast(plan(**changes))
        for number in range(1, int(0.8 * at_mL)):
            forecast.add_point(point(number, float(number), nernst_mV(float(number), at_mL)))
        assert forecast.foreseen is None


def test_behind_the_jump_the_points_still_wanted_are_counted_down():
    forecast = Forecast(plan())
    told = []
    volumes_mL = (*range(1, 12), 11.5, 11.9, 11.99, 12.01, 12.1, 12.5, 13, 14, 15, 16, 17, 18)
    for number, volume_mL in enumerate(volumes_mL):
        below = volume_mL < 12.0
        potential_mV = nernst_mV(volume_mL, 12.0) if below else 1230.0 + SLOPE_MV * math.log((volume_mL - 12.0) / 12.0)
        forecast.add_point(point(number, float(volume_mL), potential_mV))
        told.append(forecast.foreseen)
    behind = [each.points for each in told if each is not None and each.jump_mL is None]
    assert behind
    assert behind == sorted(behind, reverse=True)
    assert behind[-1] < behind[0]


def test_a_second_reading_at_the_same_volume_changes_nothing():
    forecast = Forecast(plan())
    for number in range(1, 10):
        forecast.add_point(point(number, float(number), nernst_mV(float(number), 12.0)))
    before = forecast.foreseen
    assert before is not None
    forecast.add_point(point(10, 9.0, nernst_mV(9.0, 12.0) + 1.0))
    assert forecast.foreseen == before
