"""The adaptive rule on curves of known form: E = c -/+ s·ln|D - V|, whose changes follow from the logarithm alone."""

import math

import pytest

from titrator.control.increments.adaptive import Adaptive, AdaptiveSettings, logarithmic_addition_mL
from titrator.control.point import Point

AIM_MV, S_MV, D_ML = 25.0, 25.7, 17.0


def potential_mV(volume_mL):
    side = 1.0 if volume_mL > D_ML else -1.0
    return 700.0 + side * S_MV * math.log(abs(D_ML - volume_mL))


@pytest.mark.parametrize("falling", [False, True])
@pytest.mark.parametrize("volumes", [(14.0, 15.0, 15.8), (16.5, 16.8, 16.9), (17.02, 17.05, 17.1), (17.3, 17.8, 19.0)])
def test_the_addition_changes_an_exactly_logarithmic_curve_by_the_aim(volumes, falling):
    sign = -1.0 if falling else 1.0
    points = [(volume, sign * potential_mV(volume)) for volume in volumes]
    addition_mL = logarithmic_addition_mL(points, AIM_MV, math.nan)
    change_mV = potential_mV(volumes[-1] + addition_mL) - potential_mV(volumes[-1])
    assert change_mV == pytest.approx(AIM_MV, rel=1e-6)


def after(points, sd_mV=0.0, random_error_mL=0.0):
    rule = Adaptive(AdaptiveSettings(AIM_MV, 0.1, 0.02, 5.0, 20.0), random_error_mL)
    for number, (volume_mL, mV) in enumerate(points):
        rule.add_point(Point(number, 0.0, volume_mL, mV, sd_mV, 0.0, 0.0, 0.0, 0.0, 0.0, True, 10.0, 50))
    return rule.next_step().addition_mL


STEEPENING = [(1.0, 400.0), (1.1, 400.2), (1.2, 401.0)]


def test_noise_that_looks_like_a_steepening_curve_makes_no_small_additions():
    assert after(STEEPENING) < 0.5
    assert after(STEEPENING, sd_mV=1.0) == pytest.approx(2.0)  # growth of 20 on 0.1 mL: nothing is known of the slope


def test_nor_does_a_volume_that_is_not_known():
    assert after(STEEPENING, random_error_mL=0.001) < 0.5
    assert after(STEEPENING, random_error_mL=0.06) == pytest.approx(2.0)


@pytest.mark.parametrize("last_mV", [400.0, 403.0])
def test_a_change_within_its_noise_gives_no_slope_to_go_by(last_mV):
    # 3 mV in 0.1 mL would ask for 0.83 mL; with 3·√2 mV of noise they may as well be none.
    assert after([(1.0, 400.0), (1.1, last_mV)], sd_mV=3.0) == pytest.approx(2.0)
