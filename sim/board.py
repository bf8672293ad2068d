"""The simulated board: the firmware's side of the wire, in virtual time."""

from dataclasses import dataclass
from typing import Protocol

from firmware_protocol.errors import PeerProtocolError
from firmware_protocol.frames import DELIMITER, FrameReader, frame
from firmware_protocol.messages import (
    VERSION,
    AskStatus,
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
    Refused,
    Role,
    SetLimits,
    SetReadings,
    Status,
    Welcome,
    decode,
    encode,
)
from sim.board_state import NEVER, Adc, Dose, Limits, Stream
from sim.burette import SimulatedBurette

FIRMWARE = 1


class Cell(Protocol):
    """What the electrodes stand in."""

    def sample(self, t_s: float, delivered_mL: float) -> float:
        """Potential in mV at the amplifier's input; called once an ADC sample with non-decreasing time."""
        ...


@dataclass(frozen=True, slots=True)
class BoardSettings:
    """What the firmware holds fixed. `latency_us` is the time from the end of a request to the end of its answer."""

    stroke_steps: int
    least_step_us: int
    range_low_uV: int
    range_high_uV: int
    adc_step_uV: int
    latency_us: int = 3000


class SimulatedBoard:
    """Receives bytes at its present virtual time and emits bytes as that time is moved on by `run_until`.

    It does only what SPEC.md says, never looks at the host, and holds every protection itself.
    """

    def __init__(self, burette: SimulatedBurette, cell: Cell, settings: BoardSettings, boot: int) -> None:
        self.now_us = 0
        self.burette = burette
        self._cell = cell
        self._settings = settings
        self._adc = Adc(settings.range_low_uV, settings.range_high_uV, settings.adc_step_uV)
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
        self._dead_man_us = NEVER

    # -------------------------------------------------------------------------------------------- virtual time
    def run_until(self, deadline_us: int) -> bytes:
        """Move time on to the next emission, or to the deadline if there is none before it; the bytes emitted."""
        while True:
            event_us = min(self._motion_end_us, self._dead_man_us, self._stream.next_us)
            if self._outbox and self._outbox[0][0] <= min(event_us, deadline_us):
                due_us, data = self._outbox.pop(0)
                self.now_us = max(self.now_us, due_us)
                return data
            if event_us > deadline_us:
                self.now_us = max(self.now_us, deadline_us)
                return b""
            self.now_us = event_us
            if event_us == self._motion_end_us:
                self._end_motion(DoseState.ARRIVED)
            elif event_us == self._dead_man_us:
                self._end_motion(DoseState.DEAD_MAN)
            else:
                self._sample(event_us)

    def _sample(self, now_us: int) -> None:
        stream = self._stream
        potential_mV = self._cell.sample(now_us * 1e-6, self.burette.delivered_mL(now_us))
        stream.stamps_ms.append((now_us - self._booted_us) // 1000)
        stream.potentials_uV.append(self._adc.convert(potential_mV))
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

    def _tell(self, event: Readings | MotionEnded) -> None:
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
        position = self.burette.stop(self.now_us) - self._origin_steps
        self._motion_end_us = self._dead_man_us = NEVER
        self._dose.end(state, position, self._ms())
        self._send_block()
        self._tell(MotionEnded(self._dose.number, position, state, self._ms()))

    def _feed_dead_man(self) -> None:
        if self._motion_end_us != NEVER and self._limits is not None:
            self._dead_man_us = self.now_us + self._limits.dead_man_ms * 1000

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
            case SetLimits() | Move() | SetReadings() if packet.stamp != self._session or not self._session:
                return Refused(request.KIND, Reason.SESSION, _signed(self._session))
            case SetLimits():
                return self._set_limits(request)
            case Move():
                return self._move(request)
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
            highest_position=fixed.stroke_steps,
            least_step_us=fixed.least_step_us,
            range_low_uV=fixed.range_low_uV,
            range_high_uV=fixed.range_high_uV,
            adc_step_uV=fixed.adc_step_uV,
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
            dose_state=dose.state,
            dose_ended_ms=dose.ended_ms,
            next_index=stream.next_index,
            period_ms=stream.period_us // 1000,
        )

    def _dose_report(self) -> DoseReport:
        """The stored answer: at rest where and when the newest dose ended, in motion where it is now."""
        dose = self._dose
        moving = dose.state is DoseState.MOVING
        position = self._position() if moving or dose.state is DoseState.NONE else dose.position
        return DoseReport(dose.number, dose.target, position, dose.state, self._ms() if moving else dose.ended_ms)

    def _set_limits(self, wanted: SetLimits) -> Message:
        fixed = self._settings
        in_force = self._limits or Limits(fixed.stroke_steps, fixed.least_step_us, 0xFFFF)
        if wanted.dead_man_ms == 0:
            return Refused(wanted.KIND, Reason.BAD_VALUE, wanted.dead_man_ms)
        for asked, standing in (
            (wanted.highest_position, in_force.highest_position),
            (-wanted.least_step_us, -in_force.least_step_us),
            (wanted.dead_man_ms, in_force.dead_man_ms),
        ):
            if asked > standing:
                return Refused(wanted.KIND, Reason.LIMIT_CANNOT_RISE, abs(standing))
        self._limits = Limits(wanted.highest_position, wanted.least_step_us, wanted.dead_man_ms)
        return LimitsInForce(wanted.highest_position, wanted.least_step_us, wanted.dead_man_ms)

    def _move(self, move: Move) -> Message:
        if self._dose.session == self._session and move.dose <= self._dose.number:
            return self._dose_report()
        limits = self._limits
        position = self._position()
        if limits is None:
            return Refused(move.KIND, Reason.LIMITS_MISSING, 0)
        if move.dose == 0:
            return Refused(move.KIND, Reason.BAD_VALUE, 0)
        if self.burette.moving:
            return Refused(move.KIND, Reason.MOVING, self._dose.target)
        if move.target > limits.highest_position:
            return Refused(move.KIND, Reason.BEYOND_LIMIT, limits.highest_position)
        if move.target < position:
            return Refused(move.KIND, Reason.REVERSAL, position)
        if move.step_us < limits.least_step_us:
            return Refused(move.KIND, Reason.TOO_FAST, limits.least_step_us)
        self._dose = Dose(self._session, move.dose, move.target, DoseState.MOVING)
        end_us = self.burette.start(self.now_us, move.target - position, move.step_us)
        report = self._dose_report()
        if end_us == self.now_us:
            self._end_motion(DoseState.ARRIVED)
            return self._dose_report()
        self._motion_end_us = end_us
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
