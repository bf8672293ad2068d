"""Refilling and priming by the controller, on a perfect bench with a small burette. No wire, no lag."""

import dataclasses
import itertools

import pytest
from bench_stub import PerfectBench
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import PRIMING, REFILL, FixedSettings, plan

from titrator.control.actions import Ask, Enter, Finish, Halt, MoveTo, Prime, Refill, Sample
from titrator.control.controller import Controller
from titrator.control.ends import Cause
from titrator.control.events import (
    Answered,
    Begin,
    Halted,
    LinkFaltered,
    MoveDone,
    OperatorSaid,
    Primed,
    Reading,
    Refilled,
    Tick,
    Trouble,
    Word,
)
from titrator.control.holds import HoldCause
from titrator.control.priming import IN_PLACE, OVER_WASTE
from titrator.control.states import State


def curve(volume_mL):
    return 300.0 + 20.0 * volume_mL + (300.0 if volume_mL > 12.0 else 0.0)


def ran(stroke_mL, **changes):
    left_mL = changes.pop("left_mL", None)
    bench = PerfectBench(Controller(plan(refill=REFILL, **changes)), curve, stroke_mL=stroke_mL, left_mL=left_mL)
    bench.run()
    return bench


def test_points_lie_at_the_same_volumes_whatever_the_burette_holds():
    large, small = ran(25.0), ran(4.0)
    assert [p.volume_mL for p in small.points] == pytest.approx([p.volume_mL for p in large.points])
    assert small.finish.ending == large.finish.ending
    assert large.refills == []
    assert len(small.refills) == 3  # 12 mL and six points more, in strokes of 4 mL


def test_an_addition_cut_by_a_refill_has_no_point_in_between_and_every_filling_is_used_up():
    small = ran(4.0, additions=FixedSettings(0.7))
    volumes = [point.volume_mL for point in small.points]
    assert {round(b - a, 9) for a, b in itertools.pairwise(volumes)} == {0.7}
    assert small.refills == pytest.approx([4.0, 8.0, 12.0, 16.0][: len(small.refills)])


def test_an_addition_larger_than_a_stroke_is_delivered_all_the_same():
    small = ran(0.5, additions=FixedSettings(2.0))
    assert [round(point.volume_mL, 9) for point in small.points[:3]] == [0.0, 2.0, 4.0]


def test_a_burette_that_is_not_ready_is_refilled_before_the_first_addition():
    small = ran(4.0, left_mL=0.0)
    assert small.refills[0] == 0.0
    assert small.points[0].volume_mL == 0.0  # the initial potential needs no titrant


@settings(max_examples=20)
@given(st.floats(0.3, 30.0), st.floats(0.4, 3.0), st.floats(0.0, 1.0))
def test_whatever_the_stroke_the_run_ends_alike(stroke_mL, addition_mL, part):
    ends = {"volume_above_mL": 15.0, "time_over_s": 1e6}  # refills take time of their own
    small = ran(stroke_mL, additions=FixedSettings(addition_mL), left_mL=part * stroke_mL, **ends)
    large = ran(1e3, additions=FixedSettings(addition_mL), **ends)
    assert small.finish.ending.cause is large.finish.ending.cause
    assert abs(len(small.points) - len(large.points)) <= 1  # a step may decide on which side of the jump a point lies
    # A stroke may end up to a step of 0.625 µL short of an addition's goal.
    for a, b in zip(small.points, large.points, strict=False):
        assert abs(a.volume_mL - b.volume_mL) <= 0.000625 * (len(small.refills) + 1)


def test_without_refills_the_end_of_the_stroke_is_a_fault_that_says_what_to_do():
    bench = PerfectBench(Controller(plan()), curve, stroke_mL=4.0)
    bench.run()
    assert bench.finish.state is State.FAULTED
    assert bench.finish.ending.cause is Cause.BURETTE
    assert "switch refills on" in bench.finish.ending.sentence


class TestWithinARefill:
    """Events fed by hand."""

    def refilling(self):
        controller = Controller(plan(refill=REFILL, additions=FixedSettings(1.0)))
        controller.handle(Begin(0.0, 0.4))
        t_s, ripple = 0.0, 0.1
        while controller.state is not State.DOSING:
            t_s, ripple = t_s + 0.1, -ripple
            actions = controller.handle(Reading(t_s, 300.0 + ripple))
        (move,) = [action for action in actions if isinstance(action, MoveTo)]
        assert (move.volume_mL, move.more) == (0.4, True)
        actions = controller.handle(MoveDone(t_s + 3.0, move.dose, 0.4, True))
        assert [type(action) for action in actions] == [Enter, Refill]
        assert controller.state is State.REFILLING
        assert actions[1].dose == move.dose + 1
        return controller, actions[1].dose, t_s + 3.0

    def test_the_remainder_follows_under_a_number_of_its_own(self):
        controller, dose, t_s = self.refilling()
        actions = controller.handle(Refilled(t_s + 50.0, dose, 4.0))
        assert actions[-1] == MoveTo(dose + 2, 1.0, False)
        assert controller.state is State.DOSING

    def test_readings_meanwhile_make_no_point(self):
        controller, _, t_s = self.refilling()
        for index in range(500):
            assert controller.handle(Reading(t_s + 0.1 * index, 300.0 + 0.1 * (-1) ** index)) == []

    @pytest.mark.parametrize(
        ("event", "state"),
        [
            (lambda t_s: OperatorSaid(t_s, Word.HOLD), State.HELD),
            (lambda t_s: OperatorSaid(t_s, Word.STOP), State.STOPPED),
            (lambda t_s: Trouble(t_s, "the valve is stuck", Cause.BURETTE), State.FAULTED),
            (lambda t_s: LinkFaltered(t_s, "no answer"), State.HELD),
        ],
    )
    def test_whatever_ends_it_halts_first(self, event, state):
        controller, dose, t_s = self.refilling()
        assert isinstance(controller.handle(event(t_s + 10.0))[-1], Halt)
        controller.handle(Halted(t_s + 10.1, 0.4, 0.0))
        assert controller.state is state
        assert controller.handle(Refilled(t_s + 11.0, dose, 4.0)) == []  # late: nothing moves
        assert controller.state is state

    def test_after_a_hold_the_refill_is_begun_anew_for_the_next_addition(self):
        controller, dose, t_s = self.refilling()
        controller.handle(OperatorSaid(t_s + 10.0, Word.HOLD))
        controller.handle(Halted(t_s + 10.1, 0.4, 0.0))
        controller.handle(OperatorSaid(t_s + 20.0, Word.CONTINUE))
        assert controller.state is State.SETTLING
        t_s, actions = t_s + 20.0, []
        while controller.state is not State.REFILLING:
            t_s += 0.1
            actions = controller.handle(Reading(t_s, 320.0 + 0.1 * (-1) ** round(10 * t_s)))
        assert actions[-1] == Refill(dose + 2)

    def test_a_refill_that_is_never_reported_is_a_fault(self):
        controller, _, t_s = self.refilling()
        assert controller.handle(Tick(t_s + 119.0)) == []
        assert isinstance(controller.handle(Tick(t_s + 121.0))[-1], Halt)
        actions = controller.handle(Halted(t_s + 121.1, 0.4, 0.0))
        assert isinstance(actions[-1], Finish)
        assert actions[-1].ending.cause is Cause.BURETTE
        assert "refilling was not reported done" in actions[-1].ending.sentence

    def test_a_refill_that_leaves_nothing_to_deliver_is_a_fault_and_not_repeated_for_ever(self):
        controller, dose, t_s = self.refilling()
        assert isinstance(controller.handle(Refilled(t_s + 50.0, dose, 0.0))[-1], Halt)


class TestPriming:
    def asked(self):
        controller = Controller(plan(refill=REFILL, priming=PRIMING))
        actions = controller.handle(Begin(0.0, 0.0))
        assert [type(action) for action in actions] == [Enter, Ask]
        assert controller.state is State.HELD
        assert controller.held.cause is HoldCause.QUESTION
        assert actions[1].question.text == OVER_WASTE
        return controller, actions[1].question.number

    def priming(self):
        controller, number = self.asked()
        actions = controller.handle(Answered(5.0, number, True))
        assert [type(action) for action in actions] == [Enter, Prime]
        assert (actions[1].purge_mL, actions[1].empty_first) == (0.75, False)
        assert controller.state is State.PRIMING
        return controller, actions[1].dose

    def test_from_question_to_question_to_the_initial_potential(self):
        bench = PerfectBench(Controller(plan(refill=REFILL, priming=PRIMING)), curve, stroke_mL=4.0, left_mL=0.0)
        bench.run()
        assert bench.questions == [OVER_WASTE, IN_PLACE]
        assert bench.primings == 1
        assert bench.finish.ending.cause is Cause.POINTS
        assert bench.points[0].volume_mL == 0.0

    def test_nothing_moves_before_the_answer_whatever_else_is_said(self):
        controller, number = self.asked()
        for event in (
            OperatorSaid(1.0, Word.CONTINUE),
            OperatorSaid(1.0, Word.HOLD),
            Answered(2.0, number + 1, True),
            Reading(3.0, 300.0),
            Tick(4.0),
        ):
            assert not [a for a in controller.handle(event) if isinstance(a, Prime | MoveTo | Refill | Sample)]
        assert controller.state is State.HELD

    def test_a_no_ends_the_run(self):
        controller, number = self.asked()
        controller.handle(Answered(5.0, number, False))
        actions = controller.handle(Halted(5.1, 0.0, 0.0))
        assert isinstance(actions[-1], Finish)
        assert controller.state is State.STOPPED

    def test_a_priming_broken_off_is_asked_for_again(self):
        controller, dose = self.priming()
        controller.handle(OperatorSaid(10.0, Word.HOLD))
        controller.handle(Halted(10.1, 0.0, 0.0))
        assert controller.handle(Primed(11.0, dose, 4.0)) == []
        actions = controller.handle(OperatorSaid(20.0, Word.CONTINUE))
        assert [type(action) for action in actions] == [Ask]
        assert controller.state is State.HELD
        assert controller.held.cause is HoldCause.QUESTION
        again = controller.handle(Answered(25.0, actions[0].question.number, True))
        assert isinstance(again[-1], Prime)
        assert again[-1].dose > dose + 99

    def test_the_sample_is_asked_for_behind_the_priming_and_then_it_is_never_primed_again(self):
        controller, dose = self.priming()
        actions = controller.handle(Primed(100.0, dose, 4.0))
        assert isinstance(actions[-1], Halt)
        assert controller.question.text == IN_PLACE
        controller.handle(Halted(100.1, 0.0, 4.0))
        assert controller.state is State.HELD
        actions = controller.handle(Answered(130.0, controller.question.number, True))
        assert [type(action) for action in actions] == [Enter, Sample]
        assert controller.state is State.INITIAL
        controller.handle(OperatorSaid(131.0, Word.HOLD))
        controller.handle(Halted(131.1, 0.0, 4.0))
        controller.handle(OperatorSaid(140.0, Word.CONTINUE))
        assert controller.state is State.INITIAL

    def test_an_answer_while_the_run_comes_to_rest_for_the_question_counts(self):
        controller, dose = self.priming()
        controller.handle(Primed(100.0, dose, 4.0))
        controller.handle(Answered(100.05, controller.question.number, True))
        controller.handle(Halted(100.1, 0.0, 4.0))
        assert controller.state is State.INITIAL

    def test_a_sample_in_place_and_a_priming_do_not_go_together(self):
        with pytest.raises(ValueError, match="expected no sample in place"):
            dataclasses.replace(plan(priming=PRIMING), sample_in_place=True)
