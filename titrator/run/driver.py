"""The one driver loop. It carries out what the controller asks for and tells it what happened, nothing else.

Whether the other end is a bench in real time or the simulated board in virtual time makes no difference here.
"""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable
from typing import TypeAlias

from titrator.bench.bench import Bench
from titrator.bench.errors import BenchError, BuretteError, NoAnswerError
from titrator.bench.events import BenchEvent, MotionEnded, ReadingBlock
from titrator.bench.refill import prime, refill
from titrator.control.actions import Action, Ask, Enter, Finish, Halt, Log, MoveTo, Prime, Refill, Sample
from titrator.control.controller import Controller
from titrator.control.ends import Cause, Ending
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
from titrator.control.forecast import Forecast
from titrator.control.point import Point
from titrator.control.states import TERMINAL, State
from titrator.record.journal import Journal, JournalError
from titrator.run.errand import Errand
from titrator.run.standing import Countdown, Reply, Said, Standing, Trace

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
        word: Callable[[], Word | Said | Reply | None] = lambda: None,
        observer: Observer = lambda _state, _why, _point: None,
        keep_pace: Callable[[float], None] = lambda _board_s: None,
        watch: Callable[[Standing], None] | None = None,
        tick_s: float = TICK_S,
    ) -> None:
        """`word` is asked between events whether the operator (or a signal) has something to say.

        `keep_pace` is called with the board's time between events; it may sleep, to let a rehearsal be watched.
        `watch` is told between events, before `word` is asked, where the run stands, and once more at its end.
        """
        self._controller = controller
        self._bench = bench
        self._journal = journal
        self._word = word
        self._observer = observer
        self._keep_pace = keep_pace
        self._watch = watch
        self._tick_s = tick_s
        self._why = ""
        self._since_s = self._rested_s = 0.0
        self._trace = Trace()
        self._countdown = Countdown()
        self._forecast = Forecast(controller.plan)
        self._inbox: deque[Event] = deque()
        self._errand: Errand | None = None
        self._broken_off: Errand | None = None  # what is still told of it belongs to its lines
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
        self._inbox.append(Begin(self._bench.now_s, self._bench.left_mL))
        while self._controller.state not in TERMINAL:
            self._show()
            self._hear(self._word())
            if not self._inbox:
                self._listen()
                self._keep_pace(self._bench.now_s)
            while self._inbox:
                self._tell(self._inbox.popleft())
        self._show()
        ending = self._controller.ending
        assert ending is not None
        return ending

    def _show(self) -> None:
        if self._watch is None:
            return
        controller, t_s = self._controller, self._bench.now_s
        at_rest = controller.state not in (State.DOSING, State.REFILLING, State.PRIMING)
        self._watch(
            Standing(
                t_s=t_s,
                state=controller.state,
                why=self._why,
                since_s=self._since_s,
                hold=controller.held,
                question=controller.question,
                volume_mL=controller.volume_mL,
                target_mL=controller.target_mL,
                potential_mV=self._trace.potential_mV,
                drift_mV_per_s=self._trace.drift_mV_per_s(self._rested_s) if at_rest else None,
                remaining_s=self._remaining_s(t_s),
                points=len(self.points),
                foreseen=self._forecast.foreseen,
            )
        )

    def _remaining_s(self, t_s: float) -> float | None:
        """Of what is waited for; before the detector can tell, the last wait stands for the next one."""
        left_s = self._countdown.left_s(t_s, self._controller.remaining_s(t_s))
        if left_s is None and self._controller.state is State.SETTLING and self.points:
            return max(0.0, self.points[-1].waited_s - (t_s - self._since_s)) or None
        return left_s

    def _hear(self, said: Word | Said | Reply | None) -> None:
        t_s = self._bench.now_s
        try:
            match said:
                case Word():
                    self._inbox.append(OperatorSaid(t_s, said))
                case Said(word=word, by=by, where=where):
                    self._inbox.append(OperatorSaid(t_s, word))
                    self._journal.write("word", t_s, {"word": word.value, "by": by, "where": where})
                case Reply(number=number, yes=yes, by=by, where=where):
                    answer = {"question": number, "yes": yes, "by": by, "where": where}
                    self._journal.write("answer", t_s, answer, durable=True)
                    self._inbox.append(Answered(t_s, number, yes))
        except JournalError as error:
            self._inbox.append(Trouble(t_s, str(error)))

    def _listen(self) -> None:
        try:
            news = self._bench.wait(self._tick_s)
        except BenchError as error:
            self._inbox.append(self._link_event(error))
            return
        for item in news:
            try:
                self._take(item)
            except JournalError as error:
                self._inbox.append(Trouble(self._bench.now_s, str(error)))
        if not news:
            self._inbox.append(Tick(self._bench.now_s))

    def _take(self, item: BenchEvent) -> None:
        """Pass on what the bench told, then record it: the controller must hear of a rest that no disk took down."""
        if isinstance(item, ReadingBlock):
            self._inbox.extend(map(Reading, item.t_s, item.potential_mV))
            self._record_readings(item)
        elif isinstance(item, MotionEnded) and not item.aside:
            self._inbox.append(MoveDone(item.t_s, item.dose, item.volume_mL, item.reason == "arrived"))
            self._record_motion(item)
        else:
            self._go_on_with_errand(item)

    def _tell(self, event: Event) -> None:
        # The pump first, the paper after: a halt goes out before any line that a full disk could refuse or hold up.
        for action in sorted(self._controller.handle(event), key=lambda each: not isinstance(each, Halt)):
            try:
                self._carry_out(action, event.t_s)
            except JournalError as error:
                # What cannot be recorded is not dosed: the rest of the actions is dropped, and the trouble halts.
                self._inbox.appendleft(Trouble(event.t_s, str(error)))
                return
            except BenchError as error:
                self._failed(action, error, event.t_s)
                if not isinstance(action, Halt):
                    return

    def _failed(self, action: Action, error: BenchError, t_s: float) -> None:
        if isinstance(action, Halt):
            # The halt was tried as often as the link allows; time passes until the controller gives up on it.
            self._inbox.append(Tick(max(t_s, self._bench.now_s) + self._controller.halt_within_s))
        else:
            self._inbox.appendleft(self._link_event(error))

    def _link_event(self, error: BenchError) -> Event:
        """A board that only did not answer may answer again; whatever else went wrong will not mend by waiting."""
        if isinstance(error, BuretteError):
            return Trouble(self._bench.now_s, str(error), Cause.BURETTE)
        kind = LinkFaltered if isinstance(error, NoAnswerError) else LinkLost
        return kind(self._bench.now_s, str(error))

    def _carry_out(self, action: Action, t_s: float) -> None:
        match action:
            case MoveTo():
                self._move(action, t_s)
            case Refill(dose=dose):
                self._begin_errand(Errand("refill", dose, refill(self._bench, dose), self._bench, self._journal), t_s)
            case Prime(dose=dose, purge_mL=purge_mL, empty_first=empty_first):
                procedure = prime(self._bench, dose, purge_mL, empty_first=empty_first)
                self._begin_errand(Errand("priming", dose, procedure, self._bench, self._journal), t_s)
            case Log(point=point):
                self.points.append(point)
                self._forecast.add_point(point)
                self._journal.write("point", t_s, {**point._asdict(), "t_s": round(point.t_s, 6)}, durable=True)
                self._observer(self._controller.state, "", point)
            case Sample():
                self._bench.start_readings()
            case Halt(why=why):
                self._halt(why, t_s)
            case Enter(state=state, why=why, hold=hold):
                self._why, self._since_s = why, t_s
                held = {"held_by": hold.cause.value, "came_from": hold.came_from.value} if hold else {}
                self._journal.write("state", t_s, {"state": state.value, "why": why, **held})
                self._observer(state, why, None)
            case Ask(question=question):
                self._journal.write("question", t_s, question._asdict(), durable=True)
            case Finish(state=state, ending=ending):
                self._why = ending.sentence
                fields = {"state": state.value, "cause": ending.cause.value, "why": ending.sentence}
                self._journal.write("end", t_s, {**fields, "volume_mL": self._controller.volume_mL}, durable=True)

    def _move(self, move: MoveTo, t_s: float) -> None:
        # Intent before the command, outcome after it: a crash between them is found out from the journal.
        intent = {"dose": move.dose, "volume_mL": move.volume_mL, "steps": self._bench.steps_at(move.volume_mL)}
        more = {"more": True} if move.more else {}
        self._journal.write("intent", t_s, {**intent, **more}, durable=True)
        self._bench.move_to(move.dose, move.volume_mL)

    # ---------------------------------------------------------------------------------------- refilling, priming

    def _begin_errand(self, errand: Errand, t_s: float) -> None:
        self._errand = self._broken_off = errand
        errand.begin(t_s)

    def _go_on_with_errand(self, news: BenchEvent) -> None:
        assert not isinstance(news, ReadingBlock)
        errand = self._errand
        try:
            if errand is None:
                if self._broken_off is not None:
                    self._broken_off.record(news)
                return
            errand.hear(news)
        except JournalError as error:
            self._errand = None
            self._inbox.append(Trouble(news.t_s, str(error)))
        except BenchError as error:
            self._errand = None
            self._inbox.append(self._link_event(error))
        else:
            if errand.done:
                self._errand = None
                done = Refilled if errand.kind == "refill" else Primed
                self._inbox.append(done(self._bench.now_s, errand.number, self._bench.left_mL))

    def _halt(self, why: str, t_s: float) -> None:
        self._errand = None
        volume_mL = self._bench.halt()
        self._inbox.appendleft(Halted(self._bench.now_s, volume_mL, self._bench.left_mL))
        rest = {"why": why, "volume_mL": volume_mL, "steps": self._bench.plunger.at}
        self._journal.write("halt", t_s, rest, durable=True)

    def _record_readings(self, block: ReadingBlock) -> None:
        t_ms = [round(t_s * 1000.0) for t_s in block.t_s]
        microvolts = [round(potential_mV * 1000.0) for potential_mV in block.potential_mV]
        self._journal.write_readings(block.first_index, t_ms, microvolts, block.missed)
        if self._watch is not None:
            self._trace.add(block.t_s, block.potential_mV)

    def _record_motion(self, motion: MotionEnded) -> None:
        self._rested_s = motion.t_s
        self._journal.write(
            "outcome",
            motion.t_s,
            {"dose": motion.dose, "volume_mL": motion.volume_mL, "steps": motion.steps, "reason": motion.reason},
            durable=True,
        )
