"""A second reading at the same volume tells the rules nothing: the addition after a hold is the one planned before."""

import pytest
from plans import plan

from titrator.control.actions import MoveTo
from titrator.control.controller import Controller
from titrator.control.events import Begin, Halted, MoveDone, OperatorSaid, Reading, Word
from titrator.control.states import State


def settled(controller, t_s, potential_mV):
    """Feed a still potential until the next move is asked for."""
    for index in range(2000):
        t_s += 0.1
        for action in controller.handle(Reading(t_s, potential_mV + (0.1 if index % 2 else -0.1))):
            if isinstance(action, MoveTo):
                return action, t_s
    raise AssertionError("no move was asked for")


def test_a_hold_before_the_plunger_moved_does_not_change_the_addition():
    controller = Controller(plan())
    controller.handle(Begin(0.0))
    move, t_s = settled(controller, 0.0, 300.0)
    for potential_mV in (330.0, 360.0, 380.0):
        controller.handle(MoveDone(t_s + 1.0, move.dose, move.volume_mL, True))
        rests_mL = move.volume_mL
        move, t_s = settled(controller, t_s + 1.0, potential_mV)
    controller.handle(OperatorSaid(t_s, Word.HOLD))
    controller.handle(Halted(t_s + 0.1, rests_mL))
    assert controller.state is State.HELD
    controller.handle(OperatorSaid(t_s + 1.0, Word.CONTINUE))
    again, _ = settled(controller, t_s + 1.0, 380.0)
    assert again.dose != move.dose
    assert again.volume_mL == pytest.approx(move.volume_mL, abs=1e-9)
