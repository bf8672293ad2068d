"""A perfect bench for the controller alone: it answers at once and reads a given curve. No wire, no lag, no noise."""

import math
from collections.abc import Callable

from titrator.control.actions import Action, Ask, Finish, Halt, Log, MoveTo, Prime, Refill
from titrator.control.controller import Controller
from titrator.control.events import Answered, Begin, Event, Halted, MoveDone, Primed, Reading, Refilled
from titrator.control.point import Point


class PerfectBench:
    """`stroke_mL`: what a filling holds; it begins with `left_mL` (a whole one unless stated). Answers yes to all."""

    def __init__(
        self,
        controller: Controller,
        potential_mV: Callable[[float], float],
        speed_mL_per_s: float = 1 / 6,
        stroke_mL: float = math.inf,
        left_mL: float | None = None,
    ):
        self.controller = controller
        self.potential_mV = potential_mV
        self.speed_mL_per_s = speed_mL_per_s
        self.t_s = 0.0
        self.volume_mL = 0.0
        self.points: list[Point] = []
        self.moves: list[float] = []
        self.finish: Finish | None = None
        self.refills: list[float] = []
        self.primings = 0
        self.questions: list[str] = []
        self.stroke_mL = stroke_mL
        self.left_mL = stroke_mL if left_mL is None else left_mL
        self._ripple = 0

    def tell(self, event: Event) -> list[Action]:
        actions = self.controller.handle(event)
        for action in actions:
            match action:
                case MoveTo(dose=dose, volume_mL=volume_mL):
                    self.moves.append(volume_mL)
                    self.t_s += (volume_mL - self.volume_mL) / self.speed_mL_per_s
                    self.left_mL -= volume_mL - self.volume_mL
                    assert self.left_mL >= -1e-9, "more was asked for than the filling holds"
                    self.volume_mL = volume_mL
                    self.tell(MoveDone(self.t_s, dose, volume_mL, True))
                case Halt():
                    self.tell(Halted(self.t_s, self.volume_mL, self.left_mL))
                case Refill(dose=dose):
                    self.refills.append(self.volume_mL)
                    self.t_s, self.left_mL = self.t_s + 60.0, self.stroke_mL
                    self.tell(Refilled(self.t_s, dose, self.left_mL))
                case Prime(dose=dose):
                    self.primings += 1
                    self.t_s, self.left_mL = self.t_s + 100.0, self.stroke_mL
                    self.tell(Primed(self.t_s, dose, self.left_mL))
                case Ask(question=question):
                    self.questions.append(question.text)
                case Log(point=point):
                    self.points.append(point)
                case Finish():
                    self.finish = action
        return actions

    def run(self, most_readings: int = 20_000) -> None:
        self.tell(Begin(self.t_s, self.left_mL))
        for _ in range(most_readings):
            if self.finish is not None:
                return
            question = self.controller.question
            if question is not None:
                self.tell(Answered(self.t_s, question.number, True))
            self.t_s += 0.1
            # A ripple of alternating sign stands for noise, so that a constant input is not taken for a perfect one.
            self._ripple = -self._ripple or 1
            self.tell(Reading(self.t_s, self.potential_mV(self.volume_mL) + 0.1 * self._ripple))
        raise AssertionError("the run did not end")
