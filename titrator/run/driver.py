"""The one driver loop. It carries out what the controller asks for and tells it what happened, nothing else.

Whether the other end is a bench in real time or the simulated board in virtual time makes no difference here.
"""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeAlias

from titrator.bench.bench import Bench
from titrator.bench.bounds import Bounds
from titrator.bench.errors import BenchError, BuretteError, HomeError, PositionLostError
from titrator.bench.events import BenchEvent, MotionEnded, ReadingBlock
from titrator.bench.joining import Joined
from titrator.bench.refill import prime, refill
from titrator.control.actions import Action, Ask, Enter, Finish, Halt, Log, MoveTo, Note, Prime, Refill, Sample
from titrator.control.controller import Controller
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
from titrator.control.holds import HoldCause
from titrator.control.point import Point
from titrator.control.states import TERMINAL, State
from titrator.record.journal import Journal, JournalError
from titrator.run import sessions
from titrator.run.errand import Errand
from titrator.run.followed import Followed
from titrator.run.home_check import can_check_home, check_home
from titrator.run.lateness import why_too_late
from titrator.run.link_watch import LinkWatch
from titrator.run.showing import Showing
from titrator.run.standing import Reply, Said, Standing
from titrator.run.told import motion_fields, write_block, write_event

TICK_S = 1.0
"""How long the loop waits for news before it tells the controller that time passed. Deadlines of the controller are
seconds and more, so a second is soon enough."""

_MOVING = (State.DOSING, State.REFILLING, State.PRIMING)
_UNATTENDED = ("dead-man", "session-ended", "reset", "halted")
"""Why a motion may stop short that we did not halt: the board heard nothing of us, an old word, or restarted."""

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
        new_session: Callable[[], int] = sessions.new_session,
    ) -> None:
        """`word` is asked between events whether the operator (or a signal) has something to say.

        `keep_pace` is called with the board's time between events; it may sleep, to let a rehearsal be watched.
        `watch` is told between events, before `word` is asked, where the run stands, and once more at its end.
        `new_session` gives the number of the session in which the run goes on when the link was lost.
        """
        self._controller = controller
        self._bench = bench
        self._journal = journal
        self._word = word
        self._observer = observer
        self._keep_pace = keep_pace
        self._tick_s = tick_s
        self._showing = Showing(controller, watch)
        self._inbox: deque[Event] = deque()
        self._errand: Errand | None = None
        self._broken_off: Errand | None = None  # what is still told of it belongs to its lines
        self._link = LinkWatch(bench, journal, new_session)
        self._back = ""  # the link came back: go on as soon as the run is at rest for it
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
        if self._controller.state is State.READY:
            self._inbox.append(Begin(self._bench.now_s, self._bench.left_mL))
        while self._controller.state not in TERMINAL:
            self._showing.show(self._bench.now_s)
            self._hear(self._word())
            if self._link.lost is not None:
                self._look_for_board()
            elif not self._inbox:
                self._listen()
                self._keep_pace(self._bench.now_s)
            while self._inbox and self._link.lost is None:
                self._tell(self._inbox.popleft())
                self._go_on_if_back()
        self._showing.show(self._bench.now_s)
        if self._controller.state is State.FINISHED and can_check_home(self._bench):
            doubt = partial(self._doubt, t_s=self._bench.now_s)
            check_home(self._bench, self._journal, self._tick_s, self._word, doubt)
        ending = self._controller.ending
        assert ending is not None
        return ending

    def take_up(self, followed: Followed) -> None:
        """Before `run`: the controller comes from a journal, and what is pending of it was not recorded yet.

        The board rests, and so does the run first, wherever it was; then it goes on.
        """
        self.points = followed.points
        for point in followed.points:
            self._showing.add_point(point)
        t_s = self._bench.now_s
        for action in followed.pending:
            self._carry_out(action, t_s)
        state = self._controller.state
        if state in TERMINAL or state is State.READY:
            return
        self._bench.start_readings()
        self._back = "the run is taken up again, and the plunger rests where it is known"
        if state is State.HALTING:
            self._halt_again()
        elif state is State.HELD:
            self._go_on_if_back()
        else:
            self._inbox.append(LinkFaltered(t_s, "the run was interrupted and is taken up again"))

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
            self._fail(error, self._bench.now_s)
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
            write_block(self._journal, item)
            self._showing.read(item)
            return
        if isinstance(item, MotionEnded) and item.reason in _UNATTENDED and self._controller.state in _MOVING:
            self._stopped_unattended(item)
        if isinstance(item, MotionEnded) and not item.aside:
            self._inbox.append(MoveDone(item.t_s, item.dose, item.volume_mL, item.reason == "arrived"))
            self._showing.rested(item.t_s)
            self._journal.write("outcome", item.t_s, motion_fields(item), durable=True)
        else:
            self._go_on_with_errand(item)

    def _stopped_unattended(self, motion: MotionEnded) -> None:
        """A motion that nobody halted stopped short, at a place that is known: come to rest for it, then go on."""
        self._errand = None
        self._back = f"the plunger rests where it is known, though its motion was cut short ({motion.reason})"
        what = f"dose {motion.dose} was cut short by the board ({motion.reason}): nobody here halted it"
        self._inbox.append(LinkFaltered(self._bench.now_s, what))

    def _tell(self, event: Event) -> None:
        if not isinstance(event, (Reading, MoveDone, Tick)):
            self._record_event(event)
        actions = self._controller.handle(event)
        if actions and isinstance(event, Tick):
            self._record_event(event)
        if actions:
            self.carry_out(actions, event.t_s)

    def _record_event(self, event: Event) -> None:
        try:
            write_event(self._journal, event, self._inbox)
        except JournalError as error:
            if not isinstance(event, Trouble):
                self._inbox.appendleft(Trouble(event.t_s, str(error)))

    def carry_out(self, actions: Sequence[Action], t_s: float) -> None:
        """Do what the controller asks for; what goes wrong comes to it as events."""
        # The pump first, the paper after: a halt goes out before any line that a full disk could refuse or hold up.
        for action in sorted(actions, key=lambda each: not isinstance(each, Halt)):
            late = why_too_late(action, self._bench.now_s - t_s, self._controller.plan.motion)
            if late:
                self._back = "nothing moved meanwhile"
                self._inbox.appendleft(LinkFaltered(self._bench.now_s, late))
                return
            try:
                self._carry_out(action, t_s)
            except JournalError as error:
                # What cannot be recorded is not dosed: the rest of the actions is dropped, and the trouble halts.
                self._inbox.appendleft(Trouble(t_s, str(error)))
                return
            except BenchError as error:
                self._fail(error, t_s)
                if not isinstance(action, Halt):
                    return

    def _fail(self, error: BenchError, t_s: float) -> None:
        """Something on the bench failed. A link that is lost is looked for; whatever else will not mend by waiting."""
        if self._link.concerns(error):
            self._errand = None
            self._showing.why = f"the link is lost and the board is looked for: {error}"
            try:
                self._link.lose(error)
            except JournalError as trouble:
                self._inbox.appendleft(Trouble(t_s, str(trouble)))
        elif isinstance(error, BuretteError):
            if isinstance(error, HomeError):
                self._doubt(str(error), self._bench.doubt(error.fewer, error.more), t_s)
            self._inbox.appendleft(Trouble(self._bench.now_s, str(error), Cause.BURETTE))
        else:
            self._inbox.appendleft(LinkLost(self._bench.now_s, str(error)))

    # ------------------------------------------------------------------------------------------------ a lost link

    def _look_for_board(self) -> None:
        """Look for it once. Behind it the run comes to rest and goes on; or it is over."""
        bench = self._bench
        try:
            if any(isinstance(event, OperatorSaid) and event.word is Word.STOP for event in self._inbox):
                raise self._link.give_up("the operator stopped the run while the board was looked for")
            joined = self._link.look(self._tick_s)
        except PositionLostError as error:
            self._link.lost = None
            self._doubt(str(error), error.bounds, bench.now_s)
            self._inbox.appendleft(LinkLost(bench.now_s, str(error)))
            self._halt_again()
        except JournalError as error:
            self._inbox.appendleft(Trouble(bench.now_s, str(error)))
        else:
            if joined is not None:
                self._found_again(joined)

    def _found_again(self, joined: Joined) -> None:
        how = "after a reset of the board" if joined.reset else "the same board in the same start"
        self._back = f"the link is back ({how}), and the plunger rests where it is known"
        now_s = self._bench.now_s
        self._inbox = deque(  # what was said while nobody could act on it is said now
            each._replace(t_s=now_s) if isinstance(each, OperatorSaid | Answered) else each for each in self._inbox
        )
        if self._controller.state is State.HALTING:
            self._halt_again()
        elif self._controller.state not in (State.READY, State.HELD):
            self._inbox.appendleft(LinkFaltered(self._bench.now_s, f"{self._showing.why}. {self._back}"))

    def _halt_again(self) -> None:
        """A halt that was under way when the link was lost."""
        if self._controller.state is State.HALTING:
            self.carry_out([Halt(self._showing.why)], self._bench.now_s)

    def _go_on_if_back(self) -> None:
        if self._back and self._link.lost is None and self._controller.state is State.HELD:
            held = self._controller.held
            if held is not None and held.cause is HoldCause.LINK:
                self._inbox.append(LinkBack(self._bench.now_s, self._back))
            self._back = ""

    def _doubt(self, why: str, bounds: Bounds, t_s: float) -> None:
        try:
            self._link.doubt(why, bounds, t_s)
        except JournalError as error:
            self._inbox.append(Trouble(t_s, str(error)))

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
                if not self.points or self.points[-1].number != point.number:  # else it was taken up from a journal
                    self.points.append(point)
                    self._showing.add_point(point)
                self._link.holds()
                self._journal.write("point", t_s, {**point._asdict(), "t_s": round(point.t_s, 6)}, durable=True)
                self._observer(self._controller.state, "", point)
            case Note(passing=passing):
                self._journal.write("passing", t_s, {**passing._asdict(), "t_s": round(passing.t_s, 6)})
            case Sample():
                self._bench.start_readings()
            case Halt(why=why):
                self._halt(why, t_s)
            case Enter(state=state, why=why, hold=hold):
                self._showing.entered(why, t_s)
                held = {"held_by": hold.cause.value, "came_from": hold.came_from.value} if hold else {}
                try:
                    self._journal.write("state", t_s, {"state": state.value, "why": why, **held})
                except JournalError:  # then who looks on is the only one to hear why
                    ending = self._controller.ending
                    self._observer(state, ending.sentence if ending and state in TERMINAL else why, None)
                    raise
                self._observer(state, why, None)
            case Ask(question=question):
                self._journal.write("question", t_s, question._asdict(), durable=True)
            case Finish(state=state, ending=ending):
                self._showing.why = ending.sentence
                fields = {"state": state.value, "cause": ending.cause.value, "why": ending.sentence}
                if self._link.bounds is not None and not self._link.bounds.certain:
                    fields["volume"] = "uncertain"
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
            self._fail(error, news.t_s)
        else:
            if errand.done:
                self._errand = None
                done = Refilled if errand.kind == "refill" else Primed
                self._inbox.append(done(self._bench.now_s, errand.number, self._bench.left_mL))

    def _halt(self, why: str, t_s: float) -> None:
        self._errand = None
        bounds = self._link.bounds
        if bounds is None:
            volume_mL, steps = self._bench.halt(), self._bench.plunger.at
        else:
            with contextlib.suppress(BenchError):  # the board may be gone; its motor stands by itself
                self._bench.halt()
            volume_mL, steps = bounds.low * self._bench.rig.burette.step_mL, None
        self._inbox.appendleft(Halted(self._bench.now_s, volume_mL, self._bench.left_mL))
        self._journal.write("halt", t_s, {"why": why, "volume_mL": volume_mL, "steps": steps}, durable=True)
