"""Curves that our engine did not make. Their sources stand in data/README.md, or beside the check."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from family_curves import FAMILIES, REFERENCE_mV, method_like

from titrator.evaluate.csv_file import read_csv
from titrator.evaluate.curve import Curve
from titrator.evaluate.derivative import first_derivative
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.evaluation import Evaluation
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.second_derivative import second_differences, zero_beside
from titrator.run.expectations import expectation_of

DATA = Path(__file__).parent / "data"


def curve_of(name: str) -> Curve:
    return read_csv(DATA / f"{name}.csv")


def only_point(evaluation: Evaluation):
    assert len(evaluation.equivalence_points) == 1, evaluation.warnings
    return evaluation.equivalence_points[0]


def test_chloride_difference_quotients_are_the_tabulated_ones():
    """Columns 3 and 4 of the textbook's table, as remembered; every printed digit comes out of its volumes."""
    curve = curve_of("chloride_with_silver")
    derivative = first_derivative(curve.volume_mL, curve.signal / 1000.0)
    shown = {24.15: 0.11, 24.25: 0.39, 24.35: 0.83, 24.45: 0.24, 24.55: 0.11}
    for volume_mL, slope in shown.items():
        k = int(np.argmin(np.abs(derivative.volume_mL - volume_mL)))
        assert derivative.volume_mL[k] == pytest.approx(volume_mL, abs=1e-9)
        assert derivative.slope[k] == pytest.approx(slope, abs=0.005)
    second = second_differences(derivative)
    for volume_mL, value in {24.20: 2.8, 24.30: 4.4, 24.40: -5.9, 24.50: -1.3, 24.60: -0.4}.items():
        k = int(np.argmin(np.abs(second.volume_mL - volume_mL)))
        assert second.volume_mL[k] == pytest.approx(volume_mL, abs=1e-9)
        assert second.value[k] == pytest.approx(value, abs=0.05)


def test_chloride_second_difference_zero():
    """Linear interpolation between 4.4 at 24.30 and -5.9 at 24.40 mL (the table's own figures): 24.343 mL."""
    curve = curve_of("chloride_with_silver")
    derivative = first_derivative(curve.volume_mL, curve.signal)
    steepest = int(np.argmax(derivative.slope))
    zero = zero_beside(second_differences(derivative), steepest)
    assert zero == pytest.approx(24.30 + 0.10 * 4.4 / (4.4 + 5.9), abs=0.0005)


def test_chloride_is_nearer_to_the_amounts_than_its_largest_derivative():
    """2.433 mmol / 0.1000 mol/L = 24.33 mL; the largest difference quotient stands at 24.35 mL."""
    curve = curve_of("chloride_with_silver")
    evaluation = find_equivalence_points(curve)
    point = only_point(evaluation)
    derivative = first_derivative(curve.volume_mL, curve.signal)
    by_derivative = derivative.volume_mL[np.argmax(derivative.slope)]
    assert point.volume_mL == pytest.approx(24.33, abs=0.03)
    assert abs(point.volume_mL - 24.33) < abs(by_derivative - 24.33)
    assert point.interval_95_mL[0] < 24.33 < point.interval_95_mL[1]
    assert point.interval_95_mL[1] - point.interval_95_mL[0] < 0.1, "no wider than the steps it was measured with"


@pytest.mark.parametrize("last_mL", [24.2, 24.3, 24.4])
def test_chloride_with_the_branch_behind_cut_off_is_refused(last_mL):
    curve = curve_of("chloride_with_silver")
    evaluation = find_equivalence_points(curve.chosen(curve.volume_mL <= last_mL + 1e-9))
    assert evaluation.equivalence_points == ()
    assert any("branch behind the jump is missing" in text for text in evaluation.warnings)


@pytest.mark.parametrize("first_mL", [24.3, 24.4])
def test_chloride_with_the_branch_before_cut_off_is_refused(first_mL):
    curve = curve_of("chloride_with_silver")
    evaluation = find_equivalence_points(curve.chosen(curve.volume_mL >= first_mL - 1e-9))
    assert evaluation.equivalence_points == ()
    assert any("branch before a jump is missing" in text for text in evaluation.warnings)


def test_chloride_with_a_hole_where_the_jump_was_gets_an_interval_as_wide_as_the_hole():
    curve = curve_of("chloride_with_silver")
    hole = (curve.volume_mL < 23.9) | (curve.volume_mL > 24.9)
    evaluation = find_equivalence_points(curve.chosen(hole))
    point = only_point(evaluation)
    assert point.interval_95_mL[0] <= 23.8
    assert point.interval_95_mL[1] >= 25.0
    assert point.u_random_mL >= (25.0 - 23.8) / np.sqrt(12.0)
    assert any(text.startswith("coarse") for text in evaluation.warnings)


def test_weak_acid():
    """Harvey (2000), Table 9.5; no value is stated there, ours by second difference and fit: 15.68 ± 0.06 mL."""
    point = only_point(find_equivalence_points(curve_of("weak_acid")))
    assert point.volume_mL == pytest.approx(15.68, abs=0.06)
    assert 15.60 < point.interval_95_mL[0] < point.interval_95_mL[1] < 15.80


def test_small_jump_of_a_class():
    """3.7 mL stated in the class report; the readings stand 0.2 mL apart."""
    point = only_point(find_equivalence_points(curve_of("iron_with_dichromate_class")))
    assert point.volume_mL == pytest.approx(3.7, abs=0.1)
    assert point.interval_95_mL[0] < 3.7 < point.interval_95_mL[1]
    assert point.u_random_mL > 0.02


def test_noisy_strong_acid_of_a_class():
    """None stated; ours 25.1 ± 0.25 mL, the readings stand 0.5 mL apart."""
    point = only_point(find_equivalence_points(curve_of("strong_acid_noisy_class")))
    assert point.volume_mL == pytest.approx(25.1, abs=0.25)
    assert point.u_random_mL > 0.05


def test_two_steps_of_seawater():
    """Falling pH. By the amounts 0.167 (carbonate) and 1.633 (hydrogen carbonate); the first step is shallow."""
    evaluation = find_equivalence_points(curve_of("seawater_alkalinity_computed"), Expectation(points_sought=2))
    first, second = evaluation.equivalence_points
    assert first.interval_95_mL[0] < 0.167 < first.interval_95_mL[1]
    assert first.volume_mL == pytest.approx(0.167, abs=0.01)
    assert second.interval_95_mL[0] < 1.633 < second.interval_95_mL[1]
    assert second.volume_mL == pytest.approx(1.633, abs=0.005)


def test_without_a_method_the_shallow_step_of_seawater_is_only_mentioned():
    evaluation = find_equivalence_points(curve_of("seawater_alkalinity_computed"))
    assert only_point(evaluation).volume_mL == pytest.approx(1.633, abs=0.005)
    assert any("shallow jump near 0.175 mL" in text for text in evaluation.warnings)


def test_iron_with_cerium_table():
    """Harvey (2000), Table 9.17: 50.0 mL of 0.100 mol/L iron(II), 0.100 mol/L cerium(IV); potentials in V (SHE).

    Steps of 5 mL with one reading, 1.23 V, exactly at the equivalence point of 50.0 mL.
    """
    volts = (
        "0.711 0.731 0.745 0.757 0.767 0.777 0.789 0.803 0.823 1.23 1.64 1.66 1.67 1.68 1.68 1.69 1.69 1.69 1.70 1.70"
    )
    signal = np.array([1000.0 * float(each) for each in volts.split()])
    evaluation = find_equivalence_points(Curve(np.arange(5.0, 101.0, 5.0), signal, "mV"))
    point = only_point(evaluation)
    assert point.volume_mL == pytest.approx(50.0, abs=0.5)
    assert point.interval_95_mL[0] <= 45.0
    assert point.interval_95_mL[1] >= 55.0, "one reading on the jump: the interval is the gap"


def test_strong_acid_table():
    """Harvey (2000), Table 9.2: 50.00 mL of 0.100 mol/L HCl with 0.200 mol/L NaOH: 25.00 mL.

    Its heading's 0.0500 mol/L and the 12.50 at 30 mL are misprints (its own text has 12.10).
    """
    volume = np.array([0, 5, 10, 15, 20, 22, 24, 25, 26, 28, 30, 35, 40, 45, 50], dtype=float)
    ph = [1.00, 1.14, 1.30, 1.51, 1.85, 2.08, 2.57, 7.00, 11.42, 11.89, 12.10, 12.37, 12.52, 12.62, 12.70]
    point = only_point(find_equivalence_points(Curve(volume, np.array(ph), "pH")))
    assert point.volume_mL == pytest.approx(25.0, abs=0.05)
    assert point.interval_95_mL[0] < 25.0 < point.interval_95_mL[1]


def test_chloride_precipitation_table():
    """Harvey (2000), Table 9.21: 50.0 mL of 0.0500 mol/L chloride, 0.100 mol/L silver; pAg, 25.0 mL by the amounts."""
    volume = np.arange(5.0, 51.0, 5.0)
    pag = np.array([8.31, 8.14, 7.93, 7.60, 4.89, 2.20, 1.93, 1.78, 1.68, 1.60])
    point = only_point(find_equivalence_points(Curve(volume, pag, "pX")))
    assert point.volume_mL == pytest.approx(25.0, abs=0.25)
    assert point.interval_95_mL[0] <= 20.0
    assert point.interval_95_mL[1] >= 30.0


def test_unequal_electrons_tin_with_cerium():
    """Computed by us by bisection of the exact balance (no published check): equivalence at 50.00 mL.

    Sn(II)/Ce(IV) in 1 mol/L HCl, formal potentials 0.139 and 1.28 V, two electrons of tin against one of cerium.
    """
    volume = np.array([10, 25, 40, 49, 49.9, 50, 50.1, 51, 60, 75], dtype=float)
    volts = np.array([0.1212, 0.1390, 0.1568, 0.1890, 0.2188, 0.5193, 1.1203, 1.1795, 1.2386, 1.2622])
    expectation = Expectation.of_redox(
        analyte_potential_mV=139.0,
        titrant_potential_mV=1280.0,
        nernst_slope_mV=25.693,
        analyte_electrons=2,
        titrant_electrons=1,
    )
    point = only_point(find_equivalence_points(Curve(volume, 1000.0 * volts, "mV"), expectation))
    assert point.volume_mL == pytest.approx(50.0, abs=0.02)
    assert point.interval_95_mL[0] < 50.0 < point.interval_95_mL[1]
    assert point.potential_mV == pytest.approx(519.3, abs=2.0)


def expected_of(name: str, points: int | None = None) -> Expectation:
    """What a method of this reaction lets the evaluation expect (titrant 0.1 mol/L, 50 mL in the vessel)."""
    (curve,) = (each for each in FAMILIES if each.name == name)
    return replace(expectation_of(method_like(curve.reaction, points), None), vessel_mL=None, titrant_mol_per_L=None)


@pytest.mark.parametrize(
    ("name", "reaction", "truth_mL", "within_mL"),
    [
        ("chloride_with_silver", "chloride with silver", 24.33, 0.03),
        ("weak_acid", "acetic acid with hydroxide", 15.68, 0.06),
        ("strong_acid_noisy_class", "hydrochloric acid with hydroxide", 25.1, 0.3),
        ("iron_with_dichromate_class", "iron(II) with dichromate", 3.7, 0.1),
    ],
)
def test_with_the_method_that_belongs_to_it(name, reaction, truth_mL, within_mL):
    """The answers are those of the tests above; a stated model must not lead away from them."""
    point = only_point(find_equivalence_points(curve_of(name), expected_of(reaction)))
    assert point.volume_mL == pytest.approx(truth_mL, abs=within_mL)
    assert point.interval_95_mL[0] < truth_mL < point.interval_95_mL[1]


def test_seawater_with_a_method_of_two_points():
    """0.167 and 1.633 by the amounts; borate, sulfate and fluoride beside carbonate are no part of the model."""
    expectation = expected_of("carbonate and hydrogen carbonate with hydrochloric acid")
    evaluation = find_equivalence_points(curve_of("seawater_alkalinity_computed"), expectation)
    first, second = evaluation.equivalence_points
    assert first.volume_mL == pytest.approx(0.167, abs=0.02)
    assert second.volume_mL == pytest.approx(1.633, abs=0.01)
    assert second.interval_95_mL[0] < 1.633 < second.interval_95_mL[1]


def test_unequal_electrons_tin_with_cerium_as_a_slow_couple():
    """The table of tin(II) with cerium(IV) above (computed by us), now with tin's potential and slope left open."""
    volume = np.array([10, 25, 40, 49, 49.9, 50, 50.1, 51, 60, 75], dtype=float)
    volts = np.array([0.1212, 0.1390, 0.1568, 0.1890, 0.2188, 0.5193, 1.1203, 1.1795, 1.2386, 1.2622])
    expectation = expected_of("tin(II) with cerium(IV)")
    assert expectation.own_slopes
    point = only_point(find_equivalence_points(Curve(volume, 1000.0 * volts - REFERENCE_mV, "mV"), expectation))
    assert point.volume_mL == pytest.approx(50.0, abs=0.05)
    assert point.interval_95_mL[0] < 50.0 < point.interval_95_mL[1]
