"""A perfect bench for the controller alone: it answers at once and reads a given curve. No wire, no lag, no noise."""

from collections.abc import Callable

from titrator.control.actions import Action, Finish, Halt, Log, MoveTo
from titrator.control.controller import Controller
from titrator.control.events import Begin, Event, Halted, MoveDone, Reading
from titrator.control.point import Point


class PerfectBench:
    def __init__(self, controller: Controller, potential_mV: Callable[[float], float], speed_mL_per_s: float = 1 / 6):
        self.controller = controller
        self.potential_mV = potential_mV
        self.speed_mL_per_s = speed_mL_per_s
        self.t_s = 0.0
        self.volume_mL = 0.0
        self.points: list[Point] = []
        self.moves: list[float] = []
        self.finish: Finish | None = None
        self._ripple = 0

    def tell(self, event: Event) -> list[Action]:
        actions = self.controller.handle(event)
        for action in actions:
            match action:
                case MoveTo(dose=dose, volume_mL=volume_mL):
                    self.moves.append(volume_mL)
                    self.t_s += (volume_mL - self.volume_mL) / self.speed_mL_per_s
                    self.volume_mL = volume_mL
                    self.tell(MoveDone(self.t_s, dose, volume_mL, True))
                case Halt():
                    self.tell(Halted(self.t_s, self.volume_mL))
                case Log(point=point):
                    self.points.append(point)
                case Finish():
                    self.finish = action
        return actions

    def run(self, most_readings: int = 20_000) -> None:
        self.tell(Begin(self.t_s))
        for _ in range(most_readings):
            if self.finish is not None:
                return
            self.t_s += 0.1
            # A ripple of alternating sign stands for noise, so that a constant input is not taken for a perfect one.
            self._ripple = -self._ripple or 1
            self.tell(Reading(self.t_s, self.potential_mV(self.volume_mL) + 0.1 * self._ripple))
        raise AssertionError("the run did not end")
