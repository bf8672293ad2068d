"""A rehearsal without wire, journal and files: the same controller, cell and burette, for studies of thousands of runs.

The logged points are those of the dry run with the same seed, to the last digit.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from titrator.bench.events import ReadingBlock
from titrator.bench.frameless import FramelessBench
from titrator.bench.rig import Rig
from titrator.bench.simulated import UnframedBoard, open_unframed
from titrator.control.actions import Action, Enter, Finish, Halt, Log, MoveTo, Note, Sample
from titrator.control.controller import Controller
from titrator.control.ends import Ending
from titrator.control.events import Begin, Event, Halted, MoveDone, Reading, Tick
from titrator.control.point import Passing, Point
from titrator.control.states import TERMINAL, State
from titrator.method import Method
from titrator.run.driver import TICK_S
from titrator.run.plan import plan_for
from titrator.run.rehearsal import stated_values


@dataclass(frozen=True, slots=True)
class FramelessRun:
    """A run that is over. `truth` is what the simulator knows; `duration_s` from its first state to its end.

    `passing`: what was read while titrant ran in.
    """

    points: tuple[Point, ...]
    truth: dict[str, Any]
    duration_s: float
    additions: int
    state: State
    ending: Ending
    passing: tuple[Passing, ...] = ()


def titrate_frameless(
    method: Method,
    rig: Rig,
    cell_path: Path,
    seed: int,
    faults: Sequence[str] = (),
    *,
    change: Callable[[UnframedBoard], None] | None = None,
) -> FramelessRun:
    """Run `method` to its end. Method and rig must fit each other (see `titrator.run.fits`).

    `change` is called with the board before anything is asked of it: for a study of what no cell file describes, whose
    truth is then the caller's own.

    DoseError when the rig refills, or the run does not fit into its stroke; FileProblem for a wrong cell file,
    InputProblem for a wrong fault.
    """
    board = open_unframed(rig, cell_path, stated_values(method), seed, faults)
    if change is not None:
        change(board)
    return titrate_on(board, method, rig)


def titrate_on(board: UnframedBoard, method: Method, rig: Rig) -> FramelessRun:
    """The same on a board that is open already. DoseError as above."""
    bench = FramelessBench(board, rig, method.ends_when.volume_above_mL)
    run = _Run(Controller(plan_for(method, rig)), bench)
    ending = run.to_the_end()
    return FramelessRun(
        points=tuple(run.points),
        truth=board.truth(),
        duration_s=(round(run.ended_s * 1000.0) - round(run.began_s * 1000.0)) / 1000.0,
        additions=run.additions,
        state=run.state,
        ending=ending,
        passing=tuple(run.passing),
    )


class _Run:
    """What `titrator.run.driver` does, for whom nobody watches, in a world where nothing fails on the way."""

    def __init__(self, controller: Controller, bench: FramelessBench) -> None:
        self._controller = controller
        self._bench = bench
        self._inbox: deque[Event] = deque()
        self.points: list[Point] = []
        self.passing: list[Passing] = []
        self.additions = 0
        self.began_s = self.ended_s = 0.0

    @property
    def state(self) -> State:
        return self._controller.state

    def to_the_end(self) -> Ending:
        controller, bench, inbox = self._controller, self._bench, self._inbox
        self.began_s = bench.board_s
        inbox.append(Begin(self.began_s, bench.left_mL))
        while controller.state not in TERMINAL:
            if not inbox:
                self._listen()
            while inbox:
                event = inbox.popleft()
                for action in sorted(controller.handle(event), key=lambda each: not isinstance(each, Halt)):
                    self._carry_out(action, event.t_s)
        assert controller.ending is not None
        return controller.ending

    def _listen(self) -> None:
        news = self._bench.wait(TICK_S)
        for item in news:
            if isinstance(item, ReadingBlock):
                self._inbox.extend(map(Reading, item.t_s, item.potential_mV))
            else:
                self._inbox.append(MoveDone(item.t_s, item.dose, item.volume_mL, item.reason == "arrived"))
        if not news:
            self._inbox.append(Tick(self._bench.board_s))

    def _carry_out(self, action: Action, t_s: float) -> None:
        match action:
            case MoveTo(dose=dose, volume_mL=volume_mL):
                self.additions += 1
                self._bench.move_to(dose, volume_mL)
            case Log(point=point):
                self.points.append(point)
            case Note(passing=passing):
                self.passing.append(passing)
            case Sample():
                self._bench.start_readings()
            case Halt():
                volume_mL = self._bench.halt()
                self._inbox.appendleft(Halted(self._bench.board_s, volume_mL, self._bench.left_mL))
            case Finish():
                self.ended_s = t_s
            case Enter():
                pass
            case _:
                raise AssertionError(f"a run without refills and questions asks for nothing like {action}")
