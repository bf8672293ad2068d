"""The simulated board: the firmware's side of the wire, in virtual time."""

from typing import Protocol

from firmware_protocol.errors import PeerProtocolError
from firmware_protocol.frames import DELIMITER, FrameReader, frame
from firmware_protocol.messages import (
    VERSION,
    AskStatus,
    AskTemperatures,
    Capability,
    DoseState,
    Halt,
    Hello,
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
    RunPump,
    SetChanger,
    SetLimits,
    SetPartLimits,
    SetReadings,
    SetStirrer,
    SetValve,
    Status,
    ValvePosition,
    ValveState,
    ValveTurned,
    Welcome,
    decode,
    encode,
)
from sim.absent import absent
from sim.board_state import Adc, Stream
from sim.burette import SimulatedBurette
from sim.motor import BoardSettings, Motor
from sim.valve import SimulatedValve
from sim.valve_watch import ValveWatch

FIRMWARE = 1


class Cell(Protocol):
    """What the electrodes stand in."""

    def sample(self, t_s: float, delivered_mL: float) -> float:
        """Potential in mV at the amplifier's input; called once an ADC sample with non-decreasing time."""
        ...


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
        self.motor = Motor(burette, settings, self._valve, self._tell_end)
        self.restart(boot)

    def restart(self, boot: int) -> None:
        """Come up as after a loss of power: all is forgotten, the motor stands, the count of steps begins at 0."""
        self.motor.power_up(self.now_us)
        self._start(boot)

    def reset(self, boot: int, *, miscounted: int = 0, damaged: bool = False) -> None:
        """Come up as after a reset without a loss of power: what the motor keeps is kept, everything else forgotten.

        `miscounted` (-1, 0, 1): how far the count of the step in hand is off, if the motor ran. `damaged`: the kept
        memory did not survive; its CRC says so.
        """
        memory = self.motor.memory_at(self.now_us, miscounted)
        if damaged:
            memory = bytes((memory[0] ^ 1,)) + memory[1:]
        self.motor.reset(self.now_us, memory)
        self._start(boot)

    def lose_power(self, boot: int, snap_steps: int = 0) -> None:
        """Lose power and come up again. Without current the motor snaps by `snap_steps` to a full step first."""
        self.burette.stop(self.now_us)
        self.burette.snap(self.now_us, snap_steps)
        self.restart(boot)

    def _start(self, boot: int) -> None:
        self.boot = boot
        if not self.motor.position_kept:
            self.motor.kept.since = boot
        self._reader = FrameReader()
        self._damaged = 0
        self._outbox: list[tuple[int, bytes]] = []
        self._session = 0
        self._stream = Stream()
        self._events = 0
        if self._valve is not None:
            self._valve.start(self.now_us)

    # -------------------------------------------------------------------------------------------- virtual time
    def run_until(self, deadline_us: int) -> bytes:
        """Move time on to the next emission, or to the deadline if there is none before it; the bytes emitted."""
        motor = self.motor
        while True:
            event_us = min(motor.end_us, motor.dead_man_us, self._stream.next_us)
            if self._valve is not None and self._valve.next_us < event_us:
                event_us = self._valve.next_us
            if self._outbox and self._outbox[0][0] <= event_us and self._outbox[0][0] <= deadline_us:
                due_us, data = self._outbox.pop(0)
                self.now_us = max(self.now_us, due_us)
                return data
            if event_us > deadline_us:
                self.now_us = max(self.now_us, deadline_us)
                return b""
            self.now_us = event_us
            if event_us == motor.end_us:
                motor.end(event_us)
            elif event_us == motor.dead_man_us:
                motor.end(event_us, DoseState.DEAD_MAN)
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
        due_us = min(self.motor.end_us, self.motor.dead_man_us, self._stream.next_us)
        if self._valve is not None:
            due_us = min(due_us, self._valve.next_us)
        return min(due_us, self._outbox[0][0]) if self._outbox else due_us

    def _sample(self, now_us: int) -> None:
        stream = self._stream
        potential_mV = self.cell.sample(now_us * 1e-6, self.burette.delivered_mL(now_us))
        stream.stamps_ms.append(self.motor.ms(now_us))
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

    def _tell_end(self, ended: MotionEnded) -> None:
        self._send_block()
        self._tell(ended)

    # ------------------------------------------------------------------------------------------------ the valve
    def _look_at_valve(self) -> None:
        assert self._valve is not None
        if self._valve.look(self.now_us):
            self._send_block()
            self._tell(self._valve.turned(self.now_us, self.motor.ms(self.now_us)))

    def _set_valve(self, wanted: SetValve) -> Message:
        refused = self.motor.valve_refusal(wanted)
        if refused is not None:
            return refused
        assert self._valve is not None
        self._valve.ask(self.now_us, wanted.position)
        return self._valve.report(self.now_us, self.motor.ms(self.now_us))

    # --------------------------------------------------------------------------------------------- the requests
    def receive(self, data: bytes) -> None:
        """Take bytes that arrive now. Damaged frames are passed over; a sound frame always gets one answer."""
        for found in self._reader.feed(data):
            if isinstance(found, PeerProtocolError):
                self._damaged += 1
                continue
            try:
                packet = decode(Role.BOARD, found)
            except PeerProtocolError as unknown:
                if unknown.kind is None or unknown.number is None:
                    self._damaged += 1
                else:
                    self._send(unknown.number, Refused(unknown.kind, Reason.UNKNOWN_REQUEST, VERSION))
                continue
            if packet.stamp == self._session and self._session:
                self.motor.feed(self.now_us)
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
                    self.motor.end(self.now_us, DoseState.HALTED)
                return self.motor.report(self.now_us)
            case AskTemperatures():
                return absent(request)
            case _ if packet.stamp != self._session or not self._session:
                return Refused(request.KIND, Reason.SESSION, _signed(self._session))
            case SetLimits():
                return self.motor.set_limits(request)
            case Move():
                return self.motor.move(self.now_us, request)
            case Refill():
                return self.motor.refill(self.now_us, request)
            case SetValve():
                return self._set_valve(request)
            case SetReadings():
                return self._set_readings(request)
            case SetStirrer() | RunPump() | SetChanger() | SetPartLimits():
                return absent(request)
            case _:
                raise AssertionError(packet)

    def _hello(self, session: int, hello: Hello) -> Message:
        if hello.version != VERSION:
            return Refused(hello.KIND, Reason.VERSION, VERSION)
        if session and session != self._session:
            self.motor.open_session(self.now_us, session)
            self._session = session
            self._stream = Stream()
        return self._welcome()

    def _welcome(self) -> Welcome:
        fixed = self._settings
        return Welcome(
            version=VERSION,
            firmware=FIRMWARE,
            session=self._session,
            board_ms=self.motor.ms(self.now_us),
            position=self.motor.position(self.now_us),
            position_kept=int(self.motor.position_kept),
            position_within=self.motor.kept.within,
            counting_since=self.motor.kept.since,
            stroke_steps=fixed.stroke_steps,
            least_step_us=fixed.least_step_us,
            range_low_uV=fixed.range_low_uV,
            range_high_uV=fixed.range_high_uV,
            adc_step_uV=fixed.adc_step_uV,
            identity=fixed.identity,
            capabilities=Capability.SIMULATED
            | Capability.VALVE * (self._valve is not None)
            | Capability.HOME_SWITCH * fixed.home_switch,
            changer_places=0,
        )

    def _status(self) -> Status:
        dose, home, stream = self.motor.kept.dose, self.motor.kept.home, self._stream
        return Status(
            board_ms=self.motor.ms(self.now_us),
            session=self._session,
            position=self.motor.position(self.now_us),
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
            home_known=int(home is not None),
            home_position=home or 0,
            damaged_frames=min(self._damaged, 0xFFFF),
        )

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
