"""Why a run is held, where it came from, and what ends the hold. Pure: events in, actions out."""

import pytest
from plans import plan

from titrator.control.actions import Ask, Enter, Finish, Halt, MoveTo
from titrator.control.controller import Controller
from titrator.control.events import Answered, Begin, Halted, LinkBack, LinkFaltered, OperatorSaid, Tick, Word
from titrator.control.holds import Hold, HoldCause
from titrator.control.states import State


def reading_controller():
    """A controller that reads the initial potential since 10 s."""
    controller = Controller(plan())
    controller.handle(Begin(10.0))
    assert controller.state is State.INITIAL
    return controller


def entered(actions):
    return [(action.state, action.hold) for action in actions if isinstance(action, Enter)]


def test_the_operators_hold_knows_where_it_came_from():
    controller = reading_controller()
    controller.handle(OperatorSaid(11.0, Word.HOLD))
    assert controller.held == Hold(HoldCause.OPERATOR, State.INITIAL)
    assert entered(controller.handle(Halted(11.1, 0.0))) == [(State.HELD, Hold(HoldCause.OPERATOR, State.INITIAL))]
    controller.handle(OperatorSaid(12.0, Word.CONTINUE))
    assert controller.held is None


def test_a_board_that_answers_the_halt_again_leaves_the_run_held():
    controller = reading_controller()
    actions = controller.handle(LinkFaltered(11.0, "no answer"))
    assert any(isinstance(action, Halt) for action in actions)
    controller.handle(Halted(11.5, 0.0))
    assert (controller.state, controller.held) == (State.HELD, Hold(HoldCause.LINK, State.INITIAL))
    assert controller.ending is None
    controller.handle(OperatorSaid(60.0, Word.CONTINUE))
    assert controller.state is State.INITIAL


def test_a_run_held_for_the_link_goes_on_when_the_link_is_back():
    controller = reading_controller()
    controller.handle(LinkFaltered(11.0, "no answer"))
    assert controller.handle(LinkBack(11.2, "back")) == []  # not at rest yet
    controller.handle(Halted(11.5, 0.0))
    controller.handle(LinkBack(12.0, "back"))
    assert (controller.state, controller.held) == (State.INITIAL, None)


@pytest.mark.parametrize("halted_first", [True, False])
def test_a_run_that_the_operator_holds_meanwhile_waits_for_the_operator(halted_first):
    controller = reading_controller()
    controller.handle(LinkFaltered(11.0, "no answer"))
    for event in (Halted(11.5, 0.0), OperatorSaid(11.6, Word.HOLD))[:: 1 if halted_first else -1]:
        controller.handle(event)
    assert controller.held.cause is HoldCause.OPERATOR
    assert controller.handle(LinkBack(12.0, "back")) == []
    assert controller.state is State.HELD
    controller.handle(OperatorSaid(13.0, Word.CONTINUE))
    assert controller.state is State.INITIAL


def test_a_board_that_does_not_leaves_it_faulted():
    controller = reading_controller()
    controller.handle(LinkFaltered(11.0, "no answer"))
    actions = controller.handle(Tick(11.0 + controller.halt_within_s))
    assert controller.state is State.FAULTED
    assert any(isinstance(action, Finish) for action in actions)
    assert "uncertain" in controller.ending.sentence


def test_before_anything_has_begun_a_silent_board_is_a_fault():
    controller = Controller(plan())
    controller.handle(LinkFaltered(1.0, "no answer"))
    assert controller.state is State.FAULTED


def test_an_operators_hold_becomes_one_of_the_link_when_the_board_falls_silent_and_only_once():
    controller = reading_controller()
    controller.handle(OperatorSaid(11.0, Word.HOLD))
    controller.handle(Halted(11.1, 0.0))
    told = entered(controller.handle(LinkFaltered(20.0, "no answer")))
    assert told == [(State.HELD, Hold(HoldCause.LINK, State.INITIAL))]
    assert controller.handle(LinkFaltered(21.0, "no answer")) == []


class TestQuestion:
    def asked(self):
        controller = reading_controller()
        controller._actions = []
        controller._ask(11.0, "Is the tip immersed?")
        return controller, controller._actions

    def test_the_run_rests_while_it_waits_for_the_answer(self):
        controller, actions = self.asked()
        (ask,) = [action for action in actions if isinstance(action, Ask)]
        assert ask.question == controller.question
        assert any(isinstance(action, Halt) for action in actions)
        controller.handle(Halted(11.1, 0.0))
        assert controller.held == Hold(HoldCause.QUESTION, State.INITIAL)
        assert controller.handle(OperatorSaid(12.0, Word.CONTINUE)) == []  # it must be answered, not passed over
        assert controller.state is State.HELD

    @pytest.mark.parametrize(("yes", "state"), [(True, State.INITIAL), (False, State.HALTING)])
    def test_yes_goes_on_and_no_ends(self, yes, state):
        controller, _ = self.asked()
        controller.handle(Halted(11.1, 0.0))
        controller.handle(Answered(12.0, controller.question.number, yes))
        assert controller.state is state
        assert controller.question is None
        if not yes:
            controller.handle(Halted(12.1, 0.0))
            assert controller.state is State.STOPPED
            assert "Is the tip immersed?" in controller.ending.sentence

    def test_an_answer_to_another_question_is_none(self):
        controller, _ = self.asked()
        controller.handle(Halted(11.1, 0.0))
        assert controller.handle(Answered(12.0, controller.question.number + 1, True)) == []
        assert controller.state is State.HELD

    def test_an_answer_that_comes_before_the_motor_rests_counts(self):
        controller, _ = self.asked()
        controller.handle(Answered(11.05, controller.question.number, True))
        actions = controller.handle(Halted(11.1, 0.0))
        assert controller.state is State.INITIAL
        assert not any(isinstance(action, MoveTo) for action in actions)
