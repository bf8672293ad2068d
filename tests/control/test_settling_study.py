"""A smaller run of the settling benchmark: 200 simulated settlements a class, on seeds of its own."""

import random

import pytest
from studies import study_module

from titrator.control.settling import verdict

benchmark = study_module("settling")

KINDS = {kind.name: kind for kind in benchmark.KINDS}


def study(name, count=200):
    found = [benchmark.settle(KINDS[name], random.Random(f"settling check {name} {k}")) for k in range(count)]
    return found, benchmark.summarise(found)


@pytest.mark.parametrize("name", ["white", "quantised"])
def test_bounds_hold_and_waits_are_short(name):
    found, summary = study(name)
    assert summary.held >= 98.5  # three of 200 may fail where one in a hundred is allowed for
    assert summary.potential_within_3_sd >= 98.5
    assert summary.too_late <= 5.0
    assert summary.median_bound <= 1.5
    assert summary.median_ratio <= 1.5
    assert all(s.logged.waited_s >= 3.0 for s in found)
    assert sum(s.remainder_mV > 0.3 * s.logged.remainder_bound_mV for s in found) >= 60  # bounds are not merely wide


@pytest.mark.parametrize("name", ["AR(1)", "AR(1) of 2 s"])
def test_bounds_hold_under_correlated_noise(name):
    _, summary = study(name)
    assert summary.held >= 98.0
    assert summary.potential_within_3_sd >= 98.0
    assert summary.too_late <= 10.0
    assert summary.median_ratio <= 2.0


def test_coarse_steps_do_not_break_the_bound():
    _, summary = study("quantised coarsely")
    assert summary.held >= 98.5


def test_the_study_notices_a_bound_that_leaves_out_the_error(monkeypatch):
    """The study can fail: without the standard error in the bound it does."""
    monkeypatch.setattr(verdict, "QUANTILE", 0.0)
    _, summary = study("white")
    assert summary.held < 90.0


def test_a_cell_with_mixing_and_a_changing_response_is_bounded_too():
    found = [
        benchmark.add_titrant(cell, random.Random(f"settling check addition {k}"))
        for cell in benchmark.CELLS[:3]
        for k in range(20)
    ]
    assert sum(a.remainder_mV <= a.logged.remainder_bound_mV for a in found) >= 59
    assert all(a.logged.settled for a in found)
