"""One suite for every way to a board: in memory in virtual time, on a pty and on TCP in real time (all simulated).

Nothing here asserts how long a thing took: deadlines are generous and only end a test that hangs.
"""

import itertools
import math

import pytest
from places import PLACES, RIG, placed

from sim.motor import SIMULATED_IDENTITY
from titrator.bench.bench import Bench
from titrator.bench.events import MotionEnded, ReadingBlock
from titrator.bench.rig import load_rig

SESSION = 0xBEEF
DEADLINE_S = 20.0


@pytest.fixture(name="rig", scope="session")
def fast_rig():
    """Blocks of readings ten times as often, so that a real board has something to tell soon."""
    rig = load_rig(RIG)
    return rig.model_copy(update={"amplifier": rig.amplifier.model_copy(update={"readings_per_second": 100})})


@pytest.fixture(params=PLACES)
def place(request, make_world, rig):
    with placed(request.param, make_world(), rig) as at:
        yield at


@pytest.fixture
def bench(place):
    begun = Bench(place.open(), place.rig)
    begun.connect()
    begun.begin_run(SESSION, 20.0)
    yield begun
    begun.close()


def hear(bench, enough):
    """Events until `enough(events)`."""
    heard = []
    until_s = bench._transport.now_s() + DEADLINE_S
    while not enough(heard):
        assert bench._transport.now_s() < until_s, f"nothing more was told, only {heard}"
        heard += bench.wait(1.0)
    return heard


def ended(heard):
    return [event for event in heard if isinstance(event, MotionEnded)]


def blocks(heard):
    return [event for event in heard if isinstance(event, ReadingBlock)]


def test_the_handshake_only_looks_and_names_the_board(place):
    bench = Bench(place.open(), place.rig)
    identity = bench.connect()
    bench.close()
    assert identity.boot == place.board.boot
    assert (identity.board, identity.simulated) == (SIMULATED_IDENTITY, True)
    assert (identity.session, identity.steps) == (0, 0)
    assert place.board.session == 0


def test_a_dose_arrives_and_is_told_once(bench, place):
    assert math.isclose(bench.move_to(1, 0.03), 0.03)
    (end,) = ended(hear(bench, ended))
    assert (end.dose, end.steps, end.reason) == (1, 48, "arrived")
    assert bench.status().steps == place.board.burette.steps == 48
    assert not ended(bench.wait(0.0))


def test_a_halted_dose_rests_where_it_says(bench, place):
    bench.move_to(1, 10.0)
    volume_mL = bench.halt()
    (end,) = ended(hear(bench, ended))
    assert (end.reason, end.volume_mL) == ("halted", volume_mL)
    assert end.steps == place.board.burette.steps < 16000
    bench.move_to(2, volume_mL + 0.01)
    (end,) = ended(hear(bench, ended))
    assert (end.reason, end.steps) == ("arrived", place.board.burette.steps)


def test_the_same_dose_twice_is_delivered_once(bench, place):
    bench.move_to(1, 0.02)
    bench.move_to(1, 0.02)
    hear(bench, ended)
    bench.move_to(1, 0.02)
    assert bench.status().steps == place.board.burette.steps == 32


def test_readings_come_in_order_without_a_gap_and_say_what_the_cell_says(bench):
    bench.start_readings()
    bench.move_to(1, 0.02)
    heard = blocks(hear(bench, lambda heard: ended(heard) and len(blocks(heard)) >= 6))
    times = [t_s for block in heard for t_s in block.t_s]
    assert [round(after - before, 3) for before, after in itertools.pairwise(times)] == [0.01] * (len(times) - 1)
    assert sum(block.missed for block in heard) == 0
    # 100 mV for each mL (conftest); 0.02 mL give 2 mV, within the burette's error of 1 µL and half a converter's step.
    assert abs(heard[-1].potential_mV[-1] - 2.0) < 0.6


def test_a_host_that_comes_back_goes_on_where_it_was(bench, place):
    origin = bench.origin_steps
    bench.move_to(1, 0.02)
    hear(bench, ended)
    bench.close()
    again = Bench(place.open(), place.rig)
    assert again.connect().session == SESSION
    status = again.begin_run(SESSION, 20.0, origin_steps=origin)
    assert (status.dose, status.dose_ended, status.steps) == (1, "arrived", 32)
    again.move_to(2, 0.03)
    (end,) = ended(hear(again, ended))
    again.close()
    assert (end.dose, end.steps) == (2, 48)
    assert place.board.burette.steps == 48


def test_a_dose_whose_host_leaves_stops_by_itself_at_a_known_place(place):
    hasty = place.rig.model_copy(update={"link": place.rig.link.model_copy(update={"dead_man_s": 0.3})})
    bench = Bench(place.open(), hasty)
    bench.begin_run(SESSION, 20.0)
    bench.move_to(1, 20.0)
    bench.close()
    again = Bench(place.open(), place.rig)
    again.connect()
    until_s = again._transport.now_s() + DEADLINE_S
    while (status := again.status()).moving:  # a look with session 0 does not feed the dead-man timer
        assert again._transport.now_s() < until_s
        again.wait(0.05)
    again.close()
    assert status.dose_ended == "dead-man"
    assert 0 < status.steps == place.board.burette.steps < 32000


def test_rubbish_on_the_line_costs_nothing(bench, place):
    bench._transport.write(b"rubbish\0\xff\x01\0" * 20)
    bench.move_to(1, 0.01)
    (end,) = ended(hear(bench, ended))
    assert end.steps == place.board.burette.steps == 16
