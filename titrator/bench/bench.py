"""The bench as control's driver sees it: volumes, potentials and the board's own time."""

import math

from firmware_protocol.messages import (
    AskStatus,
    DoseReport,
    DoseState,
    Halt,
    Move,
    Readings,
    Refill,
    SetValve,
    Status,
    ValvePosition,
    ValveReport,
    ValveState,
    ValveTurned,
)
from firmware_protocol.messages import MotionEnded as MotionEndedMessage
from titrator.bench.errors import BoardRefusedError, LinkError
from titrator.bench.events import (
    VALVE_WORDS,
    BenchEvent,
    BenchStatus,
    Rested,
    ValveSettled,
)
from titrator.bench.joined import JoinedBench


class Bench(JoinedBench):
    """One burette and one electrode on one board. Every method may raise LinkError (see titrator.bench.errors)."""

    def damaged_at_the_board(self) -> int:
        """How many damaged frames the board dropped since it started (65535: so many or more)."""
        status = self._link.ask(AskStatus(), Status)
        self._note_status(status)
        return status.damaged_frames

    def status(self) -> BenchStatus:
        """Ask the board where it stands; settles what became of a dose whose answer was lost."""
        status = self._link.ask(AskStatus(), Status)
        self._note_status(status)
        return self._status(status)

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
        target = self.motions.checked_target(dose, volume_mL)
        speed = speed_mL_per_min or self._burette.top_speed_mL_per_min
        self._send(Move(dose, target, self._burette.step_us(speed)), aside=False)
        return self._volume_mL(target)

    def _send(self, motion: Move | Refill, *, aside: bool) -> None:
        motions = self.motions
        before = motions.dose
        motions.sending(motion, aside=aside)
        try:
            report = self._link.ask(motion, DoseReport)
        except BoardRefusedError:
            motions.refused(motion, before)
            raise
        motions.answered(motion, report)
        self._take_events()
        if report.state is not DoseState.MOVING:
            self._note_end(motion.dose, report.position, report.state, report.at_ms)

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
        self.motions.check_number(dose)
        step_us = self._burette.step_us(self._rig.burette.filling_speed_mL_per_min)
        self._send(Refill(dose, target_steps, step_us), aside=True)

    def push_aside(self, dose: int, target_steps: int, valve: ValvePosition) -> None:
        """Begin to push what is not for the sample: backlash towards the reservoir, or a purge over waste.

        At the refill speed. Its end comes from `wait`; the total delivered in this run stays as it is.
        """
        self.motions.check_number(dose)
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
        if self.motions.moving:
            self._note_end(report.dose, report.position, report.state, report.at_ms)
        elif self.motions.aside is None and not self.motions.unknown and self.motions.doubt is None:
            self._plunger.at = report.position
        return self._volume_mL(self._plunger.at)

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
            # Who slept through a question asks it before time is said to have passed with nothing in it.
            if deadline_s <= clock() <= self._question_due_s() + self._rig.link.answer_within_s:
                break
        ready, self._ready = self._ready, []
        return ready

    def _question_due_s(self) -> float:
        due_s = math.inf
        if self.motions.moving or self._asked is not None:
            due_s = self._link.answered_s + self._rig.link.feed_every_s
        if self._readings.streaming:
            due_s = min(due_s, self._link.heard_s + self._silence_s)
        return due_s

    def _take_events(self) -> None:
        for event in self._link.take_events():
            if isinstance(event, Readings):
                block = self._readings.take(event)
                if block is not None:
                    self._ready.append(block)
            elif isinstance(event, MotionEndedMessage):
                self._note_end(event.dose, event.position, event.state, event.at_ms)
            elif isinstance(event, ValveTurned):
                self._note_valve(event)

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
