"""A host that speaks SPEC.md to a board in bare frames and takes nothing for granted."""

import itertools
from collections import deque

from firmware_protocol.errors import PeerProtocolError
from firmware_protocol.frames import DELIMITER, FrameReader, frame
from firmware_protocol.messages import (
    EVENTS,
    VERSION,
    AskStatus,
    DoseReport,
    DoseState,
    Hello,
    LimitsInForce,
    MotionEnded,
    Move,
    Packet,
    Role,
    SetLimits,
    SetValve,
    Status,
    ValvePosition,
    ValveState,
    ValveTurned,
    Welcome,
    decode,
    encode,
)

VESSEL, RESERVOIR = ValvePosition.VESSEL, ValvePosition.RESERVOIR
OTHER = 0x7FFF0001
"""A session that no test opens."""
SLOW_US = 20_000
"""A step so slow that a motion can be met under way."""
DEAD_MAN_MS = 400
PATIENCE_S = 10.0
"""Only ends a test that hangs: no board may take so long for anything but a refill."""


class BoardHost:
    """One request at a time over `line`: write(data), read(timeout_s) -> bytes, now_s(), close()."""

    def __init__(self, line, session):
        self.line = line
        self.session = session
        self.events = deque()
        self.boot = None
        self._reader = FrameReader()
        self._answers = deque()
        self._number = 0x1234
        self._event_numbers = []
        while line.read(0.0):
            pass  # what lies there was meant for an earlier host

    # ---------------------------------------------------------------------------------------------- saying
    def next_number(self):
        self._number = self._number % 0xFFFF + 1
        return self._number

    def send(self, message, session=None):
        """Send a request; its number."""
        number = self.next_number()
        stamp = self.session if session is None else session
        self.line.write(DELIMITER + frame(encode(Role.HOST, Packet(number, stamp, message))))
        return number

    def send_content(self, kind, rest, session=None):
        """Send a sound frame of any content: kind, number, stamp, and the bytes behind them; its number."""
        number = self.next_number()
        stamp = self.session if session is None else session
        self.line.write(frame(bytes((kind,)) + number.to_bytes(2, "little") + stamp.to_bytes(4, "little") + rest))
        return number

    def say(self, message, session=None):
        """Send a request; the message that answers it, which must be the next answer of all."""
        return self.answer(self.send(message, session))

    def answer(self, number):
        """The next answer, which must bear this number."""
        packet = self.next_answer()
        assert packet.number == number, f"expected the answer to #{number}, got {packet}"
        return packet.message

    # --------------------------------------------------------------------------------------------- hearing
    def next_answer(self):
        self._until(lambda: self._answers, "answer")
        return self._answers.popleft()

    def event(self, kind, within_s=PATIENCE_S):
        """The next event of this kind; those of other kinds before it are passed over."""
        found = []

        def come():
            while self.events and not found:
                event = self.events.popleft()
                if isinstance(event, kind):
                    found.append(event)
            return found

        self._until(come, kind.__name__, within_s)
        return found[0]

    def listen(self, duration_s):
        """All events until then."""
        until_s = self.line.now_s() + duration_s
        while (left_s := until_s - self.line.now_s()) > 0:
            self._take(self.line.read(left_s))
        events = list(self.events)
        self.events.clear()
        return events

    def _until(self, come, what, within_s=PATIENCE_S):
        until_s = self.line.now_s() + within_s
        while not come():
            left_s = until_s - self.line.now_s()
            assert left_s > 0, f"no {what} within {within_s:g} s"
            self._take(self.line.read(left_s))

    def _take(self, data):
        for found in self._reader.feed(data):
            if isinstance(found, PeerProtocolError) and self.boot is None:
                continue  # the end of what was said to an earlier host
            assert not isinstance(found, PeerProtocolError), f"a board sends sound frames only: {found}"
            packet = decode(Role.HOST, found)
            assert packet.stamp, "a boot identifier is never 0"
            assert self.boot in {None, packet.stamp}, f"the board restarted: {packet}"
            self.boot = packet.stamp
            if isinstance(packet.message, EVENTS):
                self._event_numbers.append(packet.number)
                self.events.append(packet.message)
            else:
                self._answers.append(packet)

    # ------------------------------------------------------------------------------------------- beginning
    def look(self):
        welcome = self.say(Hello(VERSION), session=0)
        assert isinstance(welcome, Welcome)
        return welcome

    def status(self, session=None):
        status = self.say(AskStatus(), session)
        assert isinstance(status, Status)
        return status

    def at_rest(self, session=None):
        """The status once nothing moves any more, asked for without a pause."""
        while (status := self.status(session)).dose_state is DoseState.MOVING:
            pass
        return status

    def open(self, session=None):
        """Open a session, and go on in it."""
        self.session = self.session if session is None else session
        welcome = self.say(Hello(VERSION))
        assert isinstance(welcome, Welcome)
        assert welcome.session == self.session
        return welcome

    def begin(self, *, steps=200, step_us=None, dead_man_ms=2000, travel=None):
        """Open the session with limits so many steps above the plunger; where it stands."""
        welcome = self.open()
        limits = self.limits(welcome, steps=steps, step_us=step_us, dead_man_ms=dead_man_ms, travel=travel)
        assert self.say(limits) == LimitsInForce(*[getattr(limits, name) for name in limits.__slots__])
        return welcome.position

    @staticmethod
    def limits(welcome, *, steps=200, step_us=None, dead_man_ms=2000, travel=None):
        least_us = welcome.least_step_us if step_us is None else step_us
        return SetLimits(
            highest_position=welcome.position + steps,
            most_travel=steps if travel is None else travel,
            least_step_us=least_us,
            least_refill_step_us=2 * welcome.least_step_us,
            dead_man_ms=dead_man_ms,
        )

    def events_without_gap(self):
        """Whether the running numbers of all events so far follow each other."""
        numbers = self._event_numbers
        return all((after - before) & 0xFFFF == 1 for before, after in itertools.pairwise(numbers))

    def close(self):
        self.line.close()


def slow(place):
    return SLOW_US * place.speed


def arrive(host, dose, target, step_us):
    """A dose, to its end."""
    report = host.say(Move(dose, target, step_us))
    assert isinstance(report, DoseReport)
    if report.state is DoseState.MOVING:
        ended = host.event(MotionEnded)
        assert (ended.dose, ended.state, ended.position) == (dose, DoseState.ARRIVED, target)


def turn(host, position):
    report = host.say(SetValve(position))
    assert report.asked is position
    if report.state is ValveState.TURNING:
        report = host.event(ValveTurned)
    assert (report.position, report.state) == (position, ValveState.CONFIRMED)


def has(host, capability):
    return bool(host.look().capabilities & capability)
