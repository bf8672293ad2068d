"""Sharing out runs, settings that no other beats, what a preference picks: pure arithmetic, checked by brute force."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from titrator.run.tune.budget import FEWEST, budget_of
from titrator.run.tune.choice import MEANS, Figures, finalists, picked, unbeaten
from titrator.run.tune.judge import Judged

figures = st.lists(
    st.builds(
        Figures,
        setting=st.just(0),
        runs=st.just(10),
        failures=st.sampled_from([(), (), (), ("run 1: 0 of 1 points found",)]),
        duration_s=st.integers(1, 30).map(float),
        additions=st.just(20.0),
        rms_uL=st.integers(1, 30).map(float),
        bias_uL=st.just(0.0),
        u_rms_uL=st.just(0.5),
        held=st.just(0.95),
    ),
    max_size=15,
).map(lambda each: [_numbered(one, number) for number, one in enumerate(each)])


def _numbered(figures, number):
    import dataclasses

    return dataclasses.replace(figures, setting=number)


def beats(one, other):
    return (
        one.duration_s <= other.duration_s
        and one.rms_uL <= other.rms_uL
        and (one.duration_s, one.rms_uL) != (other.duration_s, other.rms_uL)
    )


@given(figures)
def test_unbeaten_are_those_that_no_sound_one_beats(all_of_them):
    sound = [each for each in all_of_them if not each.failures]
    wanted = {(each.duration_s, each.rms_uL) for each in sound if not any(beats(other, each) for other in sound)}
    front = unbeaten(all_of_them)
    assert {(each.duration_s, each.rms_uL) for each in front} == wanted
    assert len(front) == len(wanted), "one of several that are alike"
    assert front == sorted(front, key=lambda each: each.duration_s)


@given(figures, st.sampled_from(list(MEANS)))
def test_what_is_picked_is_what_the_preference_says(all_of_them, prefer):
    sound = [each for each in all_of_them if not each.failures]
    choice = picked(all_of_them, prefer)
    if not sound:
        assert choice is None
        return
    least = min(each.rms_uL for each in sound)
    if prefer == "balanced":
        products = [each.duration_s * each.rms_uL for each in sound]
        assert choice.duration_s * choice.rms_uL == min(products)
        return
    limit_uL = 4.0 * least if prefer == "fast" else least + 0.5
    assert choice.rms_uL <= limit_uL
    assert choice.duration_s == min(each.duration_s for each in sound if each.rms_uL <= limit_uL)


@given(figures.filter(len), st.integers(1, 15))
def test_finalists_are_as_many_as_asked_for_and_the_own_method_is_one(all_of_them, count):
    count = min(count, len(all_of_them))
    chosen = finalists(all_of_them, count)
    assert len(chosen) == len(set(chosen)) == count
    assert 0 in chosen


@given(st.integers(FEWEST, 20_000))
def test_all_runs_are_shared_out(total):
    budget = budget_of(total)
    assert budget.total == total
    assert 2 <= budget.finalists <= budget.settings
    assert budget.confirming >= 2


def test_fewer_runs_are_refused():
    with pytest.raises(ValueError, match="at least 24"):
        budget_of(FEWEST - 1)


def test_figures_of_runs():
    """Errors 3, -4 and 0 µL: rms 5/√3, mean -1/3."""
    runs = [
        Judged(3, 0, 100.0, 20, (3.0,), 1, ""),
        Judged(3, 1, 300.0, 30, (-4.0, 0.0), 1, ""),
        Judged(3, 2, 500.0, 40, (), 0, "0 of 1 points found"),
    ]
    told = Figures.of(runs)
    assert (told.setting, told.runs, told.duration_s, told.additions) == (3, 3, 300.0, 30.0)
    assert told.rms_uL == pytest.approx(5.0 / math.sqrt(3.0))
    assert told.bias_uL == pytest.approx(-1.0 / 3.0)
    assert told.u_rms_uL == pytest.approx(told.rms_uL / math.sqrt(6.0))
    assert told.held == pytest.approx(2.0 / 3.0)
    assert told.failures == ("run 2: 0 of 1 points found",)
    assert not told.sound
    assert not Figures.of(runs[2:]).sound
    assert Figures.of(runs[:2]).sound
