"""Curves as plain arrays: what is taken, what is refused, and what order means."""

import numpy as np
import pytest

from titrator.control.point import Point
from titrator.evaluate.curve import Curve, CurveError


def test_lists_are_taken_and_become_read_only_arrays():
    curve = Curve([1, 2], [300, 310], "mV")
    assert curve.volume_mL.dtype == np.float64
    with pytest.raises(ValueError, match="read-only"):
        curve.volume_mL[0] = 5.0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (([1.0, 2.0], [300.0], "mV"), "signal: 2 values"),
        (([[1.0], [2.0]], [300.0, 301.0], "mV"), "volume_mL: one dimension"),
        (([1.0, np.nan], [300.0, 301.0], "mV"), "finite numbers expected, nan came at index 1"),
        (([1.0, 2.0], [300.0, np.inf], "mV"), "inf came at index 1"),
        (([1.0, 2.0], [300.0, 301.0], "V"), "'V' came"),
        (([1.0, 2.0], [300.0, 301.0], "mV", [0.1, -0.1]), "sd_signal: values >= 0"),
        (([1.0, 2.0], [300.0, 301.0], "mV", None, [True]), "settled: 2 values"),
    ],
)
def test_what_is_no_curve_is_refused_with_a_reason(arguments, told):
    with pytest.raises(CurveError, match=told):
        Curve(*arguments)


def test_order_and_mean_of_repeated_volumes():
    curve = Curve(
        [2.0, 1.0, 2.0, 3.0],
        [20.0, 10.0, 24.0, 30.0],
        "mV",
        sd_signal=[0.3, 0.1, 0.4, 0.1],
        settled=[True, True, False, True],
        remainder_bound=[0.1, 0.0, 0.5, 0.2],
    )
    assert (curve.steps_back, curve.repeats) == (1, 1)
    ordered = curve.in_order()
    assert ordered.volume_mL.tolist() == [1.0, 2.0, 3.0]
    assert ordered.signal.tolist() == pytest.approx([10.0, 22.0, 30.0])
    assert ordered.sd_signal.tolist() == pytest.approx([0.1, 0.25, 0.1])  # sqrt(0.3² + 0.4²)/2
    assert ordered.not_settled.tolist() == [False, True, False]
    assert ordered.remainder_bound.tolist() == [0.0, 0.5, 0.2]


def test_a_curve_of_logged_points():
    points = [
        Point(k, 10.0 * k, 0.1 * k, 400.0 + k, 0.05, 0.0, 0.01, 0.2, 0.1, 0.02, k != 2, 9.0, 90) for k in range(4)
    ]
    curve = Curve.from_points(points)
    assert curve.signal_unit == "mV"
    assert curve.volume_mL.tolist() == pytest.approx([0.0, 0.1, 0.2, 0.3])
    assert curve.not_settled.tolist() == [False, False, True, False]
    assert len(Curve.from_points([])) == 0


def test_readings_at_rest():
    """What a settling curve tells is added; what it leaves open is the bound, but not of a reading not settled.

    By hand: a quarter and three hundredths of 0.2 mV are 0.056 mV; the sd is the root of 0.05² + 0.01², 0.05099 mV.
    """
    points = [Point(k, 10.0 * k, 0.1 * k, 400.0, 0.05, 0.0, 0.01, 0.3, 0.2, 0.01, k != 2, 9.0, 90) for k in range(3)]
    rest = Curve.from_points(points).at_rest()
    assert rest.signal.tolist() == pytest.approx([400.2] * 3)
    assert rest.remainder_bound.tolist() == pytest.approx([0.056, 0.056, 0.3])
    assert rest.sd_signal.tolist() == pytest.approx([0.0509902, 0.0509902, 0.05])
    again = rest.at_rest()
    assert again.signal.tolist() == rest.signal.tolist()


def test_readings_of_elsewhere_are_at_rest_already():
    curve = Curve([1.0, 2.0], [400.0, 410.0], "mV")
    assert curve.at_rest() is curve
