"""The controller: events in, actions out.

Deciding and waiting are apart. What volume next (`increments`), when is a reading worth logging (`settling`) and when
is it enough (`ends`, `electrode_watch`) are small rules; this module only joins them and keeps the run safe: whatever
is doubtful goes through `halting`, and nothing moves in a state of rest.
"""

from __future__ import annotations

import math

from titrator.control.actions import Action, Ask, Enter, Finish, Halt, Log, MoveTo, Sample
from titrator.control.electrode_watch import ElectrodeWatch
from titrator.control.ends import Cause, Ending, EndRule, EnoughPoints, PotentialBeyond, VolumeReached
from titrator.control.events import (
    Answered,
    Begin,
    Event,
    Halted,
    LinkFaltered,
    LinkLost,
    MoveDone,
    OperatorSaid,
    Reading,
    Tick,
    Trouble,
    Word,
)
from titrator.control.holds import Hold, HoldCause, Question
from titrator.control.increments import Adaptive, AdaptiveSettings, Fixed, IncrementRule
from titrator.control.jumps import JumpWatch
from titrator.control.machine import StateMachine, WrongSignalError
from titrator.control.plan import Plan
from titrator.control.point import Point
from titrator.control.settling import Settled, SettlingDetector
from titrator.control.states import TERMINAL, Signal, State

_RESTED = {
    Signal.HOLD: Signal.RESTED_HOLD,
    Signal.ENOUGH: Signal.RESTED_ENOUGH,
    Signal.STOP: Signal.RESTED_STOP,
    Signal.FAULT: Signal.RESTED_FAULT,
}
_GRAVITY = (Signal.HOLD, Signal.ENOUGH, Signal.STOP, Signal.FAULT)
"""While a halt is on its way a graver reason replaces a lighter one, never the other way round."""


class Controller:
    """Runs one titration. `handle` is the only entry; `state` and `volume_mL` may be looked at."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._machine = StateMachine()
        self._rule = _rule(plan)
        self._detector = SettlingDetector(plan.settling)
        self._electrode = ElectrodeWatch(plan.electrode)
        self._ends = _ends(plan)
        self._actions: list[Action] = []
        self._began_s: float | None = None
        self._deadline_s = math.inf  # of the move, the wait or the halt under way
        self._waiting_since_s = 0.0
        self._purpose = Signal.STOP  # of the halt under way
        self._hold: Hold | None = None
        self._question: Question | None = None
        self._questions = 0
        self._move_over_s = math.inf  # when the move under way should be over
        self._ending: Ending | None = None
        self._dose = 0
        self._points = 0
        self._target_mL = 0.0
        self._logged_mL: float | None = None
        self.volume_mL = 0.0

    @property
    def state(self) -> State:
        return self._machine.state

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
    def target_mL(self) -> float:
        """The total that the newest addition aims at."""
        return self._target_mL

    def remaining_s(self, t_s: float) -> float | None:
        """About how long what is waited for may still take, as far as it can be told; for display only."""
        if self.state is State.SETTLING or self.state is State.INITIAL:
            return self._detector.remaining_s
        return max(0.0, self._move_over_s - t_s) if self.state is State.DOSING else None

    @property
    def ending(self) -> Ending | None:
        """Why the run ended or is about to; None while it goes on."""
        return self._ending

    def handle(self, event: Event) -> list[Action]:
        """Take one event; return what is to be done, in order. A finished run takes anything and does nothing."""
        state = self._machine.state
        if state in TERMINAL:
            return []
        self._actions = []
        try:
            if type(event) is Reading:
                self._reading(event, state)
            else:
                self._other(event)
            if event.t_s >= self._next_s():
                self._overdue(event.t_s)
        except WrongSignalError as error:
            self._end(event.t_s, Signal.FAULT, Ending(Cause.TROUBLE, str(error)))
        return self._actions

    # ------------------------------------------------------------------------------------------ events

    def _reading(self, event: Reading, state: State) -> None:
        trouble = self._electrode.add_reading(event.potential_mV)
        if trouble is not None:
            if state is not State.READY:
                self._end(event.t_s, Signal.FAULT, trouble)
            return
        # A block of readings may reach back before the end of the addition: those readings belong to the addition.
        if (state is State.SETTLING or state is State.INITIAL) and event.t_s > self._waiting_since_s:
            settled = self._detector.add(event.t_s, event.potential_mV)
            if settled is not None:
                self._settled(event.t_s, settled)

    def _other(self, event: Event) -> None:
        match event:
            case Begin(t_s=t_s):
                self._begin(t_s)
            case MoveDone():
                self._move_done(event)
            case Halted():
                self._halted(event)
            case LinkLost(t_s=t_s, what=what):
                self._end(t_s, Signal.FAULT, Ending(Cause.LINK, what))
            case LinkFaltered(t_s=t_s, what=what):
                if self.state is State.READY:
                    self._end(t_s, Signal.FAULT, Ending(Cause.LINK, what))
                self._pause(t_s, HoldCause.LINK, what)
            case Answered():
                self._answered(event)
            case Trouble(t_s=t_s, what=what):
                self._end(t_s, Signal.FAULT, Ending(Cause.TROUBLE, what))
            case OperatorSaid(t_s=t_s, word=word):
                self._operator(t_s, word)
            case Tick(t_s=t_s):
                if self._began_s is None:
                    self._began_s = t_s  # a run that nobody begins ends by its time limit too
                if self.state is State.SETTLING or self.state is State.INITIAL:
                    expired = self._detector.expire(t_s)
                    if expired is not None:
                        self._settled(t_s, expired)
            case _:
                raise TypeError(f"expected an event of titrator.control.events, got {event!r}")

    def _begin(self, t_s: float) -> None:
        self._began_s = t_s
        self._fire(Signal.BEGIN, "reading the initial potential")
        self._actions.append(Sample())
        self._wait(t_s)

    def _operator(self, t_s: float, word: Word) -> None:
        if word is Word.HOLD:
            self._pause(t_s, HoldCause.OPERATOR, "the operator asked to hold")
        elif word is Word.STOP:
            self._end(t_s, Signal.STOP, Ending(Cause.OPERATOR, "the operator stopped the run"))
        elif self.state is State.HELD and self._question is None:
            self._go_on(t_s, "the operator asked to go on")

    def _go_on(self, t_s: float, why: str) -> None:
        """Leave `held`: read again where the plunger rests, then plan anew with a new dose."""
        self._hold = None
        if self._points:
            self._fire(Signal.CONTINUE, why)
        else:
            self._fire(Signal.BEGIN, f"{why}: reading the initial potential again")
        self._wait(t_s)

    def _answered(self, event: Answered) -> None:
        question = self._question
        if question is None or question.number != event.number:
            return
        self._question = None
        if not event.yes:
            ending = Ending(Cause.OPERATOR, f"the operator answered no to: {question.text}")
            self._end(event.t_s, Signal.STOP, ending)
        elif self.state is State.HELD:
            self._go_on(event.t_s, "the operator answered yes")

    def _wait(self, t_s: float) -> None:
        """Wait for the potential to settle, from `t_s` on; readings that never come are found out by the deadline."""
        self._waiting_since_s = t_s
        self._deadline_s = t_s + self._plan.settling.longest_s + self._plan.motion.report_within_s
        self._detector.begin(t_s)

    def _settled(self, t_s: float, settled: Settled) -> None:
        self._deadline_s = math.inf
        point = Point(self._points, t_s, self.volume_mL, *settled)
        self._points += 1
        self._actions.append(Log(point))
        self._fire(Signal.SETTLED, "a point was logged")
        self._decide(t_s, point)

    def _decide(self, t_s: float, point: Point) -> None:
        advanced = self._logged_mL is None or point.volume_mL > self._logged_mL
        self._logged_mL = point.volume_mL
        dead = self._electrode.add_point(point)
        if dead is not None:
            self._end(t_s, Signal.FAULT, dead)
            return
        if advanced:  # a second reading at the same volume (after a hold) tells the rules nothing about the slope
            self._rule.add_point(point)
            for end in self._ends:
                ending = end.add_point(point)
                if ending is not None:
                    self._end(t_s, Signal.ENOUGH, ending)
                    return
        self._add(t_s, self._rule.next_addition_mL())

    def _add(self, t_s: float, addition_mL: float) -> None:
        motion = self._plan.motion
        self._target_mL = min(self.volume_mL + addition_mL, self._plan.ends.volume_above_mL)
        self._dose += 1
        self._fire(Signal.ADD, f"adding {self._target_mL - self.volume_mL:.4f} mL")
        duration_s = (self._target_mL - self.volume_mL) / motion.speed_mL_per_s
        self._move_over_s = t_s + duration_s
        self._deadline_s = t_s + 1.5 * duration_s + motion.report_within_s
        self._actions.append(MoveTo(self._dose, self._target_mL))

    def _move_done(self, event: MoveDone) -> None:
        self.volume_mL = event.volume_mL
        if self.state is not State.DOSING or event.dose != self._dose:
            self._fire(Signal.MOVED, "a late report of an earlier move")
            return
        if not event.reached or abs(event.volume_mL - self._target_mL) > self._plan.motion.step_mL:
            sentence = f"dose {event.dose} came to rest at {event.volume_mL:.4f} mL instead of {self._target_mL:.4f} mL"
            self._end(event.t_s, Signal.FAULT, Ending(Cause.BURETTE, sentence))
            return
        self._fire(Signal.MOVED, "waiting for the potential to settle")
        self._wait(event.t_s)

    # ------------------------------------------------------------------------------------------ coming to rest

    def _pause(self, t_s: float, cause: HoldCause, why: str) -> None:
        came_from = self.state
        if came_from is State.HELD and cause is HoldCause.LINK and self._hold and self._hold.cause is not cause:
            self._hold = self._hold._replace(cause=cause)
            self._actions.append(Enter(came_from, why, self._hold))
        if came_from is State.HALTING or not self._fire(Signal.HOLD, why):
            return
        self._hold = Hold(cause, came_from)
        self._halt(t_s, Signal.HOLD, why)

    def _ask(self, t_s: float, text: str) -> None:
        """Put a question; from a state in which something is under way the run comes to rest for it first."""
        self._questions += 1
        self._question = Question(self._questions, text)
        self._actions.append(Ask(self._question))
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
        self._deadline_s = t_s + self._plan.motion.halt_within_s
        self._actions.append(Halt(why))

    def _halted(self, event: Halted) -> None:
        self.volume_mL = event.volume_mL
        if self.state is not State.HALTING:
            return
        self._deadline_s = math.inf
        why = f"at rest at {event.volume_mL:.4f} mL"
        if self._purpose is Signal.HOLD and self._hold is not None:
            why += f", held ({self._hold.cause.value}) while {self._hold.came_from.value}"
        self._rest(_RESTED[self._purpose], why)

    def _rest(self, signal: Signal, why: str) -> None:
        self._fire(signal, why)
        if self.state in TERMINAL:
            assert self._ending is not None
            self._actions.append(Finish(self.state, self._ending))

    # ------------------------------------------------------------------------------------------ time

    def _next_s(self) -> float:
        """The board's time at which something is overdue; a halt has no other limit than its own."""
        if self._began_s is None or self.state is State.HALTING:
            return self._deadline_s
        return min(self._deadline_s, self._began_s + self._plan.ends.time_over_s)

    def _overdue(self, t_s: float) -> None:
        if self.state in TERMINAL:
            return
        if self.state is State.HALTING:
            within = f"{self._plan.motion.halt_within_s:g} s"
            before = f" (halting because: {self._ending.sentence})" if self._ending else ""
            self._ending = Ending(
                Cause.LINK,
                f"the board did not confirm within {within} that the motor rests{before}. The delivered volume is "
                "uncertain: look at the burette before anything else",
            )
            self._rest(Signal.UNCONFIRMED, self._ending.sentence)
        elif t_s >= self._deadline_s and self.state is not State.DOSING:
            silent = f"no reading arrived in {t_s - self._waiting_since_s:.0f} s of waiting: amplifier or link silent"
            self._end(t_s, Signal.FAULT, Ending(Cause.LINK, silent))
        elif t_s >= self._deadline_s:
            sentence = (
                f"dose {self._dose} to {self._target_mL:.4f} mL was not reported done in time: motor stalled, board "
                "restarted or link broken"
            )
            self._end(t_s, Signal.FAULT, Ending(Cause.BURETTE, sentence))
        else:
            self._end(t_s, Signal.ENOUGH, Ending(Cause.TIME, f"{self._plan.ends.time_over_s:g} s are over"))

    def _fire(self, signal: Signal, why: str) -> bool:
        if not self._machine.fire(signal):
            return False
        self._actions.append(Enter(self._machine.state, why, self._hold if self.state is State.HELD else None))
        return True


def _rule(plan: Plan) -> IncrementRule:
    if isinstance(plan.additions, AdaptiveSettings):
        return Adaptive(plan.additions)
    return Fixed(plan.additions.step_mL)


def _ends(plan: Plan) -> list[EndRule]:
    ends = plan.ends
    least_mL = plan.additions.least_mL if isinstance(plan.additions, AdaptiveSettings) else plan.additions.step_mL
    rules: list[EndRule] = [
        EnoughPoints(JumpWatch(ends.least_rise_mV), ends.jumps_sought, ends.points_past_jump),
        VolumeReached(ends.volume_above_mL, least_mL),
    ]
    if ends.potential_beyond_mV is not None:
        rules.append(PotentialBeyond(ends.potential_beyond_mV))
    return rules
