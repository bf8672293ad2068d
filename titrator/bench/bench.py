"""The bench as control's driver sees it: volumes, potentials and the board's own time."""

import math
from typing import Final

from firmware_protocol.messages import (
    AskStatus,
    Capability,
    DoseReport,
    DoseState,
    Halt,
    LimitsInForce,
    Move,
    Readings,
    ReadingsSet,
    Refill,
    SetLimits,
    SetReadings,
    SetValve,
    Status,
    ValvePosition,
    ValveReport,
    ValveState,
    ValveTurned,
)
from firmware_protocol.messages import MotionEnded as MotionEndedMessage
from titrator.bench.board_clock import BoardClock
from titrator.bench.electrode import Amplifier
from titrator.bench.errors import DoseError, LinkError
from titrator.bench.events import (
    END_REASONS,
    VALVE_WORDS,
    BenchEvent,
    BenchStatus,
    Identity,
    MotionEnded,
    ReadingBlock,
    Rested,
    ValveSettled,
)
from titrator.bench.link import Counters, Link
from titrator.bench.plunger import Plunger
from titrator.bench.rig import Rig
from titrator.bench.rig_check import check_rig
from titrator.bench.transport import Transport

_TRAVEL_SLACK: Final = 1e-9
"""A part of a step: a travel that is a whole number of steps must not lose one to binary fractions."""


class Bench:
    """One burette and one electrode on one board. Every method may raise LinkError (see titrator.bench.errors)."""

    def __init__(self, transport: Transport, rig: Rig) -> None:
        self._transport = transport
        self._rig = rig
        self._burette = rig.burette.arithmetic
        self._link = Link(transport, answer_within_s=rig.link.answer_within_s, attempts=rig.link.attempts)
        self._clock = BoardClock(transport)
        self._amplifier = Amplifier(0, 0)
        self._identity: Identity | None = None
        self._ready: list[BenchEvent] = []
        self._plunger = Plunger(
            self._burette,
            backlash_steps=self._burette.covering_steps(rig.burette.backlash_mL),
            refills=rig.burette.refills,
        )
        self._dose = 0
        self._told_dose = 0
        self._moving = False
        self._aside: Move | Refill | None = None  # the newest motion, where it is not for the vessel
        self._asked: ValvePosition | None = None  # where the valve is bound, while it turns
        self._rest_over_s = math.inf
        self._streaming = False
        self._next_index = 0
        block_s = rig.amplifier.readings_per_block * rig.amplifier.period_ms / 1000
        self._silence_s = 2 * block_s + rig.link.answer_within_s
        """Longer than this without a block is worth a question: two blocks and an answer's time."""

    # --------------------------------------------------------------------------------------------- beginning, end
    def connect(self) -> Identity:
        """Shake hands, only looking: nothing on the board changes. RigMismatchError when it is not the rig's board."""
        welcome = self._link.hello(0)
        check_rig(self._rig, welcome)
        self._plunger.has_valve = bool(welcome.capabilities & Capability.VALVE)
        self._plunger.has_home_switch = bool(welcome.capabilities & Capability.HOME_SWITCH)
        self._amplifier = Amplifier(welcome.range_low_uV, welcome.range_high_uV)
        assert self._link.boot is not None
        self._identity = Identity(
            self._link.boot,
            welcome.version,
            welcome.firmware,
            welcome.session,
            welcome.position,
            self._clock.hear(welcome.board_ms),
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
        travel. The session in force on the board may be opened again (a resumed run): its doses and limits stand as
        they are. A new one ends a motion under way. DoseError when the travel does not fit into what is left of the
        stroke and the burette does not refill.
        """
        if not 0 < session < 1 << 32:
            raise DoseError(f"a session is a whole number from 1 to 4294967295, got {session}")
        if self._identity is None:
            self.connect()
        self._link.hello(session)
        status = self._link.ask(AskStatus(), Status)
        self._link.take_events()  # told before the run began, and the status holds their outcome
        self._ready.clear()
        burette, plunger = self._burette, self._plunger
        travel_steps = math.floor(travel_mL / burette.step_mL + _TRAVEL_SLACK)
        plunger.begin(status, status.position if origin_steps is None else origin_steps, travel_steps)
        limits = SetLimits(
            highest_position=plunger.highest,
            most_travel=travel_steps + burette.covering_steps(priming_mL),
            least_step_us=burette.least_step_us,
            least_refill_step_us=burette.step_us(self._rig.burette.filling_speed_mL_per_min),
            dead_man_ms=round(self._rig.link.dead_man_s * 1000),
        )
        self._link.ask(limits, LimitsInForce)
        own_dose = status.dose_session == session
        self._moving = own_dose and status.dose_state is DoseState.MOVING
        self._dose = status.dose if own_dose else 0
        self._told_dose = self._dose - self._moving
        self._asked = None
        self._aside = None
        if self._moving:
            if status.dose_valve is ValvePosition.VESSEL:
                plunger.at = status.dose_target
            else:
                kind = Refill if status.dose_target < status.position else Move
                self._aside = kind(status.dose, status.dose_target, 0)
        self._next_index = status.next_index
        return self._status(status)

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
    def plunger(self) -> Plunger:
        """Where the plunger is, for whoever plans a refill."""
        return self._plunger

    @property
    def rig(self) -> Rig:
        """The rig as its file describes it."""
        return self._rig

    def status(self) -> BenchStatus:
        """Ask the board where it stands; settles what became of a dose whose answer was lost."""
        status = self._link.ask(AskStatus(), Status)
        self._note_status(status)
        return self._status(status)

    def _status(self, status: Status) -> BenchStatus:
        begun = self._plunger.begun and self._aside is None
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

    # ---------------------------------------------------------------------------------------------------- dosing
    def steps_at(self, volume_mL: float) -> int:
        """The board's absolute count of steps that `move_to` aims at for `volume_mL`."""
        return self._plunger.filling.position_of(self._burette.steps(volume_mL))

    def grid_volume_mL(self, volume_mL: float) -> float:
        """The volume nearest to `volume_mL` that the step grid can aim at: what `move_to` will return for it."""
        return self._burette.volume_mL(self._burette.steps(volume_mL))

    def move_to(self, dose: int, volume_mL: float, *, speed_mL_per_min: float | None = None) -> float:
        """Start towards a total of `volume_mL` since the run began; the volume that the step grid really aims at.

        Returns as soon as the board took the dose; its end comes from `wait`. The same dose may be sent again: it is
        never delivered twice. `dose` is newer than all before it; the speed is the top speed unless stated. DoseError
        when the target lies back or beyond the travel, or the identifier is not new; BoardRefusedError.
        """
        target = self._checked_target(dose, volume_mL)
        speed = speed_mL_per_min or self._burette.top_speed_mL_per_min
        self._send(Move(dose, target, self._burette.step_us(speed)), aside=False)
        return self._volume_mL(target)

    def _send(self, motion: Move | Refill, *, aside: bool) -> None:
        report = self._link.ask(motion, DoseReport)
        dose, target = motion.dose, motion.target
        if report.dose != dose or report.target != target:
            raise DoseError(
                f"dose {dose} to step {target} was not taken: the board's newest is dose {report.dose} to step "
                f"{report.target}. Next: number doses upwards without using one twice; compare the record"
            )
        self._dose = dose
        self._aside = motion if aside else None
        if not aside:
            self._plunger.at = target
        self._moving = dose > self._told_dose
        self._take_events()
        if report.state is not DoseState.MOVING:
            self._note_end(dose, report.position, report.state, report.at_ms)

    def _checked_target(self, dose: int, volume_mL: float) -> int:
        plunger = self._plunger
        self._check_number(dose)
        if not math.isfinite(volume_mL):
            raise DoseError(f"a dose needs a volume, got {volume_mL}")
        total = self._burette.steps(volume_mL)
        target = plunger.filling.position_of(total)
        if target < plunger.at:
            raise DoseError(
                f"dose {dose} should be at or beyond {self._volume_mL(plunger.at):g} mL, where the plunger is "
                f"bound, got {volume_mL:g} mL: delivered titrant cannot be taken back"
            )
        if total > plunger.travel_steps:
            raise DoseError(
                f"dose {dose} should be within the travel of this run, "
                f"{self._burette.volume_mL(plunger.travel_steps):g} mL, got {volume_mL:g} mL: end the run or begin one "
                f"with more travel"
            )
        if target > plunger.at + plunger.left_steps:
            raise DoseError(
                f"dose {dose} should be within the {self.left_mL:g} mL that may be delivered before a refill, got "
                f"{volume_mL - plunger.total_steps * self._burette.step_mL:g} mL: refill the burette first"
            )
        return target

    def _check_number(self, dose: int) -> None:
        if not self._plunger.begun:
            raise DoseError("no run has begun: call begin_run() before the first dose")
        if not 0 < dose < 1 << 32:
            raise DoseError(f"a dose identifier is a whole number from 1 to 4294967295, got {dose}")

    # ------------------------------------------------------------------------------------- aside from the vessel
    def turn_valve(self, position: ValvePosition) -> None:
        """Begin to turn the valve; `wait` brings `ValveSettled`. BoardRefusedError while the motor runs."""
        report = self._link.ask(SetValve(position), ValveReport)
        self._asked = position
        self._take_events()
        if report.state is not ValveState.TURNING:
            self._note_valve(report)

    def draw(self, dose: int, target_steps: int) -> None:
        """Begin to fill from the reservoir: back to the home switch, no further than the count `target_steps`.

        At the refill speed of the rig. Its end comes from `wait`. BoardRefusedError unless the valve is confirmed at
        the reservoir.
        """
        self._check_number(dose)
        step_us = self._burette.step_us(self._rig.burette.filling_speed_mL_per_min)
        self._send(Refill(dose, target_steps, step_us), aside=True)

    def push_aside(self, dose: int, target_steps: int, valve: ValvePosition) -> None:
        """Begin to push what is not for the sample: backlash towards the reservoir, or a purge over waste.

        At the refill speed. Its end comes from `wait`; the total delivered in this run stays as it is.
        """
        self._check_number(dose)
        step_us = self._burette.step_us(self._rig.burette.filling_speed_mL_per_min)
        self._send(Move(dose, target_steps, step_us, valve), aside=True)

    def rest(self, duration_s: float) -> None:
        """Let so much time pass (transport time); `wait` brings `Rested` when it is over."""
        self._rest_over_s = self._transport.now_s() + duration_s

    def halt(self) -> float:
        """Stop the motor at once; the volume at rest. The end of the dose comes from `wait` too."""
        report = self._link.ask(Halt(), DoseReport)
        self._take_events()
        self._rest_over_s = math.inf
        if self._moving:
            self._note_end(report.dose, report.position, report.state, report.at_ms)
        elif self._aside is None:
            self._plunger.at = report.position
        return self._volume_mL(self._plunger.at)

    def start_readings(self) -> None:
        """Let readings stream. Harmless when they do already."""
        amplifier = self._rig.amplifier
        self._link.ask(SetReadings(amplifier.period_ms, amplifier.readings_per_block), ReadingsSet)
        self._streaming = True

    # --------------------------------------------------------------------------------------------------- waiting
    def wait(self, timeout_s: float) -> list[BenchEvent]:
        """What happened, as soon as anything did; empty after `timeout_s` (transport time).

        Speaks to the board meanwhile: while the motor runs, so that it goes on; and when nothing was heard for too
        long. NoAnswerError when the board is gone, BoardRestartedError when it came back as another.
        """
        link, clock = self._link, self._transport.now_s
        deadline_s = clock() + timeout_s
        while not self._ready:
            now_s = clock()
            question_s = self._question_due_s()
            if now_s >= self._rest_over_s:
                self._rest_over_s = math.inf
                self._ready.append(Rested(self.now_s))
                break
            if now_s >= question_s:
                self._note_status(link.ask(AskStatus(), Status))
                continue
            link.poll(max(0.0, min(deadline_s, question_s, self._rest_over_s) - now_s))
            self._take_events()
            if clock() >= deadline_s:
                break
        ready, self._ready = self._ready, []
        return ready

    def _question_due_s(self) -> float:
        due_s = math.inf
        if self._moving or self._asked is not None:
            due_s = self._link.answered_s + self._rig.link.feed_every_s
        if self._streaming:
            due_s = min(due_s, self._link.heard_s + self._silence_s)
        return due_s

    def _take_events(self) -> None:
        for event in self._link.take_events():
            if isinstance(event, Readings):
                self._note_readings(event)
            elif isinstance(event, MotionEndedMessage):
                self._note_end(event.dose, event.position, event.state, event.at_ms)
            else:
                self._note_valve(event)

    def _note_readings(self, block: Readings) -> None:
        missed = block.first_index - self._next_index
        if missed < 0:
            return  # a repeated block: its readings were told before
        self._next_index = block.first_index + len(block.potentials_uV)
        first_ms = self._clock.unwrap(block.first_ms)
        times_s = tuple([(first_ms + offset) / 1000 for offset in block.offsets_ms])
        self._clock.hear(block.first_ms + block.offsets_ms[-1])
        self._ready.append(
            ReadingBlock(
                block.first_index,
                times_s,
                self._amplifier.potentials_mV(block.potentials_uV),
                missed,
                self._amplifier.saturated(block.potentials_uV),
            )
        )

    def _note_end(self, dose: int, position: int, state: DoseState, at_ms: int) -> None:
        """Tell the end of a dose once, whichever of its tellings comes first."""
        if dose <= self._told_dose or dose != self._dose or state not in END_REASONS:
            return
        self._told_dose = dose
        self._moving = False
        plunger, aside = self._plunger, self._aside
        if aside is None:
            plunger.at = position
        else:
            plunger.moved_aside(position, drawn=isinstance(aside, Refill))
            if state is DoseState.HOME:
                plunger.found_home(position)
        t_s, volume_mL = self._clock.unwrap(at_ms) / 1000, self._volume_mL(plunger.at)
        self._ready.append(MotionEnded(t_s, dose, volume_mL, position, END_REASONS[state], aside is not None))

    def _note_valve(self, told: ValveReport | ValveTurned) -> None:
        """Tell the end of a turn once, whichever of its tellings comes first."""
        confirmed = told.state is ValveState.CONFIRMED
        self._plunger.valve_at_vessel = confirmed and told.position is ValvePosition.VESSEL
        if told.asked is not self._asked or told.state is ValveState.TURNING:
            return
        self._asked = None
        t_s = self._clock.unwrap(told.at_ms) / 1000
        self._ready.append(ValveSettled(t_s, VALVE_WORDS[told.asked], VALVE_WORDS[told.position], confirmed))

    def _note_status(self, status: Status) -> None:
        self._take_events()
        self._clock.hear(status.board_ms)
        if self._link.session and status.session != self._link.session:
            raise LinkError(
                f"the session should be {self._link.session:08x}, but the board's is {status.session:08x}: another "
                f"program opened one. Next: end it, then resume the run"
            )
        if self._asked is not None:
            self._note_valve(ValveReport(status.valve, self._asked, status.valve_state, status.board_ms))
        if status.dose_session == self._link.session:
            self._note_end(status.dose, status.position, status.dose_state, status.dose_ended_ms)
