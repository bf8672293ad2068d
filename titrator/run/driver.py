"""The one driver loop. It carries out what the controller asks for and tells it what happened, nothing else.

Whether the other end is a bench in real time or the simulated board in virtual time makes no difference here.
"""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable
from typing import TypeAlias

from titrator.bench.bench import Bench
from titrator.bench.errors import BenchError
from titrator.bench.events import MotionEnded, ReadingBlock
from titrator.control.actions import Action, Enter, Finish, Halt, Log, MoveTo, Sample
from titrator.control.controller import Controller
from titrator.control.ends import Ending
from titrator.control.events import Begin, Event, Halted, LinkLost, MoveDone, OperatorSaid, Reading, Tick, Trouble, Word
from titrator.control.point import Point
from titrator.control.states import TERMINAL, State
from titrator.record.journal import Journal, JournalError

TICK_S = 1.0
"""How long the loop waits for news before it tells the controller that time passed. Deadlines of the controller are
seconds and more, so a second is soon enough."""

Observer: TypeAlias = Callable[[State, str, Point | None], None]
"""Called after each change of state, and with each logged point."""


class Driver:
    """Drives one run from `ready` to a terminal state."""

    def __init__(
        self,
        controller: Controller,
        bench: Bench,
        journal: Journal,
        *,
        word: Callable[[], Word | None] = lambda: None,
        observer: Observer = lambda _state, _why, _point: None,
        keep_pace: Callable[[float], None] = lambda _board_s: None,
    ) -> None:
        """`word` is asked between events whether the operator (or a signal) has something to say.

        `keep_pace` is called with the board's time between events; it may sleep, to let a rehearsal be watched.
        """
        self._controller = controller
        self._bench = bench
        self._journal = journal
        self._word = word
        self._observer = observer
        self._keep_pace = keep_pace
        self._inbox: deque[Event] = deque()
        self.points: list[Point] = []

    def run(self) -> Ending:
        """Run to the end and return why it ended. The journal then holds everything that was measured.

        An exception that nobody foresaw (a defect of ours) stops the pump before it is passed on.
        """
        try:
            return self._run()
        except BaseException:
            with contextlib.suppress(BenchError):
                self._bench.halt()
            raise

    def _run(self) -> Ending:
        self._inbox.append(Begin(self._bench.now_s))
        while self._controller.state not in TERMINAL:
            word = self._word()
            if word is not None:
                self._inbox.append(OperatorSaid(self._bench.now_s, word))
            if not self._inbox:
                self._listen()
                self._keep_pace(self._bench.now_s)
            while self._inbox:
                self._tell(self._inbox.popleft())
        ending = self._controller.ending
        assert ending is not None
        return ending

    def _listen(self) -> None:
        try:
            news = self._bench.wait(TICK_S)
        except BenchError as error:
            self._inbox.append(LinkLost(self._bench.now_s, str(error)))
            return
        for item in news:
            if isinstance(item, ReadingBlock):
                self._record_readings(item)
                self._inbox.extend(map(Reading, item.t_s, item.potential_mV))
            else:
                self._record_motion(item)
                self._inbox.append(MoveDone(item.t_s, item.dose, item.volume_mL, item.reason == "arrived"))
        if not news:
            self._inbox.append(Tick(self._bench.now_s))

    def _tell(self, event: Event) -> None:
        for action in self._controller.handle(event):
            try:
                self._carry_out(action, event.t_s)
            except JournalError as error:
                # What cannot be recorded is not dosed. The halt that follows needs no journal to be sent.
                self._inbox.appendleft(Trouble(event.t_s, str(error)))
                return
            except BenchError as error:
                self._failed(action, error, event.t_s)
                return

    def _failed(self, action: Action, error: BenchError, t_s: float) -> None:
        if isinstance(action, Halt):
            # The halt was tried as often as the link allows; time passes until the controller gives up on it.
            self._inbox.append(Tick(max(t_s, self._bench.now_s) + self._controller.halt_within_s))
        else:
            self._inbox.appendleft(LinkLost(self._bench.now_s, str(error)))

    def _carry_out(self, action: Action, t_s: float) -> None:
        match action:
            case MoveTo(dose=dose, volume_mL=volume_mL):
                # Intent before the command, outcome after it: a crash between them is found out from the journal.
                intent = {"dose": dose, "volume_mL": volume_mL, "steps": self._bench.steps_at(volume_mL)}
                self._journal.write("intent", t_s, intent, durable=True)
                self._bench.move_to(dose, volume_mL)
            case Log(point=point):
                self.points.append(point)
                self._journal.write("point", t_s, {**point._asdict(), "t_s": round(point.t_s, 6)}, durable=True)
                self._observer(self._controller.state, "", point)
            case Sample():
                self._bench.start_readings()
            case Halt(why=why):
                self._halt(why, t_s)
            case Enter(state=state, why=why):
                self._journal.write("state", t_s, {"state": state.value, "why": why})
                self._observer(state, why, None)
            case Finish(state=state, ending=ending):
                fields = {"state": state.value, "cause": ending.cause.value, "why": ending.sentence}
                self._journal.write("end", t_s, {**fields, "volume_mL": self._controller.volume_mL}, durable=True)

    def _halt(self, why: str, t_s: float) -> None:
        volume_mL = self._bench.halt()
        self._inbox.appendleft(Halted(self._bench.now_s, volume_mL))
        self._journal.write("halt", t_s, {"why": why, "volume_mL": volume_mL}, durable=True)

    def _record_readings(self, block: ReadingBlock) -> None:
        t_ms = [round(t_s * 1000.0) for t_s in block.t_s]
        microvolts = [round(potential_mV * 1000.0) for potential_mV in block.potential_mV]
        self._journal.write_readings(block.first_index, t_ms, microvolts, block.missed)

    def _record_motion(self, motion: MotionEnded) -> None:
        self._journal.write(
            "outcome",
            motion.t_s,
            {"dose": motion.dose, "volume_mL": motion.volume_mL, "steps": motion.steps, "reason": motion.reason},
            durable=True,
        )
