"""What the driver shows of a run to whoever looks: gathered as it goes, told as one `Standing`."""

from __future__ import annotations

from collections.abc import Callable

from titrator.bench.events import ReadingBlock
from titrator.control.controller import Controller
from titrator.control.forecast import Forecast
from titrator.control.point import Point
from titrator.control.states import State
from titrator.run.standing import Countdown, Standing, Trace


class Showing:
    """Keeps what a `Standing` needs beside the controller. `why` is the sentence of the newest state."""

    def __init__(self, controller: Controller, watch: Callable[[Standing], None] | None) -> None:
        self.why = ""
        self._controller = controller
        self._watch = watch
        self._since_s = self._rested_s = 0.0
        self._trace = Trace()
        self._countdown = Countdown()
        self._forecast = Forecast(controller.plan, controller.rule)
        self._points: list[Point] = []

    def add_point(self, point: Point) -> None:
        """A point was logged."""
        self._points.append(point)
        self._forecast.add_point(point)

    def entered(self, why: str, t_s: float) -> None:
        """The controller entered a state."""
        self.why, self._since_s = why, t_s

    def read(self, block: ReadingBlock) -> None:
        """Readings came."""
        if self._watch is not None:
            self._trace.add(block.t_s, block.potential_mV)

    def rested(self, t_s: float) -> None:
        """The plunger came to rest."""
        self._rested_s = t_s

    def show(self, t_s: float) -> None:
        """Tell whoever watches where the run stands at `t_s` of the board's time."""
        if self._watch is None:
            return
        controller = self._controller
        at_rest = controller.state not in (State.DOSING, State.REFILLING, State.PRIMING)
        self._watch(
            Standing(
                t_s=t_s,
                state=controller.state,
                why=self.why,
                since_s=self._since_s,
                hold=controller.held,
                question=controller.question,
                volume_mL=controller.volume_mL,
                target_mL=controller.target_mL,
                potential_mV=self._trace.potential_mV,
                drift_mV_per_s=self._trace.drift_mV_per_s(self._rested_s) if at_rest else None,
                remaining_s=self._remaining_s(t_s),
                points=len(self._points),
                foreseen=self._forecast.foreseen,
            )
        )

    def _remaining_s(self, t_s: float) -> float | None:
        """Of what is waited for; before the detector can tell, the last wait stands for the next one."""
        left_s = self._countdown.left_s(t_s, self._controller.remaining_s(t_s))
        if left_s is None and self._controller.state is State.SETTLING and self._points:
            return max(0.0, self._points[-1].waited_s - (t_s - self._since_s)) or None
        return left_s
