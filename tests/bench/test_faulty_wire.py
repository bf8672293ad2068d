"""Frames lost, doubled, delayed, cut and corrupted: never a double dose, and always a right place or a named end."""

import itertools
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_protocol.messages import AskStatus, DoseReport, Halt, Status
from titrator.bench.bench import Bench
from titrator.bench.errors import NoAnswerError
from titrator.bench.events import MotionEnded

TARGETS_mL = (0.5, 0.52, 2.0)
FATES = ("pass", "lose", "double", "corrupt", "delay", "cut")


def persist(action):
    """Ask again while there is no answer, as a resumed run would."""
    for _ in range(40):
        try:
            return action()
        except NoAnswerError:
            continue
    raise AssertionError("the wire is sound by now, yet there is no answer")


def deliver(bench):
    """Deliver the targets one after the other; each dose's end, and all blocks."""
    ended, blocks, dose = [], [], 0
    for target_mL in TARGETS_mL:
        reason = None
        while reason != "arrived":
            dose += 1
            number = dose
            persist(lambda number=number, target_mL=target_mL: bench.move_to(number, target_mL))
            reason = None
            while reason is None:
                for event in persist(lambda: bench.wait(5.0)):
                    if isinstance(event, MotionEnded):
                        assert event.dose == number, "each dose is told once, in order"
                        ended.append(event)
                        reason = event.reason
                    else:
                        blocks.append(event)
    return ended, blocks


def run(make_world, rig, faulty, fates, **how):
    world = make_world()
    wire = faulty(world, fates, **how)
    bench = Bench(wire, rig)
    persist(lambda: bench.begin_run(0xBEEF, 20.0))
    persist(bench.start_readings)
    ended, blocks = deliver(bench)
    return world, bench, ended, blocks


@settings(max_examples=300)
@given(
    seed=st.integers(0, 2**32 - 1),
    bad_frames=st.sampled_from([0.03, 0.1, 0.3, 0.6]),
    sound_after=st.sampled_from([30, 100, 300]),
    delay_s=st.sampled_from([0.05, 0.3, 0.6, 1.7, 4.0]),
    piece=st.sampled_from([None, 1, 7]),
)
def test_whatever_the_wire_does_no_dose_is_doubled_and_all_ends_are_known(  # noqa: PLR0917 - fixtures
    make_world, rig, faulty, seed, bad_frames, sound_after, delay_s, piece
):
    random = Random(seed)

    def fate(_direction, count):
        return random.choice(FATES) if count < sound_after and random.random() < bad_frames else "pass"

    world, bench, ended, blocks = run(make_world, rig, faulty, fate, delay_s=delay_s, piece=piece)
    assert world.board.burette.steps == bench._burette.steps(TARGETS_mL[-1])
    assert ended[-1].steps == world.board.burette.steps
    for before, after in itertools.pairwise(ended):
        assert before.dose < after.dose
        assert before.steps <= after.steps
    for end in ended:
        assert end.reason in {"arrived", "dead-man", "halted"}
        if end.reason == "arrived":
            assert end.steps in [bench._burette.steps(target_mL) for target_mL in TARGETS_mL]
    told = sum(len(block.t_s) for block in blocks)
    missed = sum(block.missed for block in blocks)
    if blocks:
        assert told + missed == blocks[-1].first_index + len(blocks[-1].t_s)
        times = [t_s for block in blocks for t_s in block.t_s]
        assert times == sorted(times)


@pytest.mark.parametrize("fate", FATES)
@pytest.mark.parametrize("direction", ["out", "in"])
@pytest.mark.parametrize("struck", range(12))
def test_one_struck_frame_costs_time_only(make_world, rig, faulty, fate, direction, struck):  # noqa: PLR0917 - fixtures
    world, bench, ended, _ = run(
        make_world, rig, faulty, lambda way, count: fate if (way, count) == (direction, struck) else "pass"
    )
    assert [end.reason for end in ended] == ["arrived"] * 3
    assert world.board.burette.steps == 3200
    assert bench.counters.repeats <= 1


def test_the_wire_a_byte_at_a_time_gives_the_same_events(make_world, rig, faulty):
    _, _, ended, blocks = run(make_world, rig, faulty, lambda *_: "pass")
    _, _, ended_bytewise, blocks_bytewise = run(make_world, rig, faulty, lambda *_: "pass", piece=1)
    assert (ended, blocks) == (ended_bytewise, blocks_bytewise)


def test_a_repeat_bears_the_same_bytes_as_the_first_attempt(bench, world, faulty):
    wire = faulty(world, lambda direction, count: "lose" if (direction, count) == ("out", 0) else "pass")
    bench._link._transport = wire
    bench.move_to(1, 0.1)
    assert len(wire.sent) == 2
    assert wire.sent[0] == wire.sent[1]


def test_a_late_answer_does_not_answer_the_next_question(world, rig, faulty):
    bench = Bench(world, rig)
    bench.begin_run(1, 20.0)
    bench.move_to(1, 5.0)
    # Every answer to the first question comes 1.1 s late: just after it was given up, into the second question.
    wire = faulty(world, lambda direction, count: "delay" if direction == "in" and count < 4 else "pass", delay_s=1.1)
    bench._link._transport = wire
    with pytest.raises(NoAnswerError):
        bench._link.ask(AskStatus(), Status)
    before = bench._link.counters.stale_answers
    while not wire.arrived and wire.held:
        wire.held = [(world.now_s(), *item[1:]) for item in wire.held]  # all of them are there now
        wire._release()
    report = bench._link.ask(Halt(), DoseReport)
    assert bench._link.counters.stale_answers == before + 4
    assert report.position == world.board.burette.steps


def test_a_lost_end_of_motion_is_asked_for(bench, world, faulty):
    wire = faulty(world, lambda direction, count: "lose" if (direction, count) == ("in", 1) else "pass")
    bench._link._transport = wire
    bench._clock._transport = wire
    bench.move_to(1, 0.01)  # 16 steps, 60 ms: the answer, then the end of motion or a block
    told = [event for _ in range(6) for event in bench.wait(1.0) if isinstance(event, MotionEnded)]
    assert [(event.dose, event.reason, event.steps) for event in told] == [(1, "arrived", 16)]


def test_lost_blocks_are_counted_not_papered_over(bench, world, faulty):
    wire = faulty(world, lambda direction, count: "lose" if direction == "in" and count in {1, 2} else "pass")
    bench._link._transport = wire
    blocks = [event for _ in range(8) for event in bench.wait(2.0)]
    assert [block.missed for block in blocks] == [0, 10, 0, 0, 0, 0, 0, 0]
    assert bench.counters.events_missed == 2


def test_damage_is_counted_and_named_as_a_cause(bench, world, faulty):
    bench._link._transport = faulty(world, lambda direction, _count: "corrupt" if direction == "in" else "pass")
    with pytest.raises(NoAnswerError, match="the line is disturbed"):
        bench.move_to(1, 1.0)
    assert bench.counters.damaged_frames >= 4
