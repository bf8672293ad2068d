"""What the room does: mass and heat balances in closed form; a cell that dries, warms or is left to the air."""

import math

import pytest

from sim.contents import Contents
from sim.surroundings import Surroundings


class Still:
    """A chemistry that air can do something to."""

    def __init__(self):
        self.aged_s = 0.0

    def age(self, contents, passed_s):
        self.aged_s += passed_s
        return False


def contents():
    return Contents(volume_mL=50.0, temperature_C=20.0)


def test_nothing_happens_by_itself():
    state = contents()
    assert not Surroundings().act(state, Still(), 1000.0)
    assert (state.volume_mL, state.temperature_C) == (50.0, 20.0)


def test_what_evaporates_is_missing():
    state, room = contents(), Surroundings(evaporation_mL_per_h=3.0)
    for _ in range(600):
        assert room.act(state, Still(), 1.0)
    assert state.volume_mL == pytest.approx(50.0 - 0.5)
    assert room.evaporated_mL == pytest.approx(0.5)


def test_a_vessel_never_dries_out_altogether():
    state, room = contents(), Surroundings(evaporation_mL_per_h=1000.0)
    room.act(state, Still(), 1e6)
    assert state.volume_mL == pytest.approx(2.5)


def test_newtons_law_of_cooling():
    state, room = contents(), Surroundings(room_C=26.0, exchange_s=900.0)
    for _ in range(90):
        room.act(state, Still(), 10.0)
    assert state.temperature_C == pytest.approx(26.0 - 6.0 / math.e)


def test_a_warm_stirrer_motor():
    state, room = contents(), Surroundings(warming_C_per_min=0.1)
    room.act(state, Still(), 600.0)
    assert state.temperature_C == pytest.approx(21.0)
    level = Surroundings(room_C=20.0, exchange_s=600.0, warming_C_per_min=0.1)
    level.act(state, Still(), 1e6)
    assert state.temperature_C == pytest.approx(20.0 + 0.1 * 10)  # heating times the time constant


def test_air_is_let_in_by_its_share():
    chemistry = Still()
    Surroundings(air=0.25).act(contents(), chemistry, 100.0)
    assert chemistry.aged_s == 25.0
    Surroundings(air=0.0).act(contents(), chemistry, 100.0)
    assert chemistry.aged_s == 25.0
