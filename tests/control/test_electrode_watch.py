"""Rails and answers, reading by reading; the limits are the module's own stated ones."""

import pytest

from titrator.control.electrode_watch import ElectrodeExpectation, ElectrodeWatch
from titrator.control.ends import Cause, PotentialBeyond
from titrator.control.point import Point


def watch(low_mV=-2000.0, high_mV=2000.0, **words):
    return ElectrodeWatch(ElectrodeExpectation(150.0, 480.0, 0.5, 0.25, low_mV, high_mV, **words))


def point(number, volume_mL, potential_mV, sd_mV=0.01):
    return Point(number, 10.0 * number, volume_mL, potential_mV, sd_mV, 0.0, 0.0, 0.0, 0.0, 0.0, True, 10.0, 50)


@pytest.mark.parametrize(("low_mV", "high_mV"), [(-2000, 2000), (0, 2000), (200, 1500), (-1500, -200), (-2000, 0)])
def test_both_ends_of_any_range_are_rails(low_mV, high_mV):
    inside_mV = 0.01 * (high_mV - low_mV)
    for end_mV, inner_mV in ((low_mV, low_mV + inside_mV), (high_mV, high_mV - inside_mV)):
        told = watch(low_mV, high_mV)
        assert [told.add_reading(end_mV) for _ in range(9)] == [None] * 9
        assert told.add_reading(end_mV).cause is Cause.ELECTRODE
        within = watch(low_mV, high_mV)
        assert all(within.add_reading(inner_mV) is None for _ in range(50))


def test_readings_at_a_rail_count_in_a_row_only():
    told = watch()
    for _ in range(20):
        assert all(told.add_reading(2000.0) is None for _ in range(9))
        assert told.add_reading(400.0) is None


def test_a_slow_drift_is_no_answer():
    # 2 mV are 140 standard errors of the two averages, but no more than 8 times the noise of one reading.
    told = watch()
    assert told.add_point(point(0, 0.0, 300.0)) is None
    assert told.add_point(point(1, 0.3, 302.0)) is None
    assert "changed by only" in told.add_point(point(2, 0.6, 302.0)).sentence


def test_tens_of_millivolts_are_an_answer():
    told = watch()
    assert told.add_point(point(0, 0.0, 300.0)) is None
    assert told.add_point(point(1, 0.1, 330.0)) is None
    assert told.add_point(point(2, 0.9, 300.0)) is None


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_an_end_by_potential_lies_in_the_direction_of_the_limit(sign):
    end = PotentialBeyond(sign * 700.0)
    assert end.add_point(point(0, 0.0, sign * 300.0)) is None
    assert end.add_point(point(1, 1.0, sign * 690.0)) is None
    assert end.add_point(point(2, 2.0, sign * 710.0)).cause is Cause.POTENTIAL


@pytest.mark.parametrize(
    ("indicator", "direction", "start_mV", "named", "not_named"),
    [
        ("platinum", "rising", 900.0, "already oxidised", "swapped"),
        ("platinum", "falling", 100.0, "already reduced", "swapped"),
        ("platinum", "rising", 100.0, "swapped", "oxidised"),
        ("glass", "falling", 100.0, "used up already", "oxid"),
        ("glass", "falling", 900.0, "buffers", "oxid"),
        ("silver", "rising", 900.0, "halide", "oxid"),
        ("calcium-ion", "falling", 100.0, "conditioned", "oxid"),
        ("copper-ion", "falling", 900.0, "copper", "oxid"),
        ("another kind", "unknown", 900.0, "another reference electrode", "oxid"),
    ],
)
def test_likely_causes_fit_the_electrode_and_the_direction(indicator, direction, start_mV, named, not_named):
    told = watch(indicator=indicator, direction=direction).add_point(point(0, 0.0, start_mV)).sentence
    assert named in told
    assert not_named not in told
    silent = watch(indicator=indicator, direction=direction)
    assert silent.add_point(point(0, 0.0, 300.0)) is None
    told = silent.add_point(point(1, 0.6, 300.1)).sentence
    assert "burette empty" in told
    assert not told.endswith(("..", ";."))
