"""A bench that is joined to its board: shaking hands, beginning a run, finding the board again, going on.

The part of `titrator.bench.bench` that knows sessions; what is delivered within one is there.
"""

import contextlib
import math
from typing import Final

from firmware_protocol.messages import (
    AskStatus,
    Capability,
    DoseState,
    LimitsInForce,
    Move,
    Readings,
    ReadingsSet,
    Refill,
    SetLimits,
    SetReadings,
    Status,
    ValvePosition,
    Welcome,
)
from titrator.bench.board_clock import BoardClock
from titrator.bench.board_section import identity_text
from titrator.bench.bounds import Bounds
from titrator.bench.electrode import Amplifier
from titrator.bench.errors import BenchError, DoseError, LinkBrokenError, LinkError, WrongBoardError
from titrator.bench.events import END_REASONS, BenchEvent, BenchStatus, Identity, MotionEnded
from titrator.bench.joining import Joined
from titrator.bench.link import Counters, Link
from titrator.bench.motions import Ended, Motions
from titrator.bench.plunger import Plunger
from titrator.bench.readings import ReadingStream
from titrator.bench.rig import Rig
from titrator.bench.rig_check import check_rig
from titrator.bench.transport import Transport, Way
from titrator.bench.within import Within

_STATES: Final[dict[str, DoseState]] = {reason: state for state, reason in END_REASONS.items()}


class JoinedBench:
    """Link, clock, plunger and readings of one board. Every method may raise LinkError (see titrator.bench.errors)."""

    def __init__(self, transport: Transport, rig: Rig, *, way: Way | None = None, first_number: int = 0) -> None:
        """`way` is how to get to the board again when the transport broke; without one only the same one is tried.

        `first_number`: where requests are numbered from, best another one in each process.
        """
        self._transport = transport
        self._way = way
        self._rig = rig
        self._burette = rig.burette.arithmetic
        self._link = self._new_link(Counters(), first_number)
        self._clock = BoardClock(transport)
        self._readings = ReadingStream(self._clock)
        self._identity: Identity | None = None
        self._ready: list[BenchEvent] = []
        self._plunger = Plunger(
            self._burette,
            backlash_steps=self._burette.covering_steps(rig.burette.backlash_mL),
            refills=rig.burette.refills,
        )
        self.motions = Motions(self._plunger)
        self._within = Within()
        self._asked: ValvePosition | None = None  # where the valve is bound, while it turns
        self._rest_over_s = math.inf
        self._priming_steps = 0
        self._broken = False
        self._recalled: Joined | None = None
        self._counting_since = 0
        self._begun: Joined | None = None
        block_s = rig.amplifier.readings_per_block * rig.amplifier.period_ms / 1000
        self._silence_s = 2 * block_s + rig.link.answer_within_s
        """Longer than this without a block is worth a question: two blocks and an answer's time."""

    # --------------------------------------------------------------------------------------------- beginning, end
    def connect(self) -> Identity:
        """Shake hands, only looking: nothing on the board changes. RigMismatchError when it is not the rig's board."""
        welcome = self._link.hello(0)
        self._meet(welcome)
        self._within.met(welcome, 0)
        if self._recalled is None:
            self._counting_since = welcome.counting_since
        return self._know(welcome, self._clock.hear(welcome.board_ms))

    def _meet(self, welcome: Welcome) -> None:
        check_rig(self._rig, welcome)
        self._plunger.has_valve = bool(welcome.capabilities & Capability.VALVE)
        self._plunger.has_home_switch = bool(welcome.capabilities & Capability.HOME_SWITCH)
        self._readings.amplifier = Amplifier(welcome.range_low_uV, welcome.range_high_uV)

    def _know(self, welcome: Welcome, t_s: float) -> Identity:
        assert self._link.boot is not None
        self._identity = Identity(
            self._link.boot,
            welcome.version,
            welcome.firmware,
            welcome.session,
            welcome.position,
            t_s,
            welcome.identity,
            bool(welcome.capabilities & Capability.SIMULATED),
        )
        return self._identity

    def begin_run(
        self, session: int, travel_mL: float, *, origin_steps: int | None = None, priming_mL: float = 0.0
    ) -> BenchStatus:
        """Open `session` (1 to 2³²-1) and set its limits: at most `travel_mL` in all, at most the speeds of the rig.

        The origin is where the plunger stands, or `origin_steps` when a run goes on that began there (after refills:
        the count at which nothing would have been delivered). `priming_mL` may be delivered over waste beside the
        travel. The session in force on the board may be opened again: its doses and limits stand as they are. A new
        one ends a motion under way. DoseError when the travel does not fit into what is left of the stroke and the
        burette does not refill.
        """
        _check_session(session)
        if self._identity is None:
            self.connect()
        self._link.hello(session)
        status = self._link.ask(AskStatus(), Status)
        self._link.take_events()  # told before the run began, and the status holds their outcome
        self._ready.clear()
        travel_steps = self._burette.steps_within(travel_mL)
        self._priming_steps = self._burette.covering_steps(priming_mL)
        self._plunger.begin(status, status.position if origin_steps is None else origin_steps, travel_steps)
        self._set_limits(travel_steps)
        self.motions.begin(status, session)
        self._asked = None
        self._readings.begin(status.next_index, status.board_ms)
        told = self._status(status)
        self._begun = self._joined(session, status)
        return told

    @property
    def begun(self) -> Joined:
        """How the run began, for its record."""
        assert self._begun is not None
        return self._begun

    def _set_limits(self, travel_steps: int) -> None:
        burette = self._burette
        limits = SetLimits(
            highest_position=self._plunger.highest,
            most_travel=travel_steps + self._priming_steps,
            least_step_us=burette.least_step_us,
            least_refill_step_us=burette.step_us(self._rig.burette.filling_speed_mL_per_min),
            dead_man_ms=round(self._rig.link.dead_man_s * 1000),
        )
        self._link.ask(limits, LimitsInForce)

    # -------------------------------------------------------------------------------------------------- going on
    def recall_run(self, begun: Joined, travel_mL: float, *, priming_mL: float = 0.0) -> None:
        """Learn from a record that a run began so. `go_on` takes it up."""
        self._priming_steps = self._burette.covering_steps(priming_mL)
        self._plunger.recall(begun.steps, begun.home, self._burette.steps_within(travel_mL))
        self.motions.recall(begun.session, begun.baseline)
        self._recalled = begun
        self._counting_since = begun.counting_since
        self._within.on_board = begun.within_on_board

    def recall_session(self, begun: Joined) -> None:
        """Learn from a record that the run went on in another session, and what was found out then."""
        self.motions.sessions |= {begun.session}
        self._recalled = begun
        self._within.steps += begun.within
        self._within.on_board = begun.within_on_board
        if begun.ended is not None:
            self.recall_end(begun.ended.dose, begun.ended.position, begun.ended.reason)
        else:
            self.motions.never_taken()

    def recall_sent(self, motion: Move | Refill, *, aside: bool) -> None:
        """Learn from a record that this was about to be sent."""
        self.motions.sending(motion, aside=aside)

    def recall_end(self, dose: int, position: int, reason: str) -> None:
        """Learn from a record how a motion ended; what is known already changes nothing."""
        self.motions.ended(dose, position, _STATES[reason])

    def go_on(self, session: int, t_s: float) -> Joined:
        """Go on with the run that was recalled, from its time `t_s` on, in the new `session`. Errors as `rejoin`.

        The time in which nobody conducted the run is not counted.
        """
        assert self._recalled is not None
        self._clock.recall(round(t_s * 1000))
        return self._go_on(session, self._link.hello(0), self._recalled.boot, recalled=True)

    def rejoin(self, session: int) -> Joined:
        """Find the board again after a LinkError and go on with the run in the new `session`.

        Whatever was sent and not answered is settled: a new session puts all that may still lie in some buffer out of
        force. BenchError while the board is not there; WrongBoardError for another one; PositionLostError when the
        board no longer knows where the plunger is, or knows otherwise than the record: then the run is over.
        """
        assert self._identity is not None
        boot, board = self._identity.boot, self._identity.board
        try:
            if self._broken and self._way is not None:
                self._transport.close()
                self._transport = self._way.open()
                self._broken = False
            self._link = self._new_link(self._link.counters, self._link.number)
            self._link.counters.reconnects += 1
            self._clock.follow(self._transport)
            welcome = self._link.hello(0)
            if welcome.identity != board:
                raise WrongBoardError(
                    f"expected board {identity_text(board)} again, got board {identity_text(welcome.identity)}: this "
                    f"run goes on with its own board only. Next: plug that one in again"
                )
            return self._go_on(session, welcome, boot)
        except LinkBrokenError:
            self._broken = True
            raise

    def _go_on(self, session: int, welcome: Welcome, boot: int, *, recalled: bool = False) -> Joined:
        _check_session(session)
        reset = self._link.boot != boot
        self._meet(welcome)
        if welcome.counting_since != self._counting_since:
            raise self.motions.lose(
                f"the board lost its count of steps: it counts since its start {welcome.counting_since:08x}, and this "
                f"run since {self._counting_since:08x}, so its supply was interrupted in between",
                self._rig.burette.microsteps,
            )
        within = self._within.since(welcome) if reset else 0
        self._link.hello(session)
        status = self._link.ask(AskStatus(), Status)
        anew = reset or recalled
        t_s = self._clock.restart(status.board_ms) if anew else self._clock.hear(status.board_ms)
        self._ready.extend(self._told_before())
        ended = self.motions.settle(status, within)
        self.motions.sessions |= {session}
        self._plunger.note(status)
        self._within.met(welcome, within)
        self._know(welcome, t_s)
        if ended is not None:
            self._tell_end(ended, status.board_ms if anew else status.dose_ended_ms)
        self._asked = None
        self._rest_over_s = math.inf
        self._readings.begin(0, status.board_ms)
        joined = self._joined(session, status)._replace(reset=reset, within=within, ended=ended)
        self._plunger.renew()
        self._set_limits(max(0, self._plunger.travel_steps - self._plunger.total_steps))
        if self._readings.streaming:
            self.start_readings()
        return joined

    def _joined(self, session: int, status: Status) -> Joined:
        return Joined(
            t_s=self._clock.now_s,
            session=session,
            boot=self._link.boot or 0,
            steps=status.position,
            home=status.home_position if status.home_known else None,
            base_ms=self._clock.base_ms,
            counting_since=self._counting_since,
            within_on_board=self._within.on_board,
            baseline=self.motions.baseline,
        )

    def _told_before(self) -> list[BenchEvent]:
        """Readings that came before the new session; everything else of then is settled by the status."""
        blocks = [self._readings.take(event) for event in self._link.take_events() if isinstance(event, Readings)]
        return [block for block in blocks if block is not None]

    def lost(self, error: BenchError) -> None:
        """Learn that the link failed so: the way is opened anew next time, if it broke."""
        self._broken = self._broken or isinstance(error, LinkBrokenError)

    def pause(self, duration_s: float) -> None:
        """Let time pass before the board is looked for again."""
        if self._way is not None:
            self._way.pause(duration_s)
        else:
            with contextlib.suppress(OSError):
                self._transport.read(duration_s)

    def give_up(self) -> Bounds:
        """The board is not coming back: what is certain of the steps delivered. Nothing moves in this run any more."""
        self.motions.doubt = self.motions.bounds
        return self.motions.doubt

    def doubt(self, fewer: int, more: int) -> Bounds:
        """So many steps less or more were made than counted. Nothing moves in this run any more."""
        low, high = self.motions.bounds
        self.motions.doubt = Bounds(max(0, low - fewer), high + more)
        return self.motions.doubt

    def _new_link(self, counters: Counters, number: int) -> Link:
        link = self._rig.link
        return Link(
            self._transport,
            answer_within_s=link.answer_within_s,
            attempts=link.attempts,
            counters=counters,
            number=number,
        )

    def close(self) -> None:
        """Let go of the transport. A motion under way ends by the board's dead-man timer."""
        self._transport.close()

    # --------------------------------------------------------------------------------------------------- telling
    @property
    def identity(self) -> Identity:
        """Who answered at `connect`."""
        if self._identity is None:
            raise LinkError("nothing is known of the board yet: call connect() first")
        return self._identity

    @property
    def now_s(self) -> float:
        """The board's time in seconds, carried on by the transport's clock since it was last told.

        Readings of the block that the board is still gathering are older than this when they come.
        """
        return self._clock.now_s

    @property
    def counters(self) -> Counters:
        """What happened on the link so far."""
        return self._link.counters

    @property
    def origin_steps(self) -> int:
        """The board's count of steps where this run began; after a refill, where it would have begun."""
        filling = self._plunger.filling
        return filling.position_of(0)

    @property
    def left_mL(self) -> float:
        """What may be delivered before a refill; 0 too where one has to come first for another reason."""
        return self._burette.volume_mL(self._plunger.left_steps)

    @property
    def within_steps(self) -> int:
        """By how many steps the total may be wrong because of resets in the midst of a motion."""
        return self._within.steps

    @property
    def plunger(self) -> Plunger:
        """Where the plunger is, for whoever plans a refill."""
        return self._plunger

    @property
    def rig(self) -> Rig:
        """The rig as its file describes it."""
        return self._rig

    def _status(self, status: Status) -> BenchStatus:
        begun = self._plunger.begun and self.motions.aside is None
        return BenchStatus(
            t_s=self._clock.hear(status.board_ms),
            session=status.session,
            steps=status.position,
            volume_mL=self._volume_mL(status.position if begun else self._plunger.at),
            dose_session=status.dose_session,
            dose=status.dose,
            dose_target_steps=status.dose_target,
            dose_ended=END_REASONS.get(status.dose_state),
            moving=status.dose_state is DoseState.MOVING,
        )

    def _volume_mL(self, steps: int) -> float:
        return self._burette.volume_mL(self._plunger.filling.total_at(steps))

    def start_readings(self, period_ms: int | None = None, per_block: int | None = None) -> None:
        """Let readings stream, as the rig file says unless stated. Harmless when they do already."""
        amplifier = self._rig.amplifier
        wanted = SetReadings(period_ms or amplifier.period_ms, per_block or amplifier.readings_per_block)
        self._link.ask(wanted, ReadingsSet)
        self._readings.streaming = True

    def _note_end(self, dose: int, position: int, state: DoseState, at_ms: int) -> None:
        """Tell the end of a dose once, whichever of its tellings comes first."""
        ended = self.motions.ended(dose, position, state)
        if ended is not None:
            self._tell_end(ended, at_ms)

    def _tell_end(self, ended: Ended, at_ms: int) -> None:
        if ended.reason == "home":
            self._within.found_home()
        t_s, volume_mL = self._clock.unwrap(at_ms) / 1000, self._volume_mL(self._plunger.at)
        self._ready.append(MotionEnded(t_s, ended.dose, volume_mL, ended.position, ended.reason, ended.aside))


def _check_session(session: int) -> None:
    if not 0 < session < 1 << 32:
        raise DoseError(f"a session is a whole number from 1 to 4294967295, got {session}")
