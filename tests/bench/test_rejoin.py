"""Finding the board again: what was sent and not answered is settled, or the volume is called uncertain with bounds.

Checked against the simulated board's own count of steps (our own protocol: no outside source).
"""

import pytest

from titrator.bench.bench import Bench
from titrator.bench.errors import (
    BoardRestartedError,
    DoseError,
    LinkError,
    NoAnswerError,
    PositionLostError,
    UnpluggedError,
    WrongBoardError,
)
from titrator.bench.events import MotionEnded, ReadingBlock

NEXT = 0xCAFE


def ended(bench, seconds=5.0):
    until_s = bench._transport.now_s() + seconds
    told = []
    while bench._transport.now_s() < until_s:
        told += [each for each in bench.wait(until_s - bench._transport.now_s()) if isinstance(each, MotionEnded)]
    return told


def silent(bench, world, faulty, struck=lambda _count: True):
    """Answers get lost from now on."""
    bench._link._transport = faulty(world, lambda way, count: "lose" if way == "in" and struck(count) else "pass")


def test_a_dose_whose_answer_was_lost_is_settled_in_a_new_session(bench, world, faulty):
    silent(bench, world, faulty)
    with pytest.raises(NoAnswerError):
        bench.move_to(1, 0.1)
    joined = bench.rejoin(NEXT)
    assert world.board.session == NEXT
    assert (joined.reset, joined.within, joined.ended.dose, joined.ended.reason) == (False, 0, 1, "arrived")
    assert joined.steps == world.board.burette.steps == 160
    (told,) = ended(bench)
    assert (told.dose, told.steps) == (1, 160)
    assert bench.move_to(2, 0.2) == pytest.approx(0.2)


def test_a_dose_that_never_arrived_leaves_everything_where_it_was(bench, world, faulty):
    bench._link._transport = faulty(world, lambda way, _count: "lose" if way == "out" else "pass")
    with pytest.raises(NoAnswerError):
        bench.move_to(1, 0.1)
    assert bench.motions.bounds == (0, 160)
    joined = bench.rejoin(NEXT)
    assert (joined.ended, joined.steps) == (None, 0)
    assert bench.motions.bounds == (0, 0)
    assert ended(bench) == []
    assert bench.move_to(2, 0.1) == pytest.approx(0.1)  # its number is used up


def test_readings_go_on_behind_the_new_session(bench, world, faulty):
    silent(bench, world, faulty)
    with pytest.raises(NoAnswerError):
        bench.status()
    before_s = bench.now_s
    bench.rejoin(NEXT)
    blocks = [each for _ in range(8) for each in bench.wait(1.0) if isinstance(each, ReadingBlock)]
    assert blocks[0].first_index == 0
    times = [t_s for block in blocks for t_s in block.t_s]
    assert times == sorted(times)
    assert times[0] > before_s - 0.5


@pytest.mark.parametrize("miscounted", [-1, 0, 1])
def test_after_a_reset_in_motion_the_count_goes_on_within_a_step(bench, world, miscounted):
    bench.move_to(1, 5.0)
    for _ in range(3):
        bench.wait(0.5)
    t_s = bench.now_s
    world.board.reset(0x1234, miscounted=miscounted)
    with pytest.raises(BoardRestartedError):
        ended(bench)
    joined = bench.rejoin(NEXT)
    assert (joined.reset, joined.within, joined.ended.reason) == (True, 1, "reset")
    assert joined.steps == world.board.burette.steps + miscounted
    assert bench.within_steps == 1
    assert bench.now_s >= t_s  # the board's clock began anew; the run's goes on
    assert bench.move_to(2, 5.0) == pytest.approx(5.0)
    (told, arrived) = ended(bench, 40.0)
    assert (told.reason, arrived.reason, arrived.steps) == ("reset", "arrived", 8000)
    assert abs(world.board.burette.pushed_steps - 8000) <= 1


@pytest.mark.parametrize(("moving", "resets_after"), [(True, 0), (False, 0), (True, 1)])
def test_after_a_loss_of_power_the_volume_is_uncertain_and_nothing_moves(bench, world, rig, moving, resets_after):
    bench.move_to(1, 1.0)
    ended(bench, 10.0)
    if moving:
        bench.move_to(2, 2.0)
        bench.wait(0.5)
    world.board.lose_power(0x1234, snap_steps=7)
    for number in range(resets_after):  # a reset behind it keeps a count that is not ours
        world.board.reset(0x2000 + number)
    made = world.board.burette.pushed_steps
    with pytest.raises(BoardRestartedError):
        ended(bench)
    with pytest.raises(PositionLostError, match="lost its count of steps") as lost:
        bench.rejoin(NEXT)
    low, high = lost.value.bounds
    snap = rig.burette.microsteps
    assert (low, high) == (1600 - snap, (3200 if moving else 1600) + snap)
    assert low <= made <= high
    with pytest.raises(DoseError, match="not certain any more"):
        bench.move_to(3, 3.0)


def test_a_count_that_another_program_moved_is_not_taken_for_ours(bench, world, rig):
    bench.move_to(1, 0.1)
    ended(bench)
    other = Bench(world, rig)
    other.begin_run(7, 1.0)
    other.move_to(1, 0.05)
    for _ in range(5):
        other.wait(1.0)
    with pytest.raises(LinkError):
        bench.status()
    with pytest.raises(PositionLostError, match="another program moved the burette"):
        bench.rejoin(NEXT)


def test_another_board_at_the_port_is_refused(bench, make_world, world, rig):
    other = make_world(seed=2)
    object.__setattr__(other.board._settings, "identity", 0x0BADCAFE)

    class Way:
        def open(self):
            return other

        def pause(self, duration_s):
            raise AssertionError(duration_s)

    bench._way = Way()
    world.close()
    with pytest.raises(LinkError) as broken:
        bench.status()
    bench.lost(broken.value)
    with pytest.raises(WrongBoardError, match="0badcafe"):
        bench.rejoin(NEXT)


def test_a_way_that_is_broken_is_opened_anew(bench, world):
    opened = []

    class Way:
        def open(self):
            opened.append(True)
            if len(opened) < 3:
                raise UnpluggedError("nothing there")
            return type(world)(world.board)

        def pause(self, duration_s):
            world.board.run_until(world.board.now_us + round(duration_s * 1e6))

    bench._way = Way()
    bench.move_to(1, 0.1)
    world.close()
    with pytest.raises(LinkError) as broken:
        bench.wait(1.0)
    bench.lost(broken.value)
    for _ in range(2):
        with pytest.raises(UnpluggedError):
            bench.rejoin(NEXT)
        bench.pause(1.0)
    joined = bench.rejoin(NEXT)
    assert (joined.steps, bench.counters.reconnects) == (160, 1)


def test_a_board_that_is_given_up_leaves_bounds(bench):
    bench.move_to(1, 0.1)
    assert bench.give_up() == (0, 160)
    with pytest.raises(DoseError, match="not certain any more"):
        bench.move_to(2, 0.2)
