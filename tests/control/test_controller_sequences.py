"""A hypothesis state machine: whatever arrives, in whatever order, the controller keeps the run safe."""

import math

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from plans import PRIMING, REFILL, plan

from titrator.control.actions import Ask, Finish, Halt, Log, MoveTo, Prime, Refill, Sample
from titrator.control.controller import Controller
from titrator.control.events import (
    Answered,
    Begin,
    Event,
    Halted,
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
from titrator.control.priming import IN_PLACE, OVER_WASTE
from titrator.control.states import State

# Written by hand, apart from the code: states in which nothing may be asked to move.
AT_REST = {"ready", "held", "stopped", "faulted", "finished", "halting"}
OVER = {"stopped", "faulted", "finished"}
DOUBT = {"held", "stopped", "faulted"}


class AnySequence(RuleBasedStateMachine):
    def __init__(self):
        super().__init__()
        self.controller = Controller(plan(time_over_s=600.0))
        self.left_mL = math.inf
        self.questions: list[tuple[int, str]] = []
        self.in_place = True
        self.errands: list[int] = []
        self.t_s = 0.0
        self.targets: list[float] = []
        self.doses: list[int] = []
        self.finishes = 0
        self.ripple = 0.1

    def tell(self, event: Event) -> None:
        before = self.controller.state.value
        actions = self.controller.handle(event)
        for action in actions:
            if isinstance(action, MoveTo):
                assert before not in AT_REST, f"motion was asked for in {before} by {event}"
                assert self.controller.state is State.DOSING
                assert self.in_place
                self.targets.append(action.volume_mL)
                self.doses.append(action.dose)
            elif isinstance(action, Refill):
                assert before not in AT_REST, f"a refill was asked for in {before} by {event}"
                assert self.controller.state is State.REFILLING
                self.doses += [action.dose, action.dose + 1]
                self.errands.append(action.dose)
            elif isinstance(action, Prime):
                # The one motion that leaves `held`, and only on the operator's yes to the newest question.
                assert isinstance(event, Answered)
                assert event.yes
                assert before == "held"
                assert self.questions[-1] == (event.number, OVER_WASTE)
                assert self.controller.state is State.PRIMING
                assert not self.in_place
                self.doses += [action.dose, action.dose + 99]
                self.errands.append(action.dose)
            elif isinstance(action, Sample | Log):
                assert self.in_place
            elif isinstance(action, Ask):
                assert action.question.text in {OVER_WASTE, IN_PLACE}
                self.questions.append(action.question)
            elif isinstance(action, Halt):
                assert self.controller.state is State.HALTING
            elif isinstance(action, Finish):
                self.finishes += 1
        if before in OVER:
            assert actions == []
            assert self.controller.state.value == before

    @initialize(
        seconds=st.floats(0, 100),
        refills=st.booleans(),
        primes=st.booleans(),
        left_mL=st.sampled_from([math.inf, 5.0, 0.3, 0.0]),
    )
    def start(self, seconds, refills, primes, left_mL):
        self.t_s, self.left_mL = seconds, left_mL
        self.in_place = not primes
        options = {"refill": REFILL if refills else None, "priming": PRIMING if primes else None}
        self.controller = Controller(plan(time_over_s=600.0, **options))

    @rule()
    def begin(self):
        if self.controller.state is State.READY:
            self.tell(Begin(self.t_s, self.left_mL))

    @precondition(lambda self: self.errands)
    @rule(left_mL=st.sampled_from([5.0, 0.3, 0.0]), late=st.integers(0, 1))
    def refilled(self, left_mL, late):
        self.t_s += 1.0
        self.tell(Refilled(self.t_s, self.errands[max(0, len(self.errands) - 1 - late)], left_mL))

    @precondition(lambda self: self.errands)
    @rule(late=st.integers(0, 1))
    def primed(self, late):
        self.t_s += 1.0
        self.tell(Primed(self.t_s, self.errands[max(0, len(self.errands) - 1 - late)], 5.0))

    @precondition(lambda self: self.questions)
    @rule(late=st.integers(0, 2), yes=st.sampled_from([True, True, True, False]))
    def answered(self, late, yes):
        number, text = self.questions[max(0, len(self.questions) - 1 - late)]
        open_ = self.controller.question
        if yes and open_ is not None and open_.number == number and text == IN_PLACE:
            self.in_place = True
        self.tell(Answered(self.t_s, number, yes))

    @rule()
    def link_faltered(self):
        self.tell(LinkFaltered(self.t_s, "no answer"))

    @rule(count=st.integers(1, 400), level_mV=st.floats(-2500, 2500), noise_mV=st.sampled_from([0.0, 0.1, 5.0]))
    def readings(self, count, level_mV, noise_mV):
        for _ in range(count):
            self.t_s += 0.1
            self.ripple = -self.ripple
            self.tell(Reading(self.t_s, level_mV + self.ripple * noise_mV))

    @rule(count=st.integers(50, 400))
    def plausible_readings(self, count):
        for _ in range(count):
            self.t_s += 0.1
            self.ripple = -self.ripple
            self.tell(Reading(self.t_s, 300.0 + 60.0 * self.controller.volume_mL + self.ripple))

    @precondition(lambda self: self.targets)
    @rule(reached=st.booleans(), part=st.floats(0, 1.2), late=st.integers(0, 3))
    def move_done(self, reached, part, late):
        self.t_s += 1.0
        dose = self.doses[max(0, len(self.doses) - 1 - late)]
        self.tell(MoveDone(self.t_s, dose, self.targets[-1] * part, reached))

    @precondition(lambda self: self.targets)
    @rule()
    def move_done_well(self):
        self.t_s += 1.0
        self.tell(MoveDone(self.t_s, self.doses[-1], self.targets[-1], True))

    @rule(part=st.floats(0, 1), left_mL=st.sampled_from([math.inf, 5.0, 0.3, 0.0]))
    def halted(self, part, left_mL):
        self.tell(Halted(self.t_s, (self.targets[-1] if self.targets else 0.0) * part, left_mL))

    @rule(word=st.sampled_from(Word))
    def word(self, word):
        self.tell(OperatorSaid(self.t_s, word))

    @rule()
    def link_lost(self):
        self.tell(LinkLost(self.t_s, "no answer"))

    @rule()
    def trouble(self):
        self.tell(Trouble(self.t_s, "the board restarted"))

    @rule(seconds=st.floats(0.1, 30))
    def tick(self, seconds):
        self.t_s += seconds
        self.tell(Tick(self.t_s))

    @invariant()
    def never_beyond_the_limit(self):
        assert all(target <= 24.5 for target in self.targets)

    @invariant()
    def every_dose_has_a_newer_identifier(self):
        assert self.doses == sorted(set(self.doses))

    @invariant()
    def over_means_told_once_and_why(self):
        if self.controller.state.value in OVER:
            assert self.finishes == 1
            assert self.controller.ending is not None
            assert self.controller.ending.sentence

    def teardown(self):
        moves = len(self.doses)
        rested = self.controller.state.value in DOUBT
        for _ in range(700):  # 600 s of time limit, a halt's deadline, and some
            self.t_s += 1.0
            self.tell(Tick(self.t_s))
        assert self.controller.state.value in OVER, "nothing but ticks must end every run"
        if rested:
            assert len(self.doses) == moves


AnySequence.TestCase.settings = settings(max_examples=150, stateful_step_count=40)
TestAnySequence = AnySequence.TestCase
