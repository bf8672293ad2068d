"""The bench on a faultless simulated board."""

import itertools
import math
import re

import pytest

from firmware_protocol.messages import Reason
from titrator.bench.bench import Bench
from titrator.bench.errors import (
    BoardRefusedError,
    BoardRestartedError,
    DoseError,
    LinkBrokenError,
    LinkError,
    NoAnswerError,
    RigMismatchError,
    UnpluggedError,
)
from titrator.bench.events import MotionEnded, ReadingBlock


def ends(bench, seconds):
    """All motion ends told within so many seconds, and all blocks."""
    told, blocks = [], []
    until_s = bench._transport.now_s() + seconds
    while (left_s := until_s - bench._transport.now_s()) > 0:
        for event in bench.wait(left_s):
            (told if isinstance(event, MotionEnded) else blocks).append(event)
    return told, blocks


def away(world, seconds):
    """The host does not listen for so long; what the board sends meanwhile is lost."""
    until_s = world.now_s() + seconds
    while (left_s := until_s - world.now_s()) > 0:
        world.read(left_s)


def test_connecting_only_looks_and_tells_who_is_there(world, rig):
    bench = Bench(world, rig)
    identity = bench.connect()
    assert identity.boot == world.board.boot
    assert identity.session == 0
    assert identity == bench.identity
    status = bench.status()
    assert (status.session, status.steps, status.dose, status.moving) == (0, 0, 0, False)


def test_a_dose_goes_where_the_step_grid_allows_and_its_end_is_told_once(bench, world):
    aimed_mL = bench.move_to(1, 1.0001)
    assert math.isclose(aimed_mL, 1.0)
    assert aimed_mL == bench.grid_volume_mL(1.0001)
    begun_s = bench.now_s
    told, _ = ends(bench, 10)
    (ended,) = told
    assert (ended.dose, ended.steps, ended.reason) == (1, 1600, "arrived")
    assert math.isclose(ended.volume_mL, 1.0)
    assert abs(ended.t_s - begun_s - 6.0) < 0.01  # 1 mL at 10 mL/min
    assert world.board.burette.steps == 1600


def test_doses_are_absolute_so_roundings_do_not_add_up(bench, world):
    for dose in range(1, 101):
        bench.move_to(dose, dose * 0.01001)
        ends(bench, 0.3)
    assert world.board.burette.steps == round(100 * 0.01001 / 0.000625)


def test_asking_for_the_status_settles_a_dose_whose_end_was_lost(bench, world):
    bench.move_to(1, 0.1)
    away(world, 3)
    status = bench.status()
    assert (status.dose, status.dose_ended, status.moving, status.steps) == (1, "arrived", False, 160)
    (ended,) = [event for event in bench.wait(0.0) if isinstance(event, MotionEnded)]
    assert (ended.dose, ended.reason) == (1, "arrived")
    assert ended.t_s < status.t_s


def test_a_slower_dose_takes_its_time(bench):
    bench.move_to(1, 0.1, speed_mL_per_min=1.0)
    (ended,), _ = ends(bench, 8)
    assert abs(ended.t_s - 6.0) < 0.1


def test_a_long_dose_is_kept_alive_past_the_dead_man_time(bench):
    bench.move_to(1, 5.0)
    (ended,), _ = ends(bench, 40)
    assert ended.reason == "arrived"


def test_a_host_that_is_away_too_long_finds_the_dose_stopped_and_the_place_known(bench, world):
    bench.move_to(1, 5.0)
    away(world, 10)
    told, _ = ends(bench, 2)
    (ended,) = told
    assert ended.reason == "dead-man"
    assert ended.steps == world.board.burette.steps == 534  # 2 s of 3.75 ms steps, the last one finished
    bench.move_to(2, 5.0)
    (ended,), _ = ends(bench, 40)
    assert (ended.dose, ended.steps, ended.reason) == (2, 8000, "arrived")


def test_after_a_dose_that_stopped_short_a_nearer_target_is_allowed(bench, world):
    bench.move_to(1, 5.0)
    away(world, 10)
    ends(bench, 2)
    assert bench.move_to(2, 1.0) == pytest.approx(1.0)
    (ended,), _ = ends(bench, 10)
    assert (ended.steps, ended.reason) == (1600, "arrived")


def test_readings_come_in_order_without_a_gap_in_board_time(bench):
    _, blocks = ends(bench, 20)
    times = [t_s for block in blocks for t_s in block.t_s]
    assert len(times) in {199, 200}
    assert [round(b - a, 6) for a, b in itertools.pairwise(times)] == [0.1] * (len(times) - 1)
    assert all(block.missed == 0 and block.saturated == 0 for block in blocks)
    assert bench.now_s >= times[-1]


def test_potentials_are_whole_converter_steps_in_mV(bench, world):
    bench.move_to(1, 1.0)
    _, blocks = ends(bench, 10)
    last_mV = blocks[-1].potential_mV[-1]
    assert last_mV == round(last_mV, 1)
    assert abs(last_mV - 100.0 * world.board.burette.delivered_mL(world.board.now_us)) <= 0.05 + 1e-9


def test_saturated_readings_are_counted(make_world, rig):
    class Open:
        def sample(self, _t_s, _delivered_mL):
            return 5000.0

    bench = Bench(make_world(Open()), rig)
    bench.begin_run(1, 10.0)
    bench.start_readings()
    (block,) = bench.wait(2.0)
    assert isinstance(block, ReadingBlock)
    assert block.saturated == 5
    assert block.potential_mV[0] == 2000.0


def test_halting_tells_the_volume_at_rest_and_the_end_of_the_dose(bench, world):
    bench.move_to(1, 5.0)
    ends(bench, 3)
    volume_mL = bench.halt()
    (ended,), _ = ends(bench, 2)
    assert (ended.reason, ended.volume_mL) == ("halted", volume_mL)
    assert ended.steps == world.board.burette.steps
    assert math.isclose(volume_mL, ended.steps * 0.000625)
    assert 0.5 < volume_mL < 0.51  # 3 s at 10 mL/min
    assert bench.halt() == volume_mL  # nothing moves: nothing changes
    assert ends(bench, 1)[0] == []


def test_waiting_returns_as_soon_as_something_happens_or_after_the_time_out(bench, world):
    begun_s = world.now_s()
    assert bench.wait(0.2) == []
    assert abs(world.now_s() - begun_s - 0.2) < 1e-5
    assert len(bench.wait(60.0)) == 1
    assert world.now_s() - begun_s < 0.6
    assert bench.wait(0.0) == []


def test_what_cannot_be_dosed_is_refused_before_anything_is_sent(bench, world):
    requests = bench.counters.requests
    for dose, volume_mL, words in (
        (1, 20.001, "within the travel of this run, 20 mL, got 20.001 mL"),
        (1, -0.1, "cannot be taken back"),
        (0, 1.0, "whole number from 1"),
        (1, math.nan, "needs a volume, got nan"),
    ):
        with pytest.raises(DoseError, match=words):
            bench.move_to(dose, volume_mL)
    assert bench.counters.requests == requests
    assert world.board.burette.steps == 0
    with pytest.raises(DoseError, match="no run has begun"):
        Bench(world, bench._rig).move_to(1, 1.0)


def test_a_dose_below_the_plunger_is_refused(bench):
    bench.move_to(1, 1.0)
    ends(bench, 7)
    with pytest.raises(DoseError, match="at or beyond 1 mL"):
        bench.move_to(2, 0.999)


def test_a_number_used_twice_with_another_target_is_told(bench, world):
    bench.move_to(7, 0.1)
    ends(bench, 2)
    requests = bench.counters.requests
    assert bench.move_to(7, 0.1) == pytest.approx(0.1)  # the same again: harmless, and nothing to keep alive
    assert ends(bench, 3)[0] == []
    assert bench.counters.requests == requests + 1
    with pytest.raises(DoseError, match=r"dose 7 to step 320 was not taken: the board's newest is dose 7 to step 160"):
        bench.move_to(7, 0.2)
    with pytest.raises(DoseError, match="dose 3 to step 320 was not taken"):
        bench.move_to(3, 0.2)
    assert ends(bench, 2)[0] == []
    assert world.board.burette.steps == 160


def test_a_dose_while_another_is_under_way_is_refused_by_the_board(bench):
    bench.move_to(1, 1.0)
    with pytest.raises(BoardRefusedError, match="a dose to step 1600 is still under way") as caught:
        bench.move_to(2, 2.0)
    assert caught.value.reason is Reason.MOVING


def test_limits_stand_on_the_board_too_and_cannot_rise_in_a_session(bench):
    with pytest.raises(BoardRefusedError, match="a limit would rise above the 32000"):
        bench.begin_run(0xBEEF, 21.0)
    bench._plunger._highest = bench._plunger.travel_steps = 10**6  # a host that forgot its own limit
    with pytest.raises(BoardRefusedError, match="this session ends at step 32000") as caught:
        bench.move_to(1, 24.0)
    assert caught.value.reason is Reason.BEYOND_LIMIT


def test_a_second_run_counts_from_where_the_plunger_stands(bench, world):
    bench.move_to(1, 1.0)
    ends(bench, 7)
    bench.begin_run(0xBEF0, 10.0)
    assert bench.origin_steps == 1600
    assert bench.move_to(1, 0.5) == pytest.approx(0.5)
    (ended,), _ = ends(bench, 5)
    assert (ended.steps, ended.volume_mL) == (2400, pytest.approx(0.5))
    bench.begin_run(0xBEF2, 1.0)
    with pytest.raises(DoseError, match="at or beyond 0 mL"):
        bench.move_to(1, -0.1)
    with pytest.raises(DoseError, match=r"23\.5 mL left"):
        bench.begin_run(0xBEF1, 24.0)


def test_a_restarted_host_goes_on_in_the_same_session(bench, world, rig):
    bench.move_to(1, 3.0)
    ends(bench, 2)
    again = Bench(world, rig)
    identity = again.connect()
    assert (identity.session, identity.boot) == (0xBEEF, world.board.boot)
    status = again.begin_run(0xBEEF, 20.0, origin_steps=0)
    assert (status.dose, status.moving, status.dose_ended) == (1, True, None)
    again.start_readings()
    (ended,), blocks = ends(again, 20)
    assert (ended.dose, ended.reason, ended.volume_mL) == (1, "arrived", pytest.approx(3.0))
    assert blocks[0].first_index > 0
    assert all(block.missed == 0 for block in blocks)


def test_a_restarted_host_learns_how_a_dose_ended_meanwhile(bench, world, rig):
    bench.move_to(1, 3.0)
    away(world, 30)
    again = Bench(world, rig)
    status = again.begin_run(0xBEEF, 20.0, origin_steps=0)
    assert (status.dose, status.dose_ended, status.moving) == (1, "dead-man", False)
    assert status.steps == world.board.burette.steps
    assert status.dose_target_steps == 4800
    assert again.move_to(2, 3.0) == pytest.approx(3.0)


@pytest.mark.parametrize("moving", [True, False])
def test_a_board_that_restarted_is_found_out(bench, world, moving):
    if moving:
        bench.move_to(1, 5.0)
    ends(bench, 1)
    world.board.restart(0x1234)
    with pytest.raises(
        BoardRestartedError, match=rf"{bench.identity.boot:08x} until now, 00001234 in Status"
    ) as caught:
        ends(bench, 10)
    assert re.search("Last heard before: (Readings|Status) #", str(caught.value))
    assert "Next:" in str(caught.value)


def test_another_program_that_opens_a_session_is_found_out(bench, world, rig):
    bench.move_to(1, 5.0)
    ends(bench, 1)
    Bench(world, rig).begin_run(0xABCD, 1.0)
    with pytest.raises(LinkError, match="the session should be 0000beef, but the board's is 0000abcd"):
        ends(bench, 5)


def test_a_silent_board_is_asked_and_then_named_with_what_was_last_heard(bench, world, faulty):
    ends(bench, 1)
    bench._link._transport = faulty(world, lambda direction, _count: "lose" if direction == "in" else "pass")
    with pytest.raises(NoAnswerError) as caught:
        ends(bench, 30)
    text = str(caught.value)
    assert "no answer to AskStatus" in text
    assert "4 attempts of 0.25 s each" in text
    assert "Last heard: Readings" in text
    assert "(3 repeats)" in text
    assert text.index("the cable was pulled") < text.index("Next:")


def test_a_board_that_was_never_there_gets_other_causes(world, rig, faulty):
    deaf = faulty(world, lambda _direction, _count: "lose")
    with pytest.raises(NoAnswerError, match=r"nothing since the link was opened.*the board has no power"):
        Bench(deaf, rig).connect()


def test_a_closed_or_broken_way_is_an_error_of_its_own(bench):
    bench.close()
    with pytest.raises(LinkBrokenError, match=r"was closed by this program.*Last heard"):
        bench.wait(1.0)
    with pytest.raises(LinkBrokenError, match="Next: connect again"):
        bench.move_to(1, 1.0)


def test_a_way_that_vanishes_is_unplugged_and_says_what_was_last_heard(bench, world, monkeypatch):
    bench.move_to(1, 1.0)

    def vanish(_timeout_s):
        raise ConnectionError("/dev/ttyACM0: read failed")

    monkeypatch.setattr(world, "read", vanish)
    with pytest.raises(UnpluggedError, match=r"ttyACM0: read failed.*Last heard: DoseReport.*Next: plug it in again"):
        bench.wait(1.0)


def test_a_board_that_is_not_the_rigs_is_told_in_full(world, rig):
    burette = rig.burette.model_copy(update={"stroke_mL": 10.0, "top_speed_mL_per_min": 20.0})
    other = rig.model_copy(update={"burette": burette})
    with pytest.raises(RigMismatchError) as caught:
        Bench(world, other).connect()
    assert "stroke in steps: 16000 in the rig file, 40000 on the board" in str(caught.value)
    assert "a step of 1875 µs in the rig file, at least 3750 µs on the board" in str(caught.value)


def test_asking_for_an_identity_before_connecting_says_what_to_do(world, rig):
    with pytest.raises(LinkError, match=r"call connect\(\) first"):
        _ = Bench(world, rig).identity


def test_the_same_seed_gives_the_same_run_to_the_bit(make_world, rig):
    def run(seed):
        bench = Bench(make_world(seed=seed), rig)
        bench.begin_run(5, 20.0)
        bench.start_readings()
        bench.move_to(1, 2.0)
        return ends(bench, 20)

    assert run(3) == run(3)
    assert run(3) != run(4)
