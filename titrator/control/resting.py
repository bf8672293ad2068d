"""How a run comes to rest: halts with a purpose, holds, questions to the operator, and its end.

Whatever is doubtful goes through `halting`, and nothing moves in a state of rest.
"""

from __future__ import annotations

import math

from titrator.control.actions import Action, Ask, Enter, Finish, Halt
from titrator.control.ends import Ending
from titrator.control.holds import Hold, HoldCause, Question
from titrator.control.machine import StateMachine
from titrator.control.plan import Plan
from titrator.control.priming import Priming
from titrator.control.states import TERMINAL, Signal, State

RESTED = {
    Signal.HOLD: Signal.RESTED_HOLD,
    Signal.ENOUGH: Signal.RESTED_ENOUGH,
    Signal.STOP: Signal.RESTED_STOP,
    Signal.FAULT: Signal.RESTED_FAULT,
}
"""The signal with which a halt for a purpose is over."""
_GRAVITY = (Signal.HOLD, Signal.ENOUGH, Signal.STOP, Signal.FAULT)
"""While a halt is on its way a graver reason replaces a lighter one, never the other way round."""


class Resting:
    """The part of the controller that stops things. It appends to `_actions`; `_deadline_s` limits the halt too."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._machine = StateMachine()
        self._actions: list[Action] = []
        self._deadline_s = math.inf  # of the move, the wait or the halt under way
        self._priming = Priming(plan.priming)
        self._purpose = Signal.STOP  # of the halt under way
        self._hold: Hold | None = None
        self._question: Question | None = None
        self._questions = 0
        self._ending: Ending | None = None

    @property
    def state(self) -> State:
        return self._machine.state

    @property
    def plan(self) -> Plan:
        """What the run is to do."""
        return self._plan

    @property
    def halt_within_s(self) -> float:
        """How long a halt may go unconfirmed."""
        return self._plan.motion.halt_within_s

    @property
    def held(self) -> Hold | None:
        """Why and from where the run is held, or about to be; None while it is not."""
        about_to = self.state is State.HALTING and self._purpose is Signal.HOLD
        return self._hold if self.state is State.HELD or about_to else None

    @property
    def question(self) -> Question | None:
        """What the operator was asked and has not answered."""
        return self._question

    @property
    def ending(self) -> Ending | None:
        """Why the run ended or is about to; None while it goes on."""
        return self._ending

    def _pause(self, t_s: float, cause: HoldCause, why: str) -> None:
        came_from = self.state
        if came_from is State.HELD and cause is HoldCause.LINK and self._hold and self._hold.cause is not cause:
            self._hold = self._hold._replace(cause=cause)
            self._actions.append(Enter(came_from, why, self._hold))
        if cause is HoldCause.OPERATOR and self._hold and self._hold.cause is HoldCause.LINK:
            self._hold = self._hold._replace(cause=cause)  # then the link's return is not enough to go on
        if came_from is State.HALTING or not self._fire(Signal.HOLD, why):
            return
        self._hold = Hold(cause, came_from)
        self._halt(t_s, Signal.HOLD, why)

    def _ask(self, t_s: float, text: str) -> None:
        """Put a question; from a state in which something is under way the run comes to rest for it first."""
        self._questions += 1
        self._question = Question(self._questions, text)
        self._actions.append(Ask(self._question))
        if self.state is State.HELD and self._hold is not None:
            self._hold = self._hold._replace(cause=HoldCause.QUESTION)
        self._pause(t_s, HoldCause.QUESTION, f"a question to the operator: {text}")

    def _end(self, t_s: float, signal: Signal, ending: Ending) -> None:
        """Bring the run to rest for `ending`; from `ready` it is over at once, since nothing has moved yet."""
        if self.state is State.HALTING:
            if _GRAVITY.index(signal) > _GRAVITY.index(self._purpose):
                self._purpose, self._ending = signal, ending
            return
        self._ending = ending
        self._fire(signal, ending.sentence)
        if self.state in TERMINAL:
            self._actions.append(Finish(self.state, ending))
        else:
            self._halt(t_s, signal, ending.sentence)

    def _halt(self, t_s: float, purpose: Signal, why: str) -> None:
        self._purpose = purpose
        self._priming.broken_off()
        self._deadline_s = t_s + self._plan.motion.halt_within_s
        self._actions.append(Halt(why))

    def _rest(self, signal: Signal, why: str) -> None:
        self._fire(signal, why)
        if self.state in TERMINAL:
            assert self._ending is not None
            self._actions.append(Finish(self.state, self._ending))

    def _fire(self, signal: Signal, why: str) -> bool:
        if not self._machine.fire(signal):
            return False
        self._actions.append(Enter(self._machine.state, why, self._hold if self.state is State.HELD else None))
        return True
