"""The simulated board: the firmware's side of the wire, in virtual time."""

from dataclasses import dataclass
from typing import Protocol

from firmware_protocol.errors import PeerProtocolError
from firmware_protocol.frames import DELIMITER, FrameReader, frame
from firmware_protocol.messages import (
    VERSION,
    AskStatus,
    Capability,
    DoseReport,
    DoseState,
    Halt,
    Hello,
    LimitsInForce,
    Message,
    MotionEnded,
    Move,
    Packet,
    Readings,
    ReadingsSet,
    Reason,
    Refill,
    Refused,
    Role,
    SetLimits,
    SetReadings,
    SetValve,
    Status,
    ValvePosition,
    ValveState,
    ValveTurned,
    Welcome,
    decode,
    encode,
)
from sim.board_state import NEVER, Adc, Dose, Limits, Stream
from sim.burette import SimulatedBurette
from sim.valve import SimulatedValve
from sim.valve_watch import ValveWatch

FIRMWARE = 1
SIMULATED_IDENTITY = 0x51301A7E
"""Of a simulated board that is given no other identity: nothing but easy to recognise."""


class Cell(Protocol):
    """What the electrodes stand in."""

    def sample(self, t_s: float, delivered_mL: float) -> float:
        """Potential in mV at the amplifier's input; called once an ADC sample with non-decreasing time."""
        ...


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


class SimulatedBoard:
    """Receives bytes at its present virtual time and emits bytes as that time is moved on by `run_until`.

    It does only what SPEC.md says, never looks at the host, and holds every protection itself.
    """

    def __init__(
        self,
        burette: SimulatedBurette,
        cell: Cell,
        settings: BoardSettings,
        boot: int,
        valve: SimulatedValve | None = None,
    ) -> None:
        """A board without a valve delivers into the vessel only and cannot refill."""
        self.now_us = 0
        self.burette = burette
        self._valve = None if valve is None else ValveWatch(valve, settings.valve_within_us)
        self.cell = cell
        self._settings = settings
        self.adc = Adc(settings.range_low_uV, settings.range_high_uV, settings.adc_step_uV)
        self.restart(boot)

    def restart(self, boot: int) -> None:
        """Come up as after a reset: all is forgotten, the motor stands, the count of steps begins at 0 again."""
        self.boot = boot
        self._booted_us = self.now_us
        self._origin_steps = self.burette.stop(self.now_us)
        self._reader = FrameReader()
        self._outbox: list[tuple[int, bytes]] = []
        self._session = 0
        self._limits: Limits | None = None
        self._dose = Dose()
        self._stream = Stream()
        self._events = 0
        self._motion_end_us = NEVER
        self._motion_ends = DoseState.ARRIVED
        self._dead_man_us = NEVER
        self._travelled = 0
        self._home: int | None = 0 if self._settings.home_switch and self.burette.carriage_steps <= 0 else None
        if self._valve is not None:
            self._valve.start(self.now_us)

    # -------------------------------------------------------------------------------------------- virtual time
    def run_until(self, deadline_us: int) -> bytes:
        """Move time on to the next emission, or to the deadline if there is none before it; the bytes emitted."""
        while True:
            event_us = min(self._motion_end_us, self._dead_man_us, self._stream.next_us)
            if self._valve is not None and self._valve.next_us < event_us:
                event_us = self._valve.next_us
            if self._outbox and self._outbox[0][0] <= min(event_us, deadline_us):
                due_us, data = self._outbox.pop(0)
                self.now_us = max(self.now_us, due_us)
                return data
            if event_us > deadline_us:
                self.now_us = max(self.now_us, deadline_us)
                return b""
            self.now_us = event_us
            if event_us == self._motion_end_us:
                self._end_motion(self._motion_ends)
            elif event_us == self._dead_man_us:
                self._end_motion(DoseState.DEAD_MAN)
            elif event_us == self._stream.next_us:
                self._sample(event_us)
            else:
                self._look_at_valve()

    @property
    def latency_us(self) -> int:
        """From what is asked, or happens, to its being told."""
        return self._settings.latency_us

    @property
    def session(self) -> int:
        """The session in force, 0 for none."""
        return self._session

    @property
    def identity(self) -> int:
        """What it reports as its own number."""
        return self._settings.identity

    @property
    def due_us(self) -> int:
        """When something happens next of itself, if nothing is received before: for whoever must wait in real time."""
        due_us = min(self._motion_end_us, self._dead_man_us, self._stream.next_us)
        if self._valve is not None:
            due_us = min(due_us, self._valve.next_us)
        return min(due_us, self._outbox[0][0]) if self._outbox else due_us

    def _sample(self, now_us: int) -> None:
        stream = self._stream
        potential_mV = self.cell.sample(now_us * 1e-6, self.burette.delivered_mL(now_us))
        stream.stamps_ms.append((now_us - self._booted_us) // 1000)
        stream.potentials_uV.append(self.adc.convert(potential_mV))
        stream.next_us = now_us + stream.period_us
        if len(stream.stamps_ms) >= stream.per_block:
            self._send_block()

    def _send_block(self) -> None:
        """Send the readings gathered so far; also before news of the motor, so that all is told in order of time."""
        stream = self._stream
        if not stream.stamps_ms:
            return
        first_ms = stream.stamps_ms[0]
        offsets = tuple([stamp - first_ms for stamp in stream.stamps_ms])
        block = Readings(stream.next_index, first_ms & 0xFFFFFFFF, offsets, tuple(stream.potentials_uV))
        stream.next_index += len(offsets)
        stream.stamps_ms.clear()
        stream.potentials_uV.clear()
        self._tell(block)

    def _tell(self, event: Readings | MotionEnded | ValveTurned) -> None:
        self._send(self._events, event)
        self._events = (self._events + 1) & 0xFFFF

    def _send(self, number: int, message: Message) -> None:
        data = DELIMITER + frame(encode(Role.BOARD, Packet(number, self.boot, message)))
        self._outbox.append((self.now_us + self._settings.latency_us, data))

    def _ms(self) -> int:
        return ((self.now_us - self._booted_us) // 1000) & 0xFFFFFFFF

    def _position(self) -> int:
        return self.burette.steps_at(self.now_us) - self._origin_steps

    # ------------------------------------------------------------------------------------------------ the motor
    def _end_motion(self, state: DoseState) -> None:
        before = self.burette.steps - self._origin_steps
        position = self.burette.stop(self.now_us) - self._origin_steps
        self._motion_end_us = self._dead_man_us = NEVER
        if self._dose.valve is ValvePosition.VESSEL:
            self._travelled += position - before
        if state is DoseState.HOME:
            self._home = position
        self._dose.end(state, position, self._ms())
        self._send_block()
        self._tell(MotionEnded(self._dose.number, position, state, self._ms()))

    def _feed_dead_man(self) -> None:
        if self._motion_end_us != NEVER and self._limits is not None:
            self._dead_man_us = self.now_us + self._limits.dead_man_ms * 1000 * self._settings.time_out_factor

    def _end_of_stroke(self) -> int:
        """Counted from home, once that is known; until then from where the plunger stood at the start."""
        return (self._home or 0) + self._settings.stroke_steps

    # ------------------------------------------------------------------------------------------------ the valve
    def _look_at_valve(self) -> None:
        assert self._valve is not None
        if self._valve.look(self.now_us):
            self._send_block()
            self._tell(self._valve.turned(self.now_us, self._ms()))

    def _valve_refusal(self, kind: int, way: ValvePosition) -> Refused | None:
        """Why nothing may move with the valve as it is; None when it is confirmed at `way`."""
        valve = self._valve
        if valve is None:
            return None if way is ValvePosition.VESSEL else Refused(kind, Reason.ABSENT, Capability.VALVE)
        return None if valve.confirmed(self.now_us, way) else Refused(kind, Reason.VALVE, valve.sensed(self.now_us))

    def _set_valve(self, wanted: SetValve) -> Message:
        if self._valve is None:
            return Refused(wanted.KIND, Reason.ABSENT, Capability.VALVE)
        if wanted.position is ValvePosition.BETWEEN:
            return Refused(wanted.KIND, Reason.BAD_VALUE, wanted.position)
        if self.burette.moving:
            return Refused(wanted.KIND, Reason.MOVING, self._dose.target)
        self._valve.ask(self.now_us, wanted.position)
        return self._valve.report(self.now_us, self._ms())

    # --------------------------------------------------------------------------------------------- the requests
    def receive(self, data: bytes) -> None:
        """Take bytes that arrive now. Damaged frames are passed over; a sound frame always gets one answer."""
        for found in self._reader.feed(data):
            if isinstance(found, PeerProtocolError):
                continue
            try:
                packet = decode(Role.BOARD, found)
            except PeerProtocolError as unknown:
                if unknown.kind is not None and unknown.number is not None:
                    self._send(unknown.number, Refused(unknown.kind, Reason.UNKNOWN_REQUEST, VERSION))
                continue
            if packet.stamp == self._session and self._session:
                self._feed_dead_man()
            self._send(packet.number, self._answer(packet))

    def _answer(self, packet: Packet) -> Message:
        request = packet.message
        match request:
            case Hello():
                return self._hello(packet.stamp, request)
            case AskStatus():
                return self._status()
            case Halt():
                if self.burette.moving:
                    self._end_motion(DoseState.HALTED)
                return self._dose_report()
            case _ if packet.stamp != self._session or not self._session:
                return Refused(request.KIND, Reason.SESSION, _signed(self._session))
            case SetLimits():
                return self._set_limits(request)
            case Move():
                return self._move(request)
            case Refill():
                return self._refill(request)
            case SetValve():
                return self._set_valve(request)
            case SetReadings():
                return self._set_readings(request)
            case _:
                raise AssertionError(packet)

    def _hello(self, session: int, hello: Hello) -> Message:
        if hello.version != VERSION:
            return Refused(hello.KIND, Reason.VERSION, VERSION)
        if session and session != self._session:
            if self.burette.moving:
                self._end_motion(DoseState.SESSION_ENDED)
            self._session = session
            self._limits = None
            self._travelled = 0
            self._stream = Stream()
        return self._welcome()

    def _welcome(self) -> Welcome:
        fixed = self._settings
        return Welcome(
            version=VERSION,
            firmware=FIRMWARE,
            session=self._session,
            board_ms=self._ms(),
            position=self._position(),
            stroke_steps=fixed.stroke_steps,
            least_step_us=fixed.least_step_us,
            range_low_uV=fixed.range_low_uV,
            range_high_uV=fixed.range_high_uV,
            adc_step_uV=fixed.adc_step_uV,
            identity=fixed.identity,
            capabilities=Capability.SIMULATED
            | Capability.VALVE * (self._valve is not None)
            | Capability.HOME_SWITCH * fixed.home_switch,
        )

    def _status(self) -> Status:
        dose, stream = self._dose, self._stream
        return Status(
            board_ms=self._ms(),
            session=self._session,
            position=self._position(),
            dose_session=dose.session,
            dose=dose.number,
            dose_target=dose.target,
            dose_valve=dose.valve,
            dose_state=dose.state,
            dose_ended_ms=dose.ended_ms,
            next_index=stream.next_index,
            period_ms=stream.period_us // 1000,
            valve=ValvePosition.BETWEEN if self._valve is None else self._valve.sensed(self.now_us),
            valve_state=ValveState.UNKNOWN if self._valve is None else self._valve.state,
            home_known=int(self._home is not None),
            home_position=self._home or 0,
        )

    def _dose_report(self) -> DoseReport:
        """The stored answer: at rest where and when the newest dose ended, in motion where it is now."""
        dose = self._dose
        moving = dose.state is DoseState.MOVING
        position = self._position() if moving or dose.state is DoseState.NONE else dose.position
        return DoseReport(dose.number, dose.target, position, dose.state, self._ms() if moving else dose.ended_ms)

    def _set_limits(self, wanted: SetLimits) -> Message:
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

    def _move(self, move: Move) -> Message:
        refused = self._motion_refusal(move)
        if refused is not None:
            return refused
        limits, position = self._limits, self._position()
        assert limits is not None
        highest = min(limits.highest_position, self._end_of_stroke())
        if move.target > highest:
            return Refused(move.KIND, Reason.BEYOND_LIMIT, highest)
        if move.target < position:
            return Refused(move.KIND, Reason.REVERSAL, position)
        if move.step_us < limits.least_step_us:
            return Refused(move.KIND, Reason.TOO_FAST, limits.least_step_us)
        into_vessel = move.valve is ValvePosition.VESSEL
        if into_vessel and self._travelled + move.target - position > limits.most_travel:
            return Refused(move.KIND, Reason.TRAVEL, limits.most_travel - self._travelled)
        refused = self._valve_refusal(move.KIND, move.valve)
        if refused is not None:
            return refused
        return self._set_off(move, move.target - position, move.valve, DoseState.ARRIVED)

    def _refill(self, refill: Refill) -> Message:
        refused = self._motion_refusal(refill)
        if refused is not None:
            return refused
        limits, position, fixed = self._limits, self._position(), self._settings
        assert limits is not None
        # Behind a home switch there is nothing to hit; without one the count from the start is all there is to go by.
        lowest = position - fixed.stroke_steps - fixed.stroke_steps // 64 if fixed.home_switch else 0
        if refill.target < lowest:
            return Refused(refill.KIND, Reason.BEYOND_LIMIT, lowest)
        if refill.target > position:
            return Refused(refill.KIND, Reason.REVERSAL, position)
        if refill.step_us < limits.least_refill_step_us:
            return Refused(refill.KIND, Reason.TOO_FAST, limits.least_refill_step_us)
        refused = self._valve_refusal(refill.KIND, ValvePosition.RESERVOIR)
        if refused is not None:
            return refused
        back = position - refill.target
        to_home = max(0, self.burette.carriage_steps)
        home = fixed.home_switch and to_home <= back and not self.burette.stalled
        ends = DoseState.HOME if home else DoseState.ARRIVED
        return self._set_off(refill, -(to_home if home else back), ValvePosition.RESERVOIR, ends)

    def _motion_refusal(self, motion: Move | Refill) -> Message | None:
        """What speaks against any motion now: the stored answer to an identifier that is not newer, or a refusal."""
        if self._dose.session == self._session and motion.dose <= self._dose.number:
            return self._dose_report()
        if self._limits is None:
            return Refused(motion.KIND, Reason.LIMITS_MISSING, 0)
        if motion.dose == 0:
            return Refused(motion.KIND, Reason.BAD_VALUE, 0)
        if self.burette.moving:
            return Refused(motion.KIND, Reason.MOVING, self._dose.target)
        return None

    def _set_off(self, motion: Move | Refill, steps: int, valve: ValvePosition, ends: DoseState) -> DoseReport:
        self._dose = Dose(self._session, motion.dose, motion.target, DoseState.MOVING, valve=valve)
        # Liquid goes where the valve truly is, whatever its sensor says.
        truly = ValvePosition.VESSEL if self._valve is None else self._valve.truly_at(self.now_us)
        into_vessel = truly is ValvePosition.VESSEL
        end_us = self.burette.start(self.now_us, steps, motion.step_us, into_vessel=into_vessel)
        report = self._dose_report()
        if end_us == self.now_us:
            self._end_motion(ends)
            return self._dose_report()
        self._motion_end_us, self._motion_ends = end_us, ends
        self._feed_dead_man()
        return report

    def _set_readings(self, wanted: SetReadings) -> Message:
        if wanted.period_ms and not 1 <= wanted.per_block <= Stream.MOST_PER_BLOCK:
            return Refused(wanted.KIND, Reason.BAD_VALUE, wanted.per_block)
        if wanted.period_ms * (wanted.per_block - 1) > 0xFFFF:
            return Refused(wanted.KIND, Reason.BAD_VALUE, wanted.period_ms)
        stream = self._stream
        if (stream.period_us, stream.per_block) != (wanted.period_ms * 1000, wanted.per_block):
            self._send_block()
            stream.set(self.now_us, wanted.period_ms * 1000, wanted.per_block)
        return ReadingsSet(wanted.period_ms, wanted.per_block, stream.next_index)


def _signed(value: int) -> int:
    return value - (1 << 32) if value >= 1 << 31 else value
