"""What the settling detector promises: waits, bounds, outliers, gaps, refusals."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from titrator.control.settling import Settled, SettlingDetector, SettlingSettings
from titrator.control.settling.blocks import MOST_BLOCKS

SETTINGS = SettlingSettings(noise_mV=0.25, resolution_mV=0.1, response_s=5.0)


def run(settings, potential, start_s=0.0, interval_s=0.1, seconds=130.0):
    """Feed potential(seconds since begin) until something is logged."""
    detector = SettlingDetector(settings)
    detector.begin(start_s)
    for k in range(1, int(seconds / interval_s)):
        logged = detector.add(start_s + k * interval_s, potential(k * interval_s))
        if logged is not None:
            return logged, detector
    return None, detector


def noisy_tail(seed, amplitude_mV=10.0, response_s=5.0, sd=0.25, drift_mV_per_min=0.0):
    rng = random.Random(seed)

    def potential(t):
        y = amplitude_mV * math.exp(-t / response_s) + drift_mV_per_min * t / 60.0 + rng.gauss(0.0, sd)
        return round(y, 1)

    return potential


def logged(settings, potential, **options) -> Settled:
    found, _ = run(settings, potential, **options)
    assert found is not None
    return found


def test_a_tail_is_logged_settled_within_its_bound():
    for seed in range(20):
        found = logged(SETTINGS, noisy_tail(seed))
        assert found.settled
        assert 10.0 * math.exp(-found.waited_s / 5.0) <= found.remainder_bound_mV < 0.6
        assert abs(found.potential_mV) <= found.remainder_bound_mV + 3.0 * found.sd_mV
        assert 12.0 < found.waited_s < 25.0  # the remainder falls below the noise at 18.4 s
        assert found.readings == pytest.approx(10.0 * found.waited_s, abs=2)


def test_the_logged_drift_is_the_true_one_within_its_error():
    z = []
    for seed in range(60):
        found = logged(SETTINGS, noisy_tail(seed))
        true = -10.0 / 5.0 * math.exp(-found.waited_s / 5.0)
        z.append((found.drift_mV_per_s - true) / found.drift_sd_mV_per_s)
    assert sum(abs(v) < 3.0 for v in z) >= 57
    assert sum(abs(v) > 0.3 for v in z) >= 15  # an error bar ten times too wide would show here


def test_what_a_reading_lacks_is_told_with_its_error():
    """Computed by us: the tail is at 0 in the end, so a noise-free average would lack minus its own value."""
    misses, z = [], []
    for seed in range(60):
        found = logged(SETTINGS, noisy_tail(seed))
        misses.append(found.potential_mV + found.lacking_mV)
        z.append(misses[-1] / math.hypot(found.sd_mV, found.lacking_sd_mV))
        assert found.lacking_mV < 0.0
    assert abs(sum(misses)) / 60 < 0.02  # the readings themselves lie 0.1 mV too high on average
    assert sum(abs(v) < 3.0 for v in z) >= 57
    assert sum(abs(v) > 0.3 for v in z) >= 15


def test_noise_alone_does_not_fake_drift():
    for seed in range(20):
        found = logged(SETTINGS, noisy_tail(seed, amplitude_mV=0.0))
        assert found.settled
        assert found.waited_s < 20.0


def test_noise_does_not_hide_drift():
    """60 mV/min: never settled, though the slope within a second (1 mV) is lost in a noise of 1 mV."""
    settings = SettlingSettings(noise_mV=1.0, response_s=5.0, longest_s=60.0)
    for seed in range(10):
        found = logged(settings, noisy_tail(seed, amplitude_mV=0.0, sd=1.0, drift_mV_per_min=60.0))
        assert not found.settled
        assert found.waited_s == pytest.approx(60.0, abs=0.11)
        assert found.drift_mV_per_s == pytest.approx(1.0, abs=0.3)  # a ramp is no tail: its end is bent a little
        assert found.remainder_bound_mV > 4.0


def test_a_slow_drift_does_not_make_it_wait_to_the_end():
    for seed in range(10):
        still, moving = (logged(SETTINGS, noisy_tail(seed, drift_mV_per_min=d)) for d in (0.0, 0.05))
        assert moving.settled
        assert moving.waited_s <= still.waited_s + 3.0


def test_the_longest_wait_logs_an_unsettled_reading_with_drift_and_bound():
    settings = SettlingSettings(noise_mV=0.25, response_s=20.0, longest_s=30.0)
    found = logged(settings, noisy_tail(3, amplitude_mV=100.0, response_s=20.0))
    assert not found.settled
    assert found.waited_s == pytest.approx(30.0, abs=0.01)
    true = 100.0 * math.exp(-30.0 / 20.0)
    assert true <= found.remainder_bound_mV < 1.5 * true
    assert found.drift_mV_per_s == pytest.approx(-true / 20.0, rel=0.2)


def test_never_before_the_least_time():
    settings = SettlingSettings(noise_mV=1.0, response_s=0.5, least_s=8.0)
    quick = SettlingSettings(noise_mV=1.0, response_s=0.5)
    for seed in range(10):
        potential = noisy_tail(seed, amplitude_mV=0.0, sd=1.0)
        assert 8.0 <= logged(settings, potential).waited_s < 10.0
        assert 3.0 <= logged(quick, potential).waited_s < 6.0


def test_a_constant_input_settles_soon_with_an_error_that_is_not_zero():
    for settings in (SETTINGS, SettlingSettings(noise_mV=0.25, response_s=5.0)):
        found = logged(settings, lambda _: 2500.0)
        assert found.settled
        assert found.waited_s < 7.0
        assert found.potential_mV == 2500.0
        assert found.sd_mV > 0.0
        assert found.remainder_bound_mV > 0.0


def test_a_stated_drift_limit_is_kept():
    waits = []
    for limit in (0.2, 0.05, 0.01):
        settings = SettlingSettings(noise_mV=0.25, resolution_mV=0.1, response_s=5.0, drift_limit_mV_per_s=limit)
        found = logged(settings, noisy_tail(5))
        assert found.settled
        assert abs(found.drift_mV_per_s) + 2.0 * found.drift_sd_mV_per_s <= limit
        waits.append(found.waited_s)
    assert waits == sorted(waits)
    assert waits[0] < waits[2]


@pytest.mark.parametrize("at_s", [0.2, 3.0, 9.0, 15.0])
@pytest.mark.parametrize("size_mV", [5.0, -5.0])
def test_a_lone_outlier_is_left_out(at_s, size_mV):
    clean = logged(SETTINGS, noisy_tail(8))
    inner = noisy_tail(8)
    found, detector = run(SETTINGS, lambda t: inner(t) + (size_mV if abs(t - at_s) < 0.05 else 0.0))
    assert found is not None
    assert abs(found.waited_s - clean.waited_s) <= 2.1
    assert abs(found.potential_mV - clean.potential_mV) < 0.25
    assert detector.outliers <= 1
    if at_s > 1.0:
        assert detector.outliers == 1


def test_a_moving_potential_is_not_taken_for_outliers():
    for seed in range(10):
        found, detector = run(SETTINGS, noisy_tail(seed, amplitude_mV=400.0, response_s=2.0))
        assert found is not None
        assert found.settled
        assert detector.outliers <= 1
        assert found.readings >= 10.0 * found.waited_s - 2


def test_a_late_jump_is_waited_out():
    rng = random.Random(11)
    found = logged(SETTINGS, lambda t: (0.0 if t < 6.0 else 20.0) + rng.gauss(0.0, 0.25))
    assert found.settled
    assert found.waited_s > 9.0
    assert abs(found.potential_mV - 20.0) <= found.remainder_bound_mV + 3.0 * found.sd_mV


def test_readings_while_mixing_are_not_regressed():
    """Mixing 1.5 s and electrode 2.5 s in series (closed form): told of it or not, the bound must hold."""
    settings = SettlingSettings(noise_mV=0.25, resolution_mV=0.1, response_s=2.5, mixing_s=1.5)
    for seed in range(20):
        rng = random.Random(seed)

        def remainder(t):
            return 40.0 * (2.5 * math.exp(-t / 2.5) - 1.5 * math.exp(-t / 1.5))

        found = logged(settings, lambda t, rng=rng, remainder=remainder: remainder(t) + rng.gauss(0.0, 0.25))
        assert found.settled
        assert remainder(found.waited_s) <= found.remainder_bound_mV
        assert found.waited_s < 25.0


def test_the_same_readings_give_the_same_answer_whenever_the_addition_began():
    early, late = (logged(SETTINGS, noisy_tail(4), start_s=s) for s in (0.0, 4096.0))
    assert late.waited_s == pytest.approx(early.waited_s, abs=0.6)
    assert late.potential_mV == pytest.approx(early.potential_mV, abs=0.2)


def test_begin_forgets_the_addition_before():
    detector = SettlingDetector(SETTINGS)
    results = []
    for start in (0.0, 200.0):
        detector.begin(start)
        potential = noisy_tail(4)
        for k in range(1, 1000):
            found = detector.add(start + 0.1 * k, 500.0 * (start > 0.0) + potential(0.1 * k))
            if found is not None:
                results.append(found)
                break
    assert results[0].waited_s == pytest.approx(results[1].waited_s, abs=0.6)
    assert results[1].potential_mV - results[0].potential_mV == pytest.approx(500.0, abs=0.3)


def test_nothing_more_is_logged_until_begin():
    found, detector = run(SETTINGS, noisy_tail(1))
    assert found is not None
    assert all(detector.add(200.0 + 0.1 * k, 0.0) is None for k in range(500))
    assert detector.expire(1000.0) is None
    assert detector.remaining_s is None


def test_it_says_about_how_long_it_may_still_take():
    detector = SettlingDetector(SETTINGS)
    detector.begin(0.0)
    potential = noisy_tail(2, amplitude_mV=30.0)
    guesses = []
    for k in range(1, 1000):
        found = detector.add(0.1 * k, potential(0.1 * k))
        if found is not None:
            break
        if detector.remaining_s is not None:
            guesses.append((0.1 * k, detector.remaining_s))
    assert found is not None
    middle = [(t, left) for t, left in guesses if t > 0.5 * found.waited_s]
    assert middle
    assert all(0.0 <= left <= 120.0 for _, left in guesses)


def test_expire_logs_what_there_is_when_readings_stop():
    detector = SettlingDetector(SETTINGS)
    detector.begin(0.0)
    for k in range(1, 40):
        assert detector.add(0.1 * k, 30.0 * math.exp(-0.02 * k)) is None
    assert detector.expire(119.9) is None
    found = detector.expire(120.0)
    assert found is not None
    assert not found.settled
    assert found.waited_s == 120.0
    assert found.readings == 39
    assert found.remainder_bound_mV >= 30.0 * math.exp(-0.02 * 39)  # judged where the readings stopped


def test_expire_without_any_reading_logs_nothing():
    detector = SettlingDetector(SETTINGS)
    assert detector.expire(500.0) is None
    detector.begin(0.0)
    assert detector.expire(500.0) is None


def test_refusals():
    detector = SettlingDetector(SETTINGS)
    with pytest.raises(ValueError, match=r"begin\(\)"):
        detector.add(1.0, 0.0)
    detector.begin(10.0)
    with pytest.raises(ValueError, match="expected a time after"):
        detector.add(9.99, 0.0)
    detector.add(10.0, 1.0)
    for bad in (10.0, 9.0, math.nan):
        with pytest.raises(ValueError, match="expected a time after"):
            detector.add(bad, 1.0)
    for bad in (math.nan, math.inf, -math.inf, 1.0e8):
        with pytest.raises(ValueError, match="expected a finite time and a potential"):
            detector.add(10.1, bad)
    with pytest.raises(ValueError, match="begin at a finite time"):
        detector.begin(5.0)
    with pytest.raises(ValueError, match="begin at a finite time"):
        detector.begin(math.inf)


@pytest.mark.parametrize(
    "wrong",
    [
        {"noise_mV": -1.0},
        {"noise_mV": 0.0},
        {"noise_mV": math.nan},
        {"noise_mV": 0.1, "response_s": 0.0},
        {"noise_mV": 0.1, "least_s": 50.0, "longest_s": 40.0},
        {"noise_mV": 0.1, "longest_s": math.inf},
        {"noise_mV": 0.1, "drift_limit_mV_per_s": 0.0},
        {"noise_mV": 0.1, "mixing_s": -1.0},
    ],
)
def test_settings_out_of_range_are_refused(wrong):
    with pytest.raises(ValueError, match="expected"):
        SettlingSettings(**wrong)


readings = st.lists(
    st.tuples(
        st.one_of(st.just(0.1), st.floats(0.001, 40.0)),
        st.one_of(st.floats(-2000.0, 2000.0), st.sampled_from([0.0, 2500.0, -2500.0])),
    ),
    max_size=400,
)


@given(readings, st.floats(0.05, 60.0), st.floats(0.0, 5.0), st.sampled_from([None, 0.001, 1.0]))
def test_whatever_comes_nothing_is_nan_late_or_unbounded(steps, response_s, mixing_s, limit):
    settings = SettlingSettings(
        noise_mV=0.1,
        resolution_mV=0.1,
        response_s=response_s,
        mixing_s=mixing_s,
        longest_s=60.0,
        drift_limit_mV_per_s=limit,
    )
    detector = SettlingDetector(settings)
    detector.begin(0.0)
    t = 0.0
    found = None
    for step, y in steps:
        t += step
        found = detector.add(t, y)
        assert len(detector._window) <= MOST_BLOCKS
        if found is not None:
            break
        assert t < 60.0
    if found is None:
        found = detector.expire(t + 60.0)
        assert (found is None) == (not steps)
    if found is not None:
        assert all(math.isfinite(v) for v in found)
        assert found.sd_mV > 0.0
        assert found.remainder_bound_mV > 0.0
        assert found.drift_sd_mV_per_s > 0.0
        assert found.readings >= 1
        assert found.waited_s >= settings.least_wait_s
        assert min(y for _, y in steps) - 1e-6 <= found.potential_mV <= max(y for _, y in steps) + 1e-6


@given(st.lists(st.integers(0, 180), max_size=120), st.integers(0, 10**6))
def test_missing_readings_do_not_break_the_bound(missing, seed):
    rng = random.Random(seed)
    gone = set(missing)
    detector = SettlingDetector(SETTINGS)
    detector.begin(0.0)
    found = None
    for k in range(1, 1300):
        y = 10.0 * math.exp(-0.02 * k) + rng.gauss(0.0, 0.25)
        if k in gone:
            continue
        found = detector.add(0.1 * k, y)
        if found is not None:
            break
    assert found is not None
    assert found.settled
    # Five times the bound: a search over noise may meet the one in a hundred, a broken bound goes far beyond.
    assert 10.0 * math.exp(-found.waited_s / 5.0) <= 5.0 * found.remainder_bound_mV
    assert found.waited_s < 60.0
