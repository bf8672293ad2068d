"""The scalar law against the vectorised models of the evaluation, and its own derivatives against differences."""

import math

import numpy as np
import pytest

from titrator.chemistry.acids import ACETIC, PHOSPHORIC
from titrator.control.foresight.estimate import Beforehand, Datum, Estimate
from titrator.control.foresight.law import Branch, Carried, Kind, Law
from titrator.control.foresight.normal import decomposed, inverse, solved
from titrator.evaluate.whole_curve_acid_base import AcidBaseCurve
from titrator.evaluate.whole_curve_edta import NO_FLOOR, MetalCurve
from titrator.evaluate.whole_curve_redox import RedoxCurve
from titrator.evaluate.whole_curve_silver import SilverCurve

LN_10 = math.log(10.0)
SLOPE_mV = 24.63


def law_volumes(law, signal, amounts_mL):
    places = [branch.place_mV for branch in law.branches]
    slopes = [branch.slope_mV for branch in law.branches]
    volumes = [law.place(y, amounts_mL, places, slopes).volume_mL for y in signal]
    assert [law.volume_mL(y, amounts_mL, places, slopes) for y in signal] == volumes, "to the last digit"
    return np.array(volumes)


@pytest.mark.parametrize("electrons", [(1, 1), (2, 1), (1, 5)])
def test_redox_law_equals_the_vectorised_model(electrons):
    signal = np.linspace(350.0, 1150.0, 81)
    model = RedoxCurve(1, electrons, (False, False))
    expected = model.volume_mL(signal, np.array([17.0, 470.0, 1230.0, SLOPE_mV, 0.0]))
    law = Law(
        (
            Branch(Kind.BOUND, 470.0, 17.0, SLOPE_mV / electrons[0]),
            Branch(Kind.COUPLE, 1230.0, 17.0, SLOPE_mV / electrons[1]),
        ),
        50.0,
    )
    assert law_volumes(law, signal, [17.0]) == pytest.approx(expected, rel=1e-12)


def test_two_analytes_of_one_titrant():
    signal = np.linspace(-150.0, 1200.0, 136)
    model = RedoxCurve(2, (2, 1, 1), (False, False, False))
    expected = model.volume_mL(signal, np.array([6.0, 14.0, -60.0, 470.0, 1230.0, SLOPE_mV, 0.0]))
    law = Law(
        (
            Branch(Kind.BOUND, -60.0, 150.0, SLOPE_mV / 2, 0),
            Branch(Kind.BOUND, 470.0, 17.0, SLOPE_mV, 1),
            Branch(Kind.COUPLE, 1230.0, 17.0, SLOPE_mV, 1),
        ),
        50.0,
    )
    assert law_volumes(law, signal, [6.0, 8.0]) == pytest.approx(expected, rel=1e-12)


def place_mV(pH: float) -> float:
    return SLOPE_mV * LN_10 * (pH - 7.0)


CARBONATE = Carried((place_mV(6.352), place_mV(10.329)), SLOPE_mV, 0.005, idle=True)
"""pK of carbonic acid as the model has them."""


def acetic_acid():
    return Law(
        (
            Branch(Kind.FREE, place_mV(1.0), 9.0, SLOPE_mV),
            Branch(Kind.BOUND, place_mV(4.76), 9.0, SLOPE_mV),
            Branch(Kind.EXCESS, place_mV(13.0), 9.0, SLOPE_mV),
        ),
        50.0,
        CARBONATE,
    )


def phosphoric_acid():
    return Law(
        (
            Branch(Kind.FREE, place_mV(1.0), 9.0, SLOPE_mV),
            Branch(Kind.BOUND, place_mV(2.15), 9.0, SLOPE_mV, 0),
            Branch(Kind.BOUND, place_mV(7.2), 9.0, SLOPE_mV, 1),
            Branch(Kind.BOUND, place_mV(12.35), 9.0, SLOPE_mV, 1),
            Branch(Kind.EXCESS, place_mV(13.0), 9.0, SLOPE_mV, 1),
        ),
        50.0,
        CARBONATE,
    )


def test_weak_acid_equals_the_vectorised_model_without_activity_coefficients():
    signal = np.linspace(place_mV(3.2), place_mV(12.0), 60)
    model = AcidBaseCurve(1, True, ACETIC, 1, 0.1, 0.0, 0.0, False, False)
    expected = model.volume_mL(signal, np.array([14.0, 0.0, SLOPE_mV, 50.0, 14.0, 4.76, 0.0]))
    law = Law(acetic_acid().branches, 50.0)
    assert law_volumes(law, signal, [14.0]) == pytest.approx(expected, rel=1e-9)


def test_acid_of_three_protons_whose_steps_lie_far_apart():
    """The law takes each proton by itself; the model's pool couples them, by pKa so far apart a millionth or less."""
    signal = np.linspace(place_mV(2.0), place_mV(11.5), 60)
    model = AcidBaseCurve(2, True, PHOSPHORIC, 1, 0.1, 0.0, 0.0, False, False)
    expected = model.volume_mL(signal, np.array([6.0, 12.0, 0.0, SLOPE_mV, 50.0, 14.0, 2.15, 7.2, 12.35]))
    law = Law(phosphoric_acid().branches, 50.0)
    assert law_volumes(law, signal, [6.0, 6.0]) == pytest.approx(expected, abs=2e-4)


def carrying(law, signal, amounts_mL, share):
    places = [*(branch.place_mV for branch in law.branches), *CARBONATE.places_mV]
    slopes = [SLOPE_mV] * len(places)
    return np.array([law.place(y, amounts_mL, places, slopes, share).volume_mL for y in signal])


def test_base_that_carries_carbonate_equals_the_vectorised_model():
    signal = np.linspace(place_mV(3.2), place_mV(11.5), 60)
    model = AcidBaseCurve(1, True, ACETIC, 1, 0.1, 0.0, 0.0, True, False, (True,))
    expected = model.volume_mL(signal, np.array([14.0, 0.0, SLOPE_mV, 50.0, 14.0, 4.76, 0.0, 0.004]))
    assert carrying(acetic_acid(), signal, [14.0], 0.004) == pytest.approx(expected, abs=2e-5)


def test_carbonate_between_two_points_equals_the_vectorised_model():
    """From the first point on: before it the model's one pool leaves a trace of strong acid, κ/2 of the last point."""
    signal = np.linspace(place_mV(5.0), place_mV(11.5), 60)
    model = AcidBaseCurve(2, True, PHOSPHORIC, 1, 0.1, 0.0, 0.0, True, False, (False, True))
    x = np.array([6.0, 12.0, 0.0, SLOPE_mV, 50.0, 14.0, 2.15, 7.2, 12.35, 0.004])
    assert carrying(phosphoric_acid(), signal, [6.0, 6.0], 0.004) == pytest.approx(model.volume_mL(signal, x), abs=3e-4)


def test_nothing_carried_is_the_law_without_it():
    signal = np.linspace(place_mV(3.2), place_mV(12.0), 60)
    assert carrying(acetic_acid(), signal, [14.0], 0.0) == pytest.approx(
        law_volumes(Law(acetic_acid().branches, 50.0), signal, [14.0]), rel=1e-12
    )


@pytest.mark.parametrize("log_Ksp", [(-9.75,), (-16.08, -9.75)])
def test_silver_with_one_and_with_two_halides(log_Ksp):
    points = len(log_Ksp)
    electrode_mV, c_T = 590.0, 0.1
    signal = np.linspace(electrode_mV - 780.0 if points > 1 else electrode_mV - 500.0, electrode_mV - 90.0, 90)
    model = SilverCurve(points, c_T, ("I-", "Cl-")[-points:])
    amounts = [6.0, 8.0][-points:]
    expected = model.volume_mL(signal, np.array([*np.cumsum(amounts), electrode_mV, SLOPE_mV, 50.0, *log_Ksp]))
    free = [
        Branch(Kind.FREE, electrode_mV + SLOPE_mV * (LN_10 * each - math.log(c_T)), 9.0, SLOPE_mV, number)
        for number, each in enumerate(log_Ksp)
    ]
    law = Law((*free, Branch(Kind.EXCESS, electrode_mV + SLOPE_mV * math.log(c_T), 9.0, SLOPE_mV, points - 1)), 50.0)
    inside = expected > 0.01  # before the first solid the model has a branch of its own
    assert np.count_nonzero(inside) > 40
    assert law_volumes(law, signal[inside], amounts) == pytest.approx(expected[inside], rel=1e-9)


def test_edta_with_an_electrode_of_the_metal():
    signal = np.linspace(20.0, 130.0, 40)
    half_mV = SLOPE_mV / 2
    model = MetalCurve(0.05)
    expected = model.volume_mL(signal, np.array([9.0, 0.0, half_mV, 60.0, 8.0, NO_FLOOR]))
    law = Law(
        (
            Branch(Kind.FREE, -half_mV * math.log(0.05), 9.0, half_mV),
            Branch(Kind.COUPLE, half_mV * LN_10 * 8.0, 9.0, half_mV),
        ),
        60.0,
    )
    inside = (expected > 0.0) & (expected < 30.0)
    assert law_volumes(law, signal[inside], [9.0]) == pytest.approx(expected[inside], rel=1e-6)


@pytest.mark.parametrize("law", [acetic_acid(), phosphoric_acid()], ids=["one point", "two points"])
def test_gradient_of_what_is_carried_equals_differences(law):
    estimate = estimate_of(law, (6.0,) * law.amounts)
    estimate.x[-2] = 0.003
    for y_mV in np.linspace(place_mV(3.0), place_mV(11.5), 23):
        place = estimate.at(y_mV)
        found = estimate.gradient(Datum(1.0, y_mV, 0.1), place, estimate.amounts_mL(), estimate.lines())
        along = (estimate.at(y_mV + 1e-3).volume_mL - estimate.at(y_mV - 1e-3).volume_mL) / 2e-3
        assert place.slope_mL_per_mV == pytest.approx(along, rel=1e-5)
        for k, value in enumerate(estimate.x[:-1]):
            ends = []
            for side in (1e-5, -1e-5):
                estimate.x[k] = value + side
                ends.append(estimate.at(y_mV).volume_mL)
            estimate.x[k] = value
            assert found[k] == pytest.approx((ends[0] - ends[1]) / 2e-5, rel=1e-4, abs=1e-6)


def estimate_of(law, amounts=(17.0,)):
    return Estimate(law, Beforehand(amounts, (0.8,) * len(amounts), 5.0, 0.015, 4.5, 0.4, 0.001))


def iron():
    return Law((Branch(Kind.BOUND, 470.0, 17.0, SLOPE_mV), Branch(Kind.COUPLE, 1230.0, 17.0, SLOPE_mV)), 50.0)


@pytest.mark.parametrize("y_mV", [380.0, 520.0, 850.0, 1150.0])
def test_gradient_equals_differences(y_mV):
    """Central differences of the law itself."""
    estimate = estimate_of(iron())
    datum = Datum(10.0, y_mV, 0.3, 0.16)
    found = estimate.gradient(datum, estimate.at(y_mV), estimate.amounts_mL(), estimate.lines())
    for k in range(len(estimate.x)):
        before = estimate.x[k]
        step = 1e-5 * max(estimate.prior_sd[k], 1e-3)
        ends = []
        for side in (1.0, -1.0):
            estimate.x[k] = before + side * step
            ends.append(estimate.predicted_mL(datum)[0])
        estimate.x[k] = before
        assert found[k] == pytest.approx((ends[0] - ends[1]) / (2.0 * step), rel=1e-5, abs=1e-9)


def test_the_fit_finds_where_exact_points_come_from():
    law = iron()
    truth, places, slopes = [14.2466], [455.0, 1243.0], [SLOPE_mV * 0.985] * 2
    data = []
    for y_mV in (420.0, 500.0, 560.0, 620.0, 700.0, 950.0, 1050.0, 1110.0):
        data.append(Datum(law.place(y_mV, truth, places, slopes).volume_mL, y_mV, 0.05))
    estimate = estimate_of(law)
    estimate.fit(data)
    assert estimate.points_mL()[0] == pytest.approx(14.2466, abs=2e-4)
    assert estimate.point_sd_mL(0) < 0.001
    assert estimate.misfit < len(data)


def test_normal_equations_against_numpy():
    """Outside check: numpy.linalg."""
    rng = np.random.default_rng(7)
    square = rng.normal(size=(6, 6))
    matrix = square @ square.T + 0.1 * np.eye(6)
    right = rng.normal(size=6)
    lower = decomposed([list(row[: k + 1]) for k, row in enumerate(matrix)])
    assert solved(lower, list(right)) == pytest.approx(np.linalg.solve(matrix, right), rel=1e-9)
    assert np.array(inverse(lower)) == pytest.approx(np.linalg.inv(matrix), rel=1e-8)
    with pytest.raises(ValueError, match="row 1"):
        decomposed([[1.0], [2.0, 1.0]])
