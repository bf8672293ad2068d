"""What goes wrong with a burette: no volume is made or forgotten, and each trouble does what its law says.

The checks are balances and arithmetic by hand; the laws themselves are ours (simulated).
"""

import itertools
import math
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.bubble import GIVES_BACK_S, Bubble
from sim.burette import SimulatedBurette
from sim.tip import TIP_MOST_ML

STEP_ML, STEP_US = 0.000625, 3750
S = 1_000_000


def burette(**options):
    given_options = {"calibration": 0.0, "random_error_mL": 0.0, "random": Random(1)} | options
    return SimulatedBurette(step_mL=STEP_ML, **given_options)


def pushed(dosing, now_us, steps, *, look=()):
    """Push and wait to the end; the volumes delivered at parts of the way, and the time."""
    end_us = dosing.start(now_us, steps, STEP_US)
    seen = [dosing.delivered_mL(now_us + int((end_us - now_us) * part)) for part in look]
    dosing.stop(end_us)
    return seen, end_us


def balance_mL(dosing, now_us):
    """What has left the syringe, and what has become of it."""
    delivered_mL = dosing.delivered_mL(now_us)
    if dosing.outlet is None:
        return dosing.left_mL(now_us), delivered_mL
    where = dosing.outlet.account()
    assert min(where.values()) >= 0.0
    return dosing.left_mL(now_us) + where["ahead_mL"], (
        delivered_mL + where["in_bubbles_mL"] + where["hanging_mL"] + where["lost_mL"]
    )


TROUBLES = st.one_of(
    st.tuples(st.just("bubble"), st.floats(1e-4, 0.2)),
    st.tuples(st.just("hang_drops"), st.floats(0.005, 0.1)),
    st.tuples(st.just("leak_by_diffusion"), st.floats(0.0, 0.01)),
    st.tuples(st.just("block_tip"), st.none()),
    st.tuples(st.just("stall"), st.none()),
    st.tuples(st.just("slip_next"), st.integers(1, 300)),
    st.tuples(st.just("loosen"), st.integers(1, 300)),
    st.tuples(st.just("shift_calibration"), st.floats(-0.05, 0.05)),
)
ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("push"), st.integers(0, 600)),
        st.tuples(st.just("draw"), st.integers(1, 600)),
        st.tuples(st.just("rest"), st.integers(0, 60)),
        TROUBLES,
    ),
    max_size=25,
)


def strike(dosing, now_us, name, size):
    if name == "slip_next":
        dosing.slip_next(size, now_us)
    elif size is None:
        getattr(dosing, name)(now_us)
    else:
        getattr(dosing, name)(now_us, size)


@given(ACTS, st.integers(0, 1000), st.floats(0.0, 1.0))
def test_volume_is_conserved_and_never_goes_back_whatever_goes_wrong_and_when(acts, seed, part):
    dosing = burette(calibration=0.001, random_error_mL=0.001, random=Random(seed), backlash_steps=8)
    now_us, before_mL = 0, 0.0

    def look(at_us):
        nonlocal before_mL
        left_mL, found_mL = balance_mL(dosing, at_us)
        assert found_mL == pytest.approx(left_mL, abs=1e-12)
        delivered_mL = dosing.delivered_mL(at_us)
        assert delivered_mL >= before_mL - 1e-12
        before_mL = delivered_mL

    for number, (name, size) in enumerate(acts):
        if name == "push":
            end_us = dosing.start(now_us, size, STEP_US)
            now_us += int((end_us - now_us) * part)
            look(now_us)
            following = acts[number + 1] if number + 1 < len(acts) else ("push", 0)
            if following[0] not in ("push", "draw", "rest"):  # once more in the midst of the motion
                strike(dosing, now_us, *following)
                look(now_us)
            now_us = end_us
            dosing.stop(now_us)
        elif name == "draw":
            now_us = dosing.start(now_us, -size, STEP_US, into_vessel=False)
            dosing.stop(now_us)
        elif name == "rest":
            now_us += size * S
        else:
            strike(dosing, now_us, name, size)
        look(now_us)


@given(ACTS, st.integers(0, 30))
def test_the_steps_counted_are_those_asked_for_whatever_goes_wrong(acts, seed):
    dosing, counted, now_us = burette(random=Random(seed)), 0, 0
    for name, size in acts:
        if name in ("push", "draw"):
            going = size if name == "push" else -size
            end_us = dosing.start(now_us, going, STEP_US, into_vessel=name == "push")
            assert end_us - now_us == abs(going) * STEP_US
            assert dosing.stop(end_us) == counted + going
            counted, now_us = counted + going, end_us
        elif name != "rest":
            strike(dosing, now_us, name, size)


VOLUMES_ML = st.just(0.0) | st.floats(1e-9, 0.3)
"""Nothing, or more than a number can lose by being divided: 5e-324 mL in two parts is none."""


@given(
    st.floats(0.001, 0.2),
    st.lists(st.tuples(VOLUMES_ML, st.floats(0.0, 30.0)), min_size=1, max_size=15),
    st.integers(1, 7),
)
def test_a_bubble_does_not_care_how_often_it_is_looked_at(size_mL, pieces, parts):
    once, often = Bubble(size_mL), Bubble(size_mL)
    for volume_mL, rest_s in pieces:
        for volume, passed_s in ((volume_mL, 1.0), (0.0, rest_s)):
            whole = once.pass_on(volume, passed_s)
            divided = sum(often.pass_on(volume / parts, passed_s / parts) for _ in range(parts))
            assert divided == pytest.approx(whole, abs=1e-12)


def test_a_bubble_gives_way_gives_back_and_is_missing_in_the_end():
    dosing = burette()
    dosing.bubble(0, 0.05)
    _, now_us = pushed(dosing, 0, 160)  # 0.1 mL, of which a tenth of 0.05 mL squeezes the bubble
    assert dosing.delivered_mL(now_us) == pytest.approx(0.095)
    later_us = now_us + round(GIVES_BACK_S * math.log(2) * S)
    assert dosing.delivered_mL(later_us) == pytest.approx(0.0975, abs=1e-8)  # half of it after a half-life
    _, now_us = pushed(dosing, later_us, 3200)
    assert dosing.delivered_mL(now_us + 1000 * S) == pytest.approx(2.1 - 0.05)


def test_drops_fall_whole_and_have_the_size_of_drops():
    dosing = burette(drop_random=Random(4))
    dosing.hang_drops(0, 0.04)
    looks = [part / 400 for part in range(401)]
    seen, now_us = pushed(dosing, 0, 3200, look=looks)
    falls = [after - before for before, after in itertools.pairwise(seen) if after > before]
    # 2 mL in drops of 0.03 to 0.05 mL: 40 to 66 of them; what is left hangs and is less than the largest.
    assert 40 <= len(falls) <= 66
    assert all(0.03 - 1e-9 <= fall <= 0.05 + 1e-9 for fall in falls)
    assert 0.0 <= 2.0 - dosing.delivered_mL(now_us) < 0.05


def test_nothing_gets_out_of_a_blocked_tip():
    dosing = burette()
    _, now_us = pushed(dosing, 0, 1600)
    dosing.block_tip(now_us)
    _, now_us = pushed(dosing, now_us, 1600)
    assert dosing.delivered_mL(now_us) == pytest.approx(1.0)
    assert (dosing.pushed_steps, dosing.left_mL(now_us)) == (3200, pytest.approx(2.0))


def test_what_diffuses_out_is_not_delivered_twice_and_has_an_end():
    dosing = burette()
    dosing.leak_by_diffusion(0, 1e-4)
    assert dosing.delivered_mL(50 * S) == pytest.approx(0.005)
    assert dosing.delivered_mL(10_000 * S) == pytest.approx(TIP_MOST_ML)
    _, now_us = pushed(dosing, 10_000 * S, 160)
    assert dosing.delivered_mL(now_us) == pytest.approx(0.1)


def test_a_stall_in_the_midst_of_a_push_ends_it_with_the_step_in_hand():
    dosing = burette()
    end_us = dosing.start(0, 1000, STEP_US)
    dosing.stall(400 * STEP_US + 1)
    assert dosing.steps_at(700 * STEP_US) == 700
    assert dosing.stop(end_us) == 1000
    assert (dosing.pushed_steps, dosing.carriage_steps) == (401, 401)
    assert dosing.delivered_mL(end_us) == pytest.approx(401 * STEP_ML)
    _, now_us = pushed(dosing, end_us, 100)
    assert dosing.delivered_mL(now_us) == pytest.approx(401 * STEP_ML)
    dosing.stop(dosing.start(now_us, -200, STEP_US, into_vessel=False))
    assert (dosing.steps, dosing.carriage_steps, dosing.refills) == (900, 401, 0)


def test_steps_lost_in_the_midst_of_a_push_are_lost_once():
    dosing = burette()
    end_us = dosing.start(0, 1000, STEP_US)
    dosing.slip_next(80, 400 * STEP_US)
    dosing.stop(end_us)
    assert (dosing.steps, dosing.carriage_steps) == (1000, 920)
    assert dosing.delivered_mL(end_us) == pytest.approx(920 * STEP_ML)
    _, now_us = pushed(dosing, end_us, 100)
    assert dosing.delivered_mL(now_us) == pytest.approx(1020 * STEP_ML)


def test_lost_steps_outlast_a_push_that_is_shorter():
    dosing = burette()
    end_us = dosing.start(0, 100, STEP_US)
    dosing.slip_next(150, 50 * STEP_US)
    dosing.stop(end_us)
    _, now_us = pushed(dosing, end_us, 200)
    assert dosing.carriage_steps == 150
    assert dosing.delivered_mL(now_us) == pytest.approx(150 * STEP_ML)


@pytest.mark.parametrize("at_step", [0, 500, 999, 1000])
def test_a_shift_of_the_calibration_counts_from_where_it_came(at_step):
    dosing = burette(calibration=0.002)
    end_us = dosing.start(0, 1000, STEP_US)
    dosing.shift_calibration(at_step * STEP_US, 0.01)
    dosing.stop(end_us)
    _, now_us = pushed(dosing, end_us, 1000)
    expected_mL = 1.002 * STEP_ML * (at_step + (2000 - at_step) * 1.01)
    assert dosing.delivered_mL(now_us) == pytest.approx(expected_mL, abs=1e-12)
    assert dosing.indicated_mL(1.002) == pytest.approx(1.0)  # as the sound burette indicates


def test_new_play_is_lost_at_once_and_at_every_reversal():
    dosing = burette()
    _, now_us = pushed(dosing, 0, 100)
    dosing.loosen(now_us, 16)
    _, now_us = pushed(dosing, now_us, 100)
    assert dosing.delivered_mL(now_us) == pytest.approx(184 * STEP_ML)
    now_us = dosing.start(now_us, -100, STEP_US, into_vessel=False)
    dosing.stop(now_us)
    _, now_us = pushed(dosing, now_us, 100)
    assert dosing.delivered_mL(now_us) == pytest.approx(268 * STEP_ML)


def test_only_a_hasty_refill_sucks_gas():
    quiet = burette(quiet_filling_mL_per_s=0.5)
    hasty = burette(quiet_filling_mL_per_s=STEP_ML / (STEP_US * 1e-6) / 1.5)  # one and a half times as fast as it may
    for dosing in (quiet, hasty):
        now_us = dosing.start(0, -1600, STEP_US, into_vessel=False)
        dosing.stop(now_us)
        _, now_us = pushed(dosing, now_us, 1600)
        dosing.delivered_mL(now_us + 1000 * S)
    assert quiet.outlet is None
    assert hasty.outlet is not None
    # Half of a hundredth of the millilitre drawn.
    assert hasty.outlet.lost_mL == pytest.approx(0.005)
