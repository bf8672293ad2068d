"""The board's motor: limits, doses and the count of steps, and what of them a reset leaves."""

from collections.abc import Callable
from dataclasses import dataclass

from firmware_protocol.messages import (
    Capability,
    DoseReport,
    DoseState,
    LimitsInForce,
    Message,
    MotionEnded,
    Move,
    Reason,
    Refill,
    Refused,
    SetLimits,
    SetValve,
    ValvePosition,
)
from sim.board_state import NEVER, Dose, Limits
from sim.burette import SimulatedBurette
from sim.retained import Retained, unpacked
from sim.valve_watch import ValveWatch

SIMULATED_IDENTITY = 0x51301A7E
"""Of a simulated board that is given no other identity: nothing but easy to recognise."""


@dataclass(frozen=True, slots=True)
class BoardSettings:
    """What the firmware holds fixed.

    `latency_us` is the time from the end of a request to the end of its answer. A valve not seen where it was
    asked to be within `valve_within_us` is a fault. `time_out_factor` makes the times that a host must keep longer, for
    a board whose clock is run faster than the host's.
    """

    stroke_steps: int
    least_step_us: int
    range_low_uV: int
    range_high_uV: int
    adc_step_uV: int
    identity: int = SIMULATED_IDENTITY
    latency_us: int = 3000
    time_out_factor: int = 1
    home_switch: bool = True
    valve_within_us: int = 5_000_000


class Motor:
    """Moves the burette within limits. `kept` is the memory that outlives a reset, always as things stand.

    `ended` is called after each end of a motion.
    """

    def __init__(
        self,
        burette: SimulatedBurette,
        settings: BoardSettings,
        valve: ValveWatch | None,
        ended: Callable[[MotionEnded], None],
    ) -> None:
        self.burette = burette
        self.end_us = self.dead_man_us = NEVER
        self.kept = Retained()
        self.position_kept = False
        self._settings = settings
        self._valve = valve
        self._tell = ended
        self._now_us = self._booted_us = 0
        self._origin = 0
        self._limits: Limits | None = None
        self._ends = DoseState.ARRIVED

    # --------------------------------------------------------------------------------------- power and resets
    def power_up(self, now_us: int) -> None:
        """Come up after a loss of power: all is forgotten, and the count of steps begins at 0."""
        self._origin = self.burette.stop(now_us)
        at_home = self._settings.home_switch and self.burette.carriage_steps <= 0
        self.kept = Retained(home=0 if at_home else None)
        self.position_kept = False
        self._start(now_us)

    def memory_at(self, now_us: int, miscounted: int) -> bytes:
        """Stop as by a reset now, and return the kept memory as it is found behind it.

        `miscounted` (-1, 0, 1): how far the count of the step in hand is off when the motor ran; otherwise nothing is.
        """
        kept, dose, running = self.kept, self.kept.dose, self.burette.moving
        before = self.burette.steps - self._origin
        position = self.burette.stop(now_us) - self._origin
        if running:
            position += miscounted * (1 if dose.target >= before else -1)
            kept.within += 1
            self._count_travel(before, position)
            dose.end(DoseState.RESET, position, 0)
        kept.position = position
        return kept.packed()

    def reset(self, now_us: int, memory: bytes) -> None:
        """Come up after a reset with this memory; as after a loss of power when its CRC is wrong."""
        kept = unpacked(memory)
        if kept is None:
            self.power_up(now_us)
            return
        self.kept = kept
        self.position_kept = True
        self._origin = self.burette.steps - kept.position
        self._start(now_us)

    def _start(self, now_us: int) -> None:
        self._booted_us = now_us
        self._limits = None
        self.end_us = self.dead_man_us = NEVER

    # --------------------------------------------------------------------------------------------- what is so
    def ms(self, now_us: int) -> int:
        """Board milliseconds since the start."""
        return ((now_us - self._booted_us) // 1000) & 0xFFFFFFFF

    def position(self, now_us: int) -> int:
        """The count now."""
        return self.burette.steps_at(now_us) - self._origin

    def report(self, now_us: int) -> DoseReport:
        """The stored answer: at rest where and when the newest dose ended, in motion where it is now."""
        dose = self.kept.dose
        moving = dose.state is DoseState.MOVING
        position = self.position(now_us) if moving or dose.state is DoseState.NONE else dose.position
        return DoseReport(dose.number, dose.target, position, dose.state, self.ms(now_us) if moving else dose.ended_ms)

    def _end_of_stroke(self) -> int:
        """Counted from home, once that is known; until then from where the plunger stood at the start."""
        return (self.kept.home or 0) + self._settings.stroke_steps

    # ------------------------------------------------------------------------------------------------- the end
    def end(self, now_us: int, state: DoseState | None = None) -> None:
        """End the motion under way: as it was to end, or as `state` says."""
        state = self._ends if state is None else state
        before = self.burette.steps - self._origin
        position = self.burette.stop(now_us) - self._origin
        self.end_us = self.dead_man_us = NEVER
        self._count_travel(before, position)
        kept = self.kept
        kept.position = position
        if state is DoseState.HOME:
            kept.home, kept.within = position, 0
        kept.dose.end(state, position, self.ms(now_us))
        self._tell(MotionEnded(kept.dose.number, position, state, self.ms(now_us)))

    def _count_travel(self, before: int, position: int) -> None:
        if self.kept.dose.valve is ValvePosition.VESSEL:
            self.kept.travelled += position - before

    def feed(self, now_us: int) -> None:
        """Start the dead-man timer anew, if the motor runs."""
        if self.end_us != NEVER and self._limits is not None:
            self.dead_man_us = now_us + self._limits.dead_man_ms * 1000 * self._settings.time_out_factor

    # ---------------------------------------------------------------------------------------------- the session
    def open_session(self, now_us: int, session: int) -> None:
        """A session begins that is not in force. The newest one, kept over a reset, goes on counting its travel."""
        if self.burette.moving:
            self.end(now_us, DoseState.SESSION_ENDED)
        self._limits = None
        if session != self.kept.session:
            self.kept.session, self.kept.travelled = session, 0

    def set_limits(self, wanted: SetLimits) -> Message:
        """Take limits that are no looser than those in force."""
        fixed = self._settings
        least_us = fixed.least_step_us
        in_force = self._limits or Limits(self._end_of_stroke(), 0xFFFFFFFF, least_us, least_us, 0xFFFF)
        if wanted.dead_man_ms == 0:
            return Refused(wanted.KIND, Reason.BAD_VALUE, wanted.dead_man_ms)
        for asked, standing in (
            (wanted.highest_position, in_force.highest_position),
            (wanted.most_travel, in_force.most_travel),
            (-wanted.least_step_us, -in_force.least_step_us),
            (-wanted.least_refill_step_us, -in_force.least_refill_step_us),
            (wanted.dead_man_ms, in_force.dead_man_ms),
        ):
            if asked > standing:
                return Refused(wanted.KIND, Reason.LIMIT_CANNOT_RISE, abs(standing))
        limits = (wanted.highest_position, wanted.most_travel, wanted.least_step_us, wanted.least_refill_step_us)
        self._limits = Limits(*limits, wanted.dead_man_ms)
        return LimitsInForce(*limits, wanted.dead_man_ms)

    # ----------------------------------------------------------------------------------------------- the motions
    def move(self, now_us: int, move: Move) -> Message:
        """A push, or why not."""
        refused = self._refusal(now_us, move)
        if refused is not None:
            return refused
        limits, position = self._limits, self.position(now_us)
        assert limits is not None
        highest = min(limits.highest_position, self._end_of_stroke())
        if move.target > highest:
            return Refused(move.KIND, Reason.BEYOND_LIMIT, highest)
        if move.target < position:
            return Refused(move.KIND, Reason.REVERSAL, position)
        if move.step_us < limits.least_step_us:
            return Refused(move.KIND, Reason.TOO_FAST, limits.least_step_us)
        travelled = self.kept.travelled
        if move.valve is ValvePosition.VESSEL and travelled + move.target - position > limits.most_travel:
            return Refused(move.KIND, Reason.TRAVEL, limits.most_travel - travelled)
        refused = self._valve_refusal(now_us, move.KIND, move.valve)
        if refused is not None:
            return refused
        return self._set_off(now_us, move, move.target - position, move.valve, DoseState.ARRIVED)

    def refill(self, now_us: int, refill: Refill) -> Message:
        """The motion back, or why not."""
        refused = self._refusal(now_us, refill)
        if refused is not None:
            return refused
        limits, position, fixed = self._limits, self.position(now_us), self._settings
        assert limits is not None
        # Behind a home switch there is nothing to hit; without one the count from the start is all there is to go by.
        lowest = position - fixed.stroke_steps - fixed.stroke_steps // 64 if fixed.home_switch else 0
        if refill.target < lowest:
            return Refused(refill.KIND, Reason.BEYOND_LIMIT, lowest)
        if refill.target > position:
            return Refused(refill.KIND, Reason.REVERSAL, position)
        if refill.step_us < limits.least_refill_step_us:
            return Refused(refill.KIND, Reason.TOO_FAST, limits.least_refill_step_us)
        refused = self._valve_refusal(now_us, refill.KIND, ValvePosition.RESERVOIR)
        if refused is not None:
            return refused
        back = position - refill.target
        to_home = max(0, self.burette.carriage_steps)
        home = fixed.home_switch and to_home <= back and not self.burette.stalled
        steps, ends = (-to_home, DoseState.HOME) if home else (-back, DoseState.ARRIVED)
        return self._set_off(now_us, refill, steps, ValvePosition.RESERVOIR, ends)

    def _refusal(self, now_us: int, motion: Move | Refill) -> Message | None:
        """What speaks against any motion now: the stored answer to an identifier that is not newer, or a refusal."""
        dose = self.kept.dose
        if dose.session == self.kept.session and motion.dose <= dose.number:
            return self.report(now_us)
        if self._limits is None:
            return Refused(motion.KIND, Reason.LIMITS_MISSING, 0)
        if motion.dose == 0:
            return Refused(motion.KIND, Reason.BAD_VALUE, 0)
        if self.burette.moving:
            return Refused(motion.KIND, Reason.MOVING, dose.target)
        return None

    def _valve_refusal(self, now_us: int, kind: int, way: ValvePosition) -> Refused | None:
        """Why nothing may move with the valve as it is; None when it is confirmed at `way`."""
        valve = self._valve
        if valve is None:
            return None if way is ValvePosition.VESSEL else Refused(kind, Reason.ABSENT, Capability.VALVE)
        return None if valve.confirmed(now_us, way) else Refused(kind, Reason.VALVE, valve.sensed(now_us))

    def valve_refusal(self, wanted: SetValve) -> Refused | None:
        """Why the valve may not be turned now."""
        if self._valve is None:
            return Refused(wanted.KIND, Reason.ABSENT, Capability.VALVE)
        if wanted.position is ValvePosition.BETWEEN:
            return Refused(wanted.KIND, Reason.BAD_VALUE, wanted.position)
        if self.burette.moving:
            return Refused(wanted.KIND, Reason.MOVING, self.kept.dose.target)
        return None

    def _set_off(
        self, now_us: int, motion: Move | Refill, steps: int, valve: ValvePosition, ends: DoseState
    ) -> DoseReport:
        self.kept.dose = Dose(self.kept.session, motion.dose, motion.target, DoseState.MOVING, valve=valve)
        # Liquid goes where the valve truly is, whatever its sensor says.
        truly = ValvePosition.VESSEL if self._valve is None else self._valve.truly_at(now_us)
        into_vessel = truly is ValvePosition.VESSEL
        end_us = self.burette.start(now_us, steps, motion.step_us, into_vessel=into_vessel)
        report = self.report(now_us)
        self._ends = ends
        if end_us == now_us:
            self.end(now_us)
            return self.report(now_us)
        self.end_us = end_us
        self.feed(now_us)
        return report
