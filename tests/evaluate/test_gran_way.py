"""Gran's lines beside the other ways, and as estimates; curves of exact balances (titration_curves.py)."""

from dataclasses import replace

import numpy as np
import pytest
from titration_curves import measured, redox_mV, weak_acid_ph

from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.gran_way import gran_kind

VE_mL = 10.07
VOLUME = np.arange(0.3, 15.0, 0.3)
IRON = Expectation.of_redox(
    analyte_potential_mV=470.0, titrant_potential_mV=1230.0, nernst_slope_mV=25.26, sd_volume_mL=0.003
)
ACETIC = Expectation(
    points_sought=1, model="acid", sd_volume_mL=0.003, vessel_mL=50.0, titrant_mol_per_L=0.1, rising=False
)


def iron(volume=VOLUME, seed=1):
    signal = measured(lambda v: redox_mV(v, equivalence_mL=VE_mL, slope_mV=24.6), volume, seed, 0.003, 0.2)
    return Curve(volume, signal, "mV", np.full(len(volume), 0.2))


def acetic(volume=VOLUME, seed=1):
    signal = measured(lambda v: weak_acid_ph(v, equivalence_mL=VE_mL), volume, seed, 0.003, 0.005)
    return Curve(volume, signal, "pH", np.full(len(volume), 0.005))


def gran_of(evaluation):
    (way,) = (way for way in evaluation.by_method if way.name == "gran")
    return way


@pytest.mark.parametrize(("make", "expectation"), [(iron, IRON), (acetic, ACETIC)])
def test_the_lines_stand_beside_the_other_ways(make, expectation):
    """The balance is exact: 10.07 mL. u holds 0.1 % of what a line does not see (rectangular)."""
    for seed in range(5):
        evaluation = find_equivalence_points(make(seed=seed), expectation)
        way = gran_of(evaluation)
        assert way.volume_mL == pytest.approx(VE_mL, abs=3.0 * way.u_mL)
        assert way.u_mL >= 0.001 * VE_mL / np.sqrt(3.0) * 0.99
        assert not any("Gran" in text for text in evaluation.warnings)


def test_without_a_method_the_way_has_its_reason():
    way = gran_of(find_equivalence_points(iron()))
    assert way.volume_mL is None
    assert "a method tells it" in way.reason


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"titrant_slope_sd_mV": 7.0, "analyte_slope_sd_mV": 7.0}, "slowly"),
        ({"model": "exchange"}, "another metal"),
        ({"model": "acid", "sites": 3}, "several protons"),
        ({"model": None}, "not known"),
    ],
)
def test_where_no_line_is_straight_the_reason_is_told(change, reason):
    kind, told = gran_kind(replace(IRON, **change))
    assert kind is None
    assert reason in told


@pytest.mark.parametrize(("make", "expectation"), [(iron, IRON), (acetic, ACETIC)])
def test_a_titration_stopped_too_early_gives_an_estimate(make, expectation):
    evaluation = find_equivalence_points(make(VOLUME[VOLUME < 10.0]), expectation)
    assert evaluation.equivalence_points == ()
    (line,) = (each for each in evaluation.estimates if each.found_by == "gran-before")
    assert line.volume_mL > 9.9
    assert line.interval_95_mL[0] < VE_mL < line.interval_95_mL[1]
    assert line.reason.startswith("extrapolated")
    assert any("branch behind the jump is missing" in text for text in evaluation.warnings)


def test_without_a_method_one_branch_says_nothing():
    assert find_equivalence_points(acetic(VOLUME[VOLUME < 9.8])).estimates == ()


@pytest.mark.parametrize(("make", "expectation"), [(iron, IRON), (acetic, ACETIC)])
def test_a_method_that_extrapolates_has_the_meeting_as_its_estimate(make, expectation):
    evaluation = find_equivalence_points(make(), replace(expectation, by_extrapolation=True))
    (estimate,) = evaluation.estimates
    assert estimate.found_by == "gran"
    assert estimate.interval_95_mL[0] < VE_mL < estimate.interval_95_mL[1]
    assert "as the method means to" in estimate.reason


def test_it_extrapolates_by_the_line_before_where_something_else_takes_titrant_behind():
    """Behind the point another reaction bends the branch: its slope there is a third of what it should be."""
    curve = iron()
    signal = np.where(curve.volume_mL > VE_mL, 1100.0 + (curve.signal - 1100.0) / 3.0, curve.signal)
    bent = Curve(VOLUME, signal, "mV", curve.sd_signal)
    evaluation = find_equivalence_points(bent, replace(IRON, by_extrapolation=True))
    first = evaluation.estimates[0]
    assert first.found_by == "gran-before"
    assert first.interval_95_mL[0] < VE_mL < first.interval_95_mL[1]


def test_the_function_stays_silent_for_a_weak_acid_called_strong():
    evaluation = find_equivalence_points(acetic(), replace(ACETIC, model="symmetric"))
    assert gran_of(evaluation).volume_mL is None
