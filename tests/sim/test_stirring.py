"""Stirring against a matrix exponential of scipy: two compartments, exact for straight lines; nothing is lost."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import expm

from sim.stirring import STILL_S, Stirring


def compartments(share, dead_s, mixing_s, *, rate, passed_s, waiting=(0.0, 0.0)):
    """(pocket, stream, mixed) after a time, by the exponential of the linear system with the delivery as a state."""
    system = np.array(
        [
            [-1 / dead_s, 0.0, 0.0, share * rate],
            [1 / dead_s, -1 / mixing_s, 0.0, (1 - share) * rate],
            [0.0, 1 / mixing_s, 0.0, 0.0],
            [0.0, 0.0, 0.0, 0.0],
        ]
    )
    return (expm(system * passed_s) @ np.array([*waiting, 0.0, 1.0]))[:3]


@pytest.mark.parametrize(("share", "dead_s", "mixing_s"), [(0.3, 40.0, 1.5), (1.0, 5.0, 20.0), (0.2, 3.0, 3.0)])
@pytest.mark.parametrize("passed_s", [0.1, 4.0, 300.0])
def test_a_pocket_at_the_tip(share, dead_s, mixing_s, passed_s):
    stirring = Stirring(mixing_s, dead_share=share, dead_s=dead_s)
    first = stirring.mix(passed_s, 0.02 * passed_s)
    pocket, stream, mixed = compartments(share, dead_s, mixing_s, rate=0.02, passed_s=passed_s)
    assert first == stirring.mixed_mL == pytest.approx(mixed, rel=1e-5, abs=1e-9)
    assert stirring.pocket_mL == pytest.approx(pocket, rel=1e-6)
    assert stirring.waiting_mL == pytest.approx(pocket + stream, rel=1e-5)
    stirring.mix(7.0, stirring.delivered_mL)  # then a rest
    after = compartments(share, dead_s, mixing_s, rate=0.0, passed_s=7.0, waiting=(pocket, stream))
    assert stirring.mixed_mL == pytest.approx(mixed + after[2], rel=1e-5, abs=1e-9)


def test_many_small_steps_through_the_pocket_are_one_large_step():
    one, many = (Stirring(2.0, dead_share=0.4, dead_s=30.0) for _ in range(2))
    one.mix(10.0, 1.0)
    for k in range(1, 101):
        many.mix(0.1, 0.01 * k)
    assert many.mixed_mL == pytest.approx(one.mixed_mL, rel=1e-9)


def test_without_a_pocket_it_is_first_order():
    stirring = Stirring(1.5)
    stirring.mix(0.0, 1.0)
    stirring.mix(1.5 * math.log(2), 1.0)
    assert stirring.waiting_mL == pytest.approx(0.5)


def test_a_stirrer_that_stands_still_mixes_next_to_nothing_until_it_turns_again():
    stirring = Stirring(1.5)
    stirring.stop()
    stirring.mix(0.0, 1.0)
    stirring.mix(60.0, 1.0)
    assert stirring.mixed_mL == pytest.approx(-math.expm1(-60.0 / STILL_S))
    stirring.start()
    stirring.mix(15.0, 1.0)
    assert stirring.waiting_mL < 1e-4


def test_finishing_takes_all_that_waits():
    stirring = Stirring(1.5, dead_share=0.5)
    stirring.mix(1.0, 2.0)
    waiting_mL = stirring.waiting_mL
    assert stirring.finish() == waiting_mL > 0.0
    assert stirring.waiting_mL == 0.0
    assert stirring.pocket_mL == 0.0


@pytest.mark.parametrize("wrong", [{"mixing_s": -1.0}, {"dead_share": 1.5}, {"dead_s": 0.0}, {"mixing_s": math.nan}])
def test_figures_that_no_stirring_has(wrong):
    with pytest.raises(ValueError, match="were expected"):
        Stirring(**({"mixing_s": 1.5} | wrong))


steps = st.lists(
    st.tuples(st.floats(0.0, 100.0), st.floats(0.0, 1.0), st.sampled_from(["", "stop", "start"])), max_size=30
)


@given(steps, st.floats(0.0, 50.0), st.floats(0.0, 1.0), st.floats(0.1, 500.0))
def test_nothing_is_lost_and_nothing_goes_back(steps, mixing_s, share, dead_s):
    stirring = Stirring(mixing_s, dead_share=share, dead_s=dead_s)
    delivered_mL = total_mL = 0.0
    for passed_s, more_mL, word in steps:
        if word:
            getattr(stirring, word)()
        delivered_mL += more_mL
        before_mL = stirring.mixed_mL
        total_mL += stirring.mix(passed_s, delivered_mL)
        assert before_mL <= stirring.mixed_mL <= delivered_mL * (1 + 1e-12)
        assert -1e-9 <= stirring.pocket_mL <= stirring.waiting_mL + 1e-9
    assert total_mL == pytest.approx(stirring.mixed_mL, abs=1e-9)
