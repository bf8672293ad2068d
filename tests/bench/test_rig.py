"""Rig file and the pure parts of the bench."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from titrator.bench.board_clock import BoardClock
from titrator.bench.burette import Burette
from titrator.bench.electrode import Amplifier
from titrator.bench.rig import load_rig
from titrator.files import FileProblem

RIG = """\
format: 1
name: A rig
kind: simulated
burette:
  stroke: 25 mL
  step: 0.625 µL
  top_speed: 10 mL/min
  random_error: 1 µL
  calibration: {half_width: 0.2 %}
amplifier:
  range: {low: -2000 mV, high: 2000 mV}
  step: 0.1 mV
  readings_per_second: 10
"""


def rig_of(tmp_path, text):
    path = tmp_path / "rig.yaml"
    path.write_text(text, encoding="utf-8")
    return load_rig(path)


def test_the_simulated_rig_states_the_constants_of_the_demonstration(rig):
    # Invented constants of the demonstration works (25 mL, 10 mL/min, at most 3 µL a step, 1 µL, ±0.2 %, 0.1 mV, 10/s).
    assert rig.kind == "simulated"
    assert (rig.burette.stroke_mL, rig.burette.top_speed_mL_per_min) == (25.0, 10.0)
    assert rig.burette.step_mL <= 0.003
    assert rig.burette.random_error_mL == 0.001
    assert rig.burette.calibration.half_width == 0.002
    assert math.isclose(rig.burette.calibration.u, 0.001154700538, rel_tol=1e-9)  # 0.002/√3, by hand
    assert (rig.amplifier.step_mV, rig.amplifier.readings_per_second) == (0.1, 10)
    assert rig.record.sync is True
    assert rig.burette.arithmetic.stroke_steps == 40000
    assert rig.burette.arithmetic.least_step_us == 3750


def test_link_and_record_may_be_left_out(tmp_path):
    rig = rig_of(tmp_path, RIG)
    assert rig.record.sync is True
    assert rig.link.feed_every_s + rig.link.attempts * rig.link.answer_within_s <= rig.link.dead_man_s


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("stroke: 25 mL", "stroke: 25", 5, "a bare number without unit"),
        ("step: 0.625 µL", "step: 1 mL", 6, "a hundredth of the stroke"),
        ("low: -2000 mV", "low: 3000 mV", 11, "expected low below high"),
        ("readings_per_second: 10", "readings_per_second: 1000", 13, "at most 100 readings a second"),
        ("step: 0.1 mV", "step: 0.1 mV\n  readings_per_block: 8", 13, "at most 7 readings in a block"),
        ("step: 0.1 mV", "step: 0.1 mV\n  reading_per_block: 5", 13, "did you mean readings_per_block?"),
        ("name: A rig", "name: A rig\nlink: {dead_man: 1 s}", 3, "room for 4 attempts"),
        ("name: A rig", "name: A rig\nlink: {dead_man: 2 min}", 3, "at most 65 s"),
        ("kind: simulated", "kind: real", 3, "expected simulated or serial"),
    ],
)
def test_what_is_wrong_in_a_rig_file_is_located(tmp_path, old, new, line, words):
    with pytest.raises(FileProblem) as caught:
        rig_of(tmp_path, RIG.replace(old, new, 1))
    (problem,) = caught.value.problems
    assert problem.line == line
    assert words in problem.text


BURETTE = Burette(step_mL=0.000625, stroke_mL=25.0, top_speed_mL_per_min=10.0)


@given(st.floats(0.0, 25.0))
def test_the_nearest_step_is_never_more_than_half_a_step_away(volume_mL):
    steps = BURETTE.steps(volume_mL)
    assert abs(BURETTE.volume_mL(steps) - volume_mL) <= 0.000625 / 2 * (1 + 1e-9)
    assert BURETTE.steps(BURETTE.volume_mL(steps)) == steps


@given(st.floats(0.01, 10.0))
def test_a_step_is_never_faster_than_the_speed_asked_for(speed_mL_per_min):
    step_us = BURETTE.step_us(speed_mL_per_min)
    reached = BURETTE.step_mL / step_us * 60e6
    assert reached <= speed_mL_per_min * (1 + 1e-9)
    assert BURETTE.step_mL / (step_us - 1) * 60e6 > speed_mL_per_min if step_us > 1 else True


def test_potentials_become_mV_and_the_ends_of_the_range_are_seen():
    amplifier = Amplifier(-2_000_000, 2_000_000)
    assert amplifier.potentials_mV((455_300, -100, 0)) == (455.3, -0.1, 0.0)
    assert amplifier.saturated((1_999_900, -1_999_900)) == 0
    assert amplifier.saturated((2_000_000, 0, -2_000_000, 5)) == 2


class Hand:
    """A transport whose clock is set by hand."""

    def __init__(self):
        self.time_s = 100.0

    def now_s(self):
        return self.time_s


def test_board_time_goes_on_between_tellings_and_never_back():
    hand = Hand()
    clock = BoardClock(hand)
    clock.hear(5000)
    hand.time_s += 0.25
    assert math.isclose(clock.now_s, 5.25)
    assert clock.hear(5200) == 5.2  # told a little late
    assert math.isclose(clock.now_s, 5.25)
    hand.time_s += 0.1
    assert math.isclose(clock.now_s, 5.3)
    assert clock.hear(4000) == 4.0  # of an older moment: it says nothing about now
    hand.time_s += 0.1
    assert math.isclose(clock.now_s, 5.4)


def test_the_boards_milliseconds_may_wrap():
    hand = Hand()
    clock = BoardClock(hand)
    for told_ms in (2**31 - 1, 2**32 - 50):
        clock.hear(told_ms)
    assert clock.unwrap(49) == 2**32 + 49
    assert clock.unwrap(2**32 - 60) == 2**32 - 60
    assert clock.hear(49) == (2**32 + 49) / 1000
