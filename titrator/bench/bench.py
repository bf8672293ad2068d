"""The bench as control's driver sees it: volumes, potentials and the board's own time."""

import math
from typing import Final

from firmware_protocol.messages import (
    AskStatus,
    DoseReport,
    DoseState,
    Halt,
    LimitsInForce,
    Move,
    Readings,
    ReadingsSet,
    SetLimits,
    SetReadings,
    Status,
    Welcome,
)
from firmware_protocol.messages import MotionEnded as MotionEndedMessage
from titrator.bench.board_clock import BoardClock
from titrator.bench.electrode import Amplifier
from titrator.bench.errors import DoseError, LinkError, RigMismatchError
from titrator.bench.events import END_REASONS, BenchEvent, BenchStatus, Identity, MotionEnded, ReadingBlock
from titrator.bench.link import Counters, Link
from titrator.bench.rig import Rig
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
        self._origin_steps = 0
        self._highest_steps: int | None = None
        self._target_steps = 0
        self._dose = 0
        self._told_dose = 0
        self._moving = False
        self._streaming = False
        self._next_index = 0
        block_s = rig.amplifier.readings_per_block * rig.amplifier.period_ms / 1000
        self._silence_s = 2 * block_s + rig.link.answer_within_s
        """Longer than this without a block is worth a question: two blocks and an answer's time."""

    # --------------------------------------------------------------------------------------------- beginning, end
    def connect(self) -> Identity:
        """Shake hands, only looking: nothing on the board changes. RigMismatchError when it is not the rig's board."""
        welcome = self._link.hello(0)
        self._check_rig(welcome)
        self._amplifier = Amplifier(welcome.range_low_uV, welcome.range_high_uV)
        assert self._link.boot is not None
        self._identity = Identity(
            self._link.boot,
            welcome.version,
            welcome.firmware,
            welcome.session,
            welcome.position,
            self._clock.hear(welcome.board_ms),
        )
        return self._identity

    def begin_run(self, session: int, travel_mL: float, *, origin_steps: int | None = None) -> BenchStatus:
        """Open `session` (1 to 2³²-1) and set its limits: at most `travel_mL` beyond the origin, at most top speed.

        The origin is where the plunger stands, or `origin_steps` when a run goes on that began there. The session in
        force on the board may be opened again (a resumed run): its doses and limits stand as they are. A new one ends
        a motion under way. DoseError when the travel does not fit into what is left of the stroke.
        """
        if not 0 < session < 1 << 32:
            raise DoseError(f"a session is a whole number from 1 to 4294967295, got {session}")
        if self._identity is None:
            self.connect()
        self._link.hello(session)
        status = self._link.ask(AskStatus(), Status)
        self._link.take_events()  # told before the run began, and the status holds their outcome
        self._ready.clear()
        origin = status.position if origin_steps is None else origin_steps
        highest = origin + math.floor(travel_mL / self._burette.step_mL + _TRAVEL_SLACK)
        if not status.position <= highest <= self._burette.stroke_steps:
            left_mL = self._burette.volume_mL(self._burette.stroke_steps - origin)
            raise DoseError(
                f"a run of {travel_mL:g} mL should fit between the plunger at step {status.position} and the end of "
                f"the stroke ({left_mL:g} mL left from step {origin}): refill the burette or run to less"
            )
        dead_man_ms = round(self._rig.link.dead_man_s * 1000)
        self._link.ask(SetLimits(highest, self._burette.least_step_us, dead_man_ms), LimitsInForce)
        self._origin_steps, self._highest_steps = origin, highest
        own_dose = status.dose_session == session
        self._moving = own_dose and status.dose_state is DoseState.MOVING
        self._dose = status.dose if own_dose else 0
        self._told_dose = self._dose - self._moving
        self._target_steps = status.dose_target if self._moving else status.position
        self._next_index = status.next_index
        return self._status(status)

    def close(self) -> None:
        """Let go of the transport. A motion under way ends by the board's dead-man timer."""
        self._transport.close()

    def _check_rig(self, welcome: Welcome) -> None:
        amplifier = self._rig.amplifier
        stated = {
            "stroke in steps": (self._burette.stroke_steps, welcome.highest_position),
            "lower end of the range in µV": (round(amplifier.range.low_mV * 1000), welcome.range_low_uV),
            "upper end of the range in µV": (round(amplifier.range.high_mV * 1000), welcome.range_high_uV),
            "converter step in µV": (round(amplifier.step_mV * 1000), welcome.adc_step_uV),
        }
        wrong = [f"{what}: {here} in the rig file, {there} on the board" for what, (here, there) in stated.items()
                 if here != there]  # fmt: skip
        if self._burette.least_step_us < welcome.least_step_us:
            wrong.append(
                f"top speed: a step of {self._burette.least_step_us} µs in the rig file, at least "
                f"{welcome.least_step_us} µs on the board"
            )
        if wrong:
            raise RigMismatchError(
                f"the board should be the one of rig '{self._rig.name}', but {'; '.join(wrong)}. Next: choose the rig "
                f"file that belongs to this board, or correct it"
            )

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
        """The board's count of steps where this run began."""
        return self._origin_steps

    def status(self) -> BenchStatus:
        """Ask the board where it stands; settles what became of a dose whose answer was lost."""
        status = self._link.ask(AskStatus(), Status)
        self._note_status(status)
        return self._status(status)

    def _status(self, status: Status) -> BenchStatus:
        begun = self._highest_steps is not None
        return BenchStatus(
            t_s=self._clock.hear(status.board_ms),
            session=status.session,
            steps=status.position,
            volume_mL=self._volume_mL(status.position) if begun else 0.0,
            dose_session=status.dose_session,
            dose=status.dose,
            dose_target_steps=status.dose_target,
            dose_ended=END_REASONS.get(status.dose_state),
            moving=status.dose_state is DoseState.MOVING,
        )

    def _volume_mL(self, steps: int) -> float:
        return self._burette.volume_mL(steps - self._origin_steps)

    # ---------------------------------------------------------------------------------------------------- dosing
    def steps_at(self, volume_mL: float) -> int:
        """The board's absolute count of steps that `move_to` aims at for `volume_mL`."""
        return self._origin_steps + self._burette.steps(volume_mL)

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
        report = self._link.ask(Move(dose, target, self._burette.step_us(speed)), DoseReport)
        if report.dose != dose or report.target != target:
            raise DoseError(
                f"dose {dose} to step {target} was not taken: the board's newest is dose {report.dose} to step "
                f"{report.target}. Next: number doses upwards without using one twice; compare the record"
            )
        self._dose, self._target_steps = dose, target
        self._moving = dose > self._told_dose
        self._take_events()
        if report.state is not DoseState.MOVING:
            self._note_end(dose, report.position, report.state, report.at_ms)
        return self._volume_mL(target)

    def _checked_target(self, dose: int, volume_mL: float) -> int:
        if self._highest_steps is None:
            raise DoseError("no run has begun: call begin_run() before the first dose")
        if not 0 < dose < 1 << 32:
            raise DoseError(f"a dose identifier is a whole number from 1 to 4294967295, got {dose}")
        if not math.isfinite(volume_mL):
            raise DoseError(f"a dose needs a volume, got {volume_mL}")
        target = self._origin_steps + self._burette.steps(volume_mL)
        if target < self._target_steps:
            raise DoseError(
                f"dose {dose} should be at or beyond {self._volume_mL(self._target_steps):g} mL, where the plunger is "
                f"bound, got {volume_mL:g} mL: delivered titrant cannot be taken back"
            )
        if target > self._highest_steps:
            raise DoseError(
                f"dose {dose} should be within the travel of this run, {self._volume_mL(self._highest_steps):g} mL, "
                f"got {volume_mL:g} mL: end the run or begin one with more travel"
            )
        return target

    def halt(self) -> float:
        """Stop the motor at once; the volume at rest. The end of the dose comes from `wait` too."""
        report = self._link.ask(Halt(), DoseReport)
        self._take_events()
        if self._moving:
            self._note_end(report.dose, report.position, report.state, report.at_ms)
        self._target_steps = report.position
        return self._volume_mL(report.position)

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
            if now_s >= question_s:
                self._note_status(link.ask(AskStatus(), Status))
                continue
            link.poll(max(0.0, min(deadline_s, question_s) - now_s))
            self._take_events()
            if clock() >= deadline_s:
                break
        ready, self._ready = self._ready, []
        return ready

    def _question_due_s(self) -> float:
        due_s = math.inf
        if self._moving:
            due_s = self._link.answered_s + self._rig.link.feed_every_s
        if self._streaming:
            due_s = min(due_s, self._link.heard_s + self._silence_s)
        return due_s

    def _take_events(self) -> None:
        for event in self._link.take_events():
            if isinstance(event, Readings):
                self._note_readings(event)
            else:
                assert isinstance(event, MotionEndedMessage)
                self._note_end(event.dose, event.position, event.state, event.at_ms)

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
        self._target_steps = position
        t_s = self._clock.unwrap(at_ms) / 1000
        self._ready.append(MotionEnded(t_s, dose, self._volume_mL(position), position, END_REASONS[state]))

    def _note_status(self, status: Status) -> None:
        self._take_events()
        self._clock.hear(status.board_ms)
        if self._link.session and status.session != self._link.session:
            raise LinkError(
                f"the session should be {self._link.session:08x}, but the board's is {status.session:08x}: another "
                f"program opened one. Next: end it, then resume the run"
            )
        if status.dose_session == self._link.session:
            self._note_end(status.dose, status.position, status.dose_state, status.dose_ended_ms)
