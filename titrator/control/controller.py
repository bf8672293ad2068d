"""The controller: events in, actions out.

Deciding and waiting are apart. What volume next (`increments`), when is a reading worth logging (`settling`) and when
is it enough (`ends`, `electrode_watch`) are small rules; this module only joins them. What stops a run is in `resting`.
"""

from __future__ import annotations

import math

from titrator.control.actions import (
    PRIMING_NUMBERS,
    REFILL_NUMBERS,
    Action,
    Log,
    MoveTo,
    Note,
    Prime,
    Refill,
    Sample,
)
from titrator.control.electrode_watch import ElectrodeWatch
from titrator.control.ends import Cause, Ending
from titrator.control.events import (
    Answered,
    Begin,
    Event,
    Halted,
    LinkBack,
    LinkFaltered,
    LinkLost,
    MoveDone,
    OperatorSaid,
    Primed,
    Reading,
    Refilled,
    Tick,
    Trouble,
    Word,
)
from titrator.control.holds import Hold, HoldCause
from titrator.control.increments import IncrementRule, Step
from titrator.control.machine import WrongSignalError
from titrator.control.overdue import halt_overdue, work_overdue
from titrator.control.passing import PassingReadings
from titrator.control.plan import Errand, Plan
from titrator.control.point import Point
from titrator.control.priming import IN_PLACE, OVER_WASTE, Next
from titrator.control.resting import RESTED, Resting
from titrator.control.rules import end_rules, increment_rule
from titrator.control.settling import Settled, SettlingDetector
from titrator.control.states import TERMINAL, Signal, State
from titrator.control.strokes import Strokes

_IN_MOTION = (State.DOSING, State.REFILLING, State.PRIMING)

AS_SETTLED = Step(0.0)
"""A reading that is waited for until it is settled."""


class Controller(Resting):
    """Runs one titration. `handle` is the only entry; `state` and `volume_mL` may be looked at."""

    def __init__(self, plan: Plan) -> None:
        super().__init__(plan)
        self._rule = increment_rule(plan)
        self._detector = SettlingDetector(plan.settling)
        self._electrode = ElectrodeWatch(plan.electrode)
        self._ends = end_rules(plan)
        self._over_s = math.inf
        self._waiting_since_s = 0.0
        self._move_over_s = math.inf  # when the move under way should be over
        self._dose = 0
        self._points = 0
        self._target_mL = 0.0  # of the motion under way
        self._goal_mL = 0.0  # of the addition, which a refill may cut in two
        self._more = False
        self._step = Step(0.0)
        self._passing = PassingReadings()
        self._errand = 0  # first identifier of the refill or priming under way
        self._strokes = Strokes(plan.motion.step_mL)
        self._logged_mL: float | None = None
        self.volume_mL = 0.0

    @property
    def rule(self) -> IncrementRule:
        """What chooses the additions; to be looked at only."""
        return self._rule

    @property
    def target_mL(self) -> float:
        """The total that the newest addition aims at."""
        return self._goal_mL

    def remaining_s(self, t_s: float) -> float | None:
        """About how long what is waited for may still take, as far as it can be told; for display only."""
        if self.state is State.SETTLING or self.state is State.INITIAL:
            return self._detector.remaining_s
        return max(0.0, self._move_over_s - t_s) if self.state in _IN_MOTION else None

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
            t_s = event.t_s
            if t_s >= self._deadline_s or t_s >= self._over_s:
                self._overdue(t_s)
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
        elif state is State.DOSING and self._step.passing:
            self._passing.add(event.t_s, event.potential_mV)

    def _other(self, event: Event) -> None:
        match event:
            case Begin():
                self._begin(event)
            case Refilled():
                self._refilled(event)
            case Primed():
                self._primed(event)
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
            case LinkBack(t_s=t_s, what=what):
                if self.state is State.HELD and self._hold and self._hold.cause is HoldCause.LINK:
                    self._go_on(t_s, what)
            case Answered():
                self._answered(event)
            case Trouble(t_s=t_s, what=what, cause=cause):
                self._end(t_s, Signal.FAULT, Ending(cause, what))
            case OperatorSaid(t_s=t_s, word=word):
                self._operator(t_s, word)
            case Tick(t_s=t_s):
                if self._over_s == math.inf:
                    self._count_from(t_s)  # a run that nobody begins ends by its time limit too
                if self.state is State.SETTLING or self.state is State.INITIAL:
                    expired = self._detector.expire(t_s)
                    if expired is not None:
                        self._settled(t_s, expired)
            case _:
                raise TypeError(f"expected an event of titrator.control.events, got {event!r}")

    def _begin(self, event: Begin) -> None:
        self._count_from(event.t_s)
        self._strokes.rests(self.volume_mL, event.left_mL)
        if self._priming.next is Next.MEASURE:
            self._measure(event.t_s, "reading the initial potential")
        else:
            self._hold = Hold(HoldCause.QUESTION, self.state)
            self._fire(Signal.QUESTION, "the burette is to be primed: the operator is asked first")
            self._ask(event.t_s, OVER_WASTE)

    def _measure(self, t_s: float, why: str) -> None:
        self._fire(Signal.BEGIN, why)
        self._actions.append(Sample())
        self._wait(t_s, Step(0.0, self._rule.initial))

    def _operator(self, t_s: float, word: Word) -> None:
        if word is Word.HOLD:
            self._pause(t_s, HoldCause.OPERATOR, "the operator asked to hold")
        elif word is Word.STOP:
            self._end(t_s, Signal.STOP, Ending(Cause.OPERATOR, "the operator stopped the run"))
        elif self.state is State.HELD and self._question is None:
            self._go_on(t_s, "the operator asked to go on")

    def _go_on(self, t_s: float, why: str) -> None:
        """Leave `held`: read again where the plunger rests, then plan anew with a new dose; or ask what is due."""
        due = self._priming.next
        if due is Next.ASK_OVER_WASTE or due is Next.ASK_IN_PLACE:
            self._ask(t_s, OVER_WASTE if due is Next.ASK_OVER_WASTE else IN_PLACE)
            return
        self._hold = None
        if due is Next.PRIME:
            self._prime(t_s, why)
        elif self._points:
            self._fire(Signal.CONTINUE, why)
            self._wait(t_s)
        else:
            self._measure(t_s, f"{why}: reading the initial potential")

    def _answered(self, event: Answered) -> None:
        question = self._question
        if question is None or question.number != event.number:
            return
        self._question = None
        if not event.yes:
            ending = Ending(Cause.OPERATOR, f"the operator answered no to: {question.text}")
            self._end(event.t_s, Signal.STOP, ending)
            return
        self._priming.confirmed(question.text)
        if self.state is State.HELD:
            self._go_on(event.t_s, "the operator answered yes")

    def _wait(self, t_s: float, step: Step = AS_SETTLED) -> None:
        """Wait for the potential to settle, from `t_s` on; readings that never come are found out by the deadline."""
        self._waiting_since_s = t_s
        self._deadline_s = t_s + self._plan.settling.longest_s + self._plan.motion.report_within_s
        self._detector.begin(t_s, step.enough)

    def _settled(self, t_s: float, settled: Settled) -> None:
        self._deadline_s = math.inf
        point = Point(number=self._points, t_s=t_s, volume_mL=self.volume_mL, **settled._asdict())
        self._points += 1
        self._actions.append(Log(point))
        self._fire(Signal.SETTLED, "a point was logged")
        self._decide(t_s, point)

    def _decide(self, t_s: float, point: Point) -> None:
        advanced = self._logged_mL is None or point.volume_mL > self._logged_mL
        if advanced:  # a reset of the board may have counted a step back
            self._logged_mL = point.volume_mL
        dead = self._electrode.add_point(point)
        if dead is not None:
            self._end(t_s, Signal.FAULT, dead)
            return
        if advanced:  # a second reading at the same volume (after a hold) tells the rules nothing about the slope
            self._rule.add_point(point)
            for end in self._ends:
                ending = end.add_point(point)
                if ending is not None and not (ending.cause is Cause.POINTS and self._rule.seeks_more):
                    self._end(t_s, Signal.ENOUGH, ending)
                    return
        if self._rule.enough is not None:
            self._end(t_s, Signal.ENOUGH, Ending(Cause.POINTS, self._rule.enough))
            return
        self._add(t_s)

    def _add(self, t_s: float) -> None:
        step = self._rule.next_step()
        limit_mL = self._plan.ends.volume_above_mL
        self._goal_mL = min(self.volume_mL + step.addition_mL, limit_mL)
        # At the limit of the run the reading is the last one: it is waited for, whatever the rule meant.
        self._step = step._replace(passing=step.passing and self._goal_mL < limit_mL)
        self._passing.begin()
        self._deliver(t_s, Signal.ADD, "passing" if self._step.passing else "adding")

    def _deliver(self, t_s: float, signal: Signal, what: str) -> None:
        """Move towards the goal of the addition, by way of a refill where the stroke ends before it."""
        motion = self._plan.motion
        part = self._strokes.next_part(self.volume_mL, self._goal_mL)
        if part is None or (part.more and motion.refill is None):
            self._refill(t_s)
            return
        self._target_mL, self._more = part
        self._dose += 1
        self._fire(signal, f"{what} {self._target_mL - self.volume_mL:.4f} mL")
        duration_s = (self._target_mL - self.volume_mL) / motion.speed_mL_per_s
        self._move_over_s = t_s + duration_s
        self._deadline_s = t_s + 1.5 * duration_s + motion.report_within_s
        self._actions.append(MoveTo(self._dose, self._target_mL, self._more))

    # ------------------------------------------------------------------------------------------ refilling, priming

    def _refill(self, t_s: float) -> None:
        errand = self._plan.motion.refill
        if errand is None:
            sentence = (
                f"the burette is at the end of its stroke at {self.volume_mL:.4f} mL and may not refill itself: begin "
                "with a full burette, or switch refills on in the rig file"
            )
            self._end(t_s, Signal.FAULT, Ending(Cause.BURETTE, sentence))
            return
        self._fire(Signal.REFILL, f"refilling the burette with {self._goal_mL - self.volume_mL:.4f} mL still to add")
        self._begin_errand(t_s, errand, REFILL_NUMBERS)
        self._actions.append(Refill(self._errand))

    def _prime(self, t_s: float, why: str) -> None:
        priming = self._plan.priming
        assert priming is not None
        self._fire(Signal.PRIME, f"{why}: delivering {priming.purge_mL:g} mL over waste")
        self._begin_errand(t_s, priming.errand, PRIMING_NUMBERS)
        self._actions.append(Prime(self._errand, priming.purge_mL, priming.empty_first))

    def _begin_errand(self, t_s: float, errand: Errand, numbers: int) -> None:
        self._errand = self._dose + 1
        self._dose += numbers
        self._move_over_s = t_s + errand.takes_s
        self._deadline_s = t_s + errand.within_s

    def _refilled(self, event: Refilled) -> None:
        if self.state is not State.REFILLING or event.dose != self._errand:
            return
        self._strokes.rests(self.volume_mL, event.left_mL)
        if event.left_mL < self._plan.motion.step_mL:
            sentence = "the burette was refilled and has nothing to deliver: compare its stroke with the rig file"
            self._end(event.t_s, Signal.FAULT, Ending(Cause.BURETTE, sentence))
        else:
            self._deliver(event.t_s, Signal.REFILLED, "refilled: adding the remaining")

    def _primed(self, event: Primed) -> None:
        if self.state is not State.PRIMING or event.dose != self._errand:
            return
        self._strokes.rests(self.volume_mL, event.left_mL)
        self._priming.done()
        self._ask(event.t_s, IN_PLACE)

    def _move_done(self, event: MoveDone) -> None:
        self.volume_mL = event.volume_mL
        if self.state is not State.DOSING or event.dose != self._dose:
            self._fire(Signal.MOVED, "a late report of an earlier move")
            return
        if not event.reached or abs(event.volume_mL - self._target_mL) > self._plan.motion.step_mL:
            sentence = f"dose {event.dose} came to rest at {event.volume_mL:.4f} mL instead of {self._target_mL:.4f} mL"
            self._end(event.t_s, Signal.FAULT, Ending(Cause.BURETTE, sentence))
            return
        if self._more:
            self._refill(event.t_s)
            return
        speed_mL_per_s = self._plan.motion.speed_mL_per_s
        passing = self._passing.read(event.t_s, event.volume_mL, speed_mL_per_s)
        if passing is not None:
            self._fire(Signal.PASSED, "more follows at once")
            self._actions.append(Note(passing))
            self._rule.add_passing(passing)
            self._add(event.t_s)
            return
        self._fire(Signal.MOVED, "waiting for the potential to settle")
        self._wait(event.t_s, self._step)

    # ------------------------------------------------------------------------------------------ coming to rest

    def _halted(self, event: Halted) -> None:
        self.volume_mL = event.volume_mL
        self._strokes.rests(event.volume_mL, event.left_mL)
        if self.state is not State.HALTING:
            return
        self._deadline_s = math.inf
        why = f"at rest at {event.volume_mL:.4f} mL"
        if self._purpose is Signal.HOLD and self._hold is not None:
            why += f", held ({self._hold.cause.value}) while {self._hold.came_from.value}"
        self._rest(RESTED[self._purpose], why)
        self._go_on_if_answered(event.t_s)

    def _go_on_if_answered(self, t_s: float) -> None:
        """A question may be answered while the run still comes to rest for it."""
        hold = self.held
        if hold is not None and hold.cause is HoldCause.QUESTION and self._question is None:
            self._go_on(t_s, "the operator answered meanwhile")

    # ------------------------------------------------------------------------------------------ time

    def _count_from(self, t_s: float) -> None:
        self._over_s = t_s + self._plan.ends.time_over_s

    def _overdue(self, t_s: float) -> None:
        """The time of the run or of what is waited for is over; a halt has no other limit than its own."""
        if self.state in TERMINAL or (self.state is State.HALTING and t_s < self._deadline_s):
            return
        if self.state is State.HALTING:
            self._ending = halt_overdue(self._plan.motion.halt_within_s, self._ending)
            self._rest(Signal.UNCONFIRMED, self._ending.sentence)
        elif t_s >= self._deadline_s:
            late = work_overdue(self.state, self._dose, self._target_mL, t_s - self._waiting_since_s)
            self._end(t_s, Signal.FAULT, late)
        else:
            self._end(t_s, Signal.ENOUGH, Ending(Cause.TIME, f"{self._plan.ends.time_over_s:g} s are over"))
