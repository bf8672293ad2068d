"""The talk with the board: one request in flight, deadlines, bounded repeats, and an account of what was heard."""

from dataclasses import dataclass
from typing import TypeVar

from firmware_protocol.errors import PeerProtocolError
from firmware_protocol.frames import DELIMITER, FrameReader, frame
from firmware_protocol.messages import (
    EVENTS,
    VERSION,
    Answer,
    Event,
    Hello,
    Packet,
    Refused,
    Request,
    Role,
    Welcome,
    decode,
    encode,
)
from titrator.bench.errors import (
    AnswerMismatchError,
    BoardRestartedError,
    LinkBrokenError,
    NoAnswerError,
    UnpluggedError,
)
from titrator.bench.refusals import refusal
from titrator.bench.transport import Transport

A = TypeVar("A", bound=Answer)
_MOST_STALE_READS = 1000


@dataclass(slots=True)
class Counters:
    """What happened on the link since it was opened."""

    requests: int = 0
    repeats: int = 0
    answers: int = 0
    stale_answers: int = 0
    events: int = 0
    events_missed: int = 0
    damaged_frames: int = 0
    unknown_messages: int = 0
    reconnects: int = 0

    def __str__(self) -> str:
        """One line for errors and reports."""
        return (
            f"{self.requests} requests ({self.repeats} repeats), {self.answers} answers ({self.stale_answers} late), "
            f"{self.events} events ({self.events_missed} missed), {self.damaged_frames} damaged frames, "
            f"{self.unknown_messages} unknown messages, {self.reconnects} reconnects"
        )


class Link:
    """Asks the board and gathers its events. All waiting is in the transport's time.

    A repeat bears the number of the first attempt and every request may be carried out twice without harm, so a lost
    answer costs time only. An answer whose number is not that of the request in flight is late and never used.
    """

    def __init__(
        self,
        transport: Transport,
        *,
        answer_within_s: float,
        attempts: int,
        counters: Counters | None = None,
        number: int = 0,
    ) -> None:
        """`counters` go on from an earlier link to the same board, `number` from its last request."""
        self._transport = transport
        self._answer_within_s = answer_within_s
        self._attempts = attempts
        self._reader = FrameReader()
        self._events: list[Event] = []
        self.number = number
        self._awaited: int | None = None
        self._answer: Answer | None = None
        self._last: Packet | None = None
        self._event_number: int | None = None
        self.session = 0
        self.boot: int | None = None
        self.counters = Counters() if counters is None else counters
        self.heard_s = transport.now_s()
        """When the last sound message came (transport time); at first, when the link was opened."""
        self.answered_s = self.heard_s
        """When the last request that was answered had been sent (transport time)."""

    # ------------------------------------------------------------------------------------------------- requests
    def hello(self, session: int) -> Welcome:
        """Shake hands and open `session` (0: only look). Errors as `ask`; refused when versions differ."""
        if self.boot is None:
            self._drop_what_lies_there()
        welcome = self.ask(Hello(VERSION), Welcome, stamp=session)
        if session and welcome.session != session:
            raise AnswerMismatchError(
                f"the board opened session {welcome.session:08x}, but {session:08x} was asked for: another program "
                f"may be using this board; end it and connect again"
            )
        self.session = session or self.session
        return welcome

    def ask(self, request: Request, expected: type[A], *, stamp: int | None = None) -> A:
        """Send a request and return its answer, which may come with a repeat.

        NoAnswerError after all attempts, BoardRestartedError when the boot identifier changed, BoardRefusedError,
        AnswerMismatchError, LinkBrokenError when the transport fails.
        Events that come meanwhile are kept for `take_events`.
        """
        assert self._awaited is None, "one request in flight at a time"
        self.number = self.number % 0xFFFF + 1
        packet = Packet(self.number, self.session if stamp is None else stamp, request)
        data = DELIMITER + frame(encode(Role.HOST, packet))
        self._awaited, self._answer = self.number, None
        try:
            answer = self._attempt(packet, data)
        finally:
            self._awaited = None
        if isinstance(answer, Refused):
            raise refusal(packet, answer)
        if not isinstance(answer, expected):
            raise AnswerMismatchError(
                f"{packet} should be answered with {expected.__name__}, got {self._last}: host and board disagree "
                f"about the protocol; compare their versions"
            )
        return answer

    def _attempt(self, packet: Packet, data: bytes) -> Answer:
        for attempt in range(self._attempts):
            sent_s = self._transport.now_s()
            self._write(data)
            self.counters.requests += 1
            self.counters.repeats += attempt > 0
            deadline_s = sent_s + self._answer_within_s
            while True:
                left_s = deadline_s - self._transport.now_s()
                self._receive(max(0.0, left_s))
                if self._answer is not None:
                    self.answered_s = sent_s
                    return self._answer
                if left_s <= 0.0:
                    break
        raise NoAnswerError(self._no_answer(packet))

    # --------------------------------------------------------------------------------------------------- events
    def poll(self, timeout_s: float) -> None:
        """Wait until something arrives, at most `timeout_s`. BoardRestartedError, LinkBrokenError."""
        self._receive(timeout_s)

    def take_events(self) -> list[Event]:
        """Hand over the events gathered so far, in order."""
        if not self._events:
            return []
        events, self._events = self._events, []
        return events

    # ------------------------------------------------------------------------------------------------- the bytes
    def _write(self, data: bytes) -> None:
        try:
            self._transport.write(data)
        except OSError as problem:
            raise self._broken(problem) from problem

    def _receive(self, timeout_s: float) -> None:
        try:
            data = self._transport.read(timeout_s)
        except OSError as problem:
            raise self._broken(problem) from problem
        if not data:
            return
        for found in self._reader.feed(data):
            if isinstance(found, PeerProtocolError):
                self.counters.damaged_frames += 1
                continue
            try:
                packet = decode(Role.HOST, found)
            except PeerProtocolError:
                self.counters.unknown_messages += 1
                continue
            self._take(packet)

    def _drop_what_lies_there(self) -> None:
        """Bytes of an earlier program's talk must not answer ours."""
        for _ in range(_MOST_STALE_READS):
            try:
                if not self._transport.read(0.0):
                    break
            except OSError as problem:
                raise self._broken(problem) from problem

    def _take(self, packet: Packet) -> None:
        message = packet.message
        is_event = isinstance(message, EVENTS)
        if self.boot is None:
            if is_event or packet.number != self._awaited:
                return  # of an earlier talk: who is there is only known from the first answer to us
            self.boot = packet.stamp
        elif packet.stamp != self.boot:
            raise BoardRestartedError(
                f"the board restarted: boot identifier {self.boot:08x} until now, {packet.stamp:08x} in {packet}; it "
                f"forgot session and limits, and unless it was a mere reset its count of steps. Last heard before: "
                f"{self._last_heard()}. Likely "
                f"causes, the likeliest first: its supply was interrupted, another program opened the port, its "
                f"watchdog bit. Next: look at supply and cable; `titrator resume` goes on if the count was kept"
            )
        self._last = packet
        self.heard_s = self._transport.now_s()
        if is_event:
            self._note_event(packet.number)
            self._events.append(message)  # type: ignore[arg-type]  # narrowed by is_event
        elif packet.number == self._awaited and self._answer is None:
            self.counters.answers += 1
            self._answer = message  # type: ignore[assignment]  # decode lets only the board's messages through
        else:
            self.counters.stale_answers += 1

    def _note_event(self, number: int) -> None:
        self.counters.events += 1
        if self._event_number is not None:
            ahead = (number - self._event_number - 1) & 0xFFFF
            if ahead < 0x8000:  # not a repeated one
                self.counters.events_missed += ahead
        self._event_number = number

    # --------------------------------------------------------------------------------------------------- telling
    def _last_heard(self) -> str:
        if self._last is None:
            return "nothing since the link was opened"
        return f"{self._last}, {self._transport.now_s() - self.heard_s:.2f} s ago"

    def _no_answer(self, packet: Packet) -> str:
        causes: tuple[str, ...]
        if self._last is None:
            causes = (
                "the board has no power or sits on another port",
                "what sits there is not this firmware, or talks at another speed",
                "another program holds the port",
            )
        elif self.counters.damaged_frames * 20 > self.counters.answers:
            causes = (
                "the line is disturbed (damaged frames were counted): a long or loose cable beside a motor",
                "the cable was pulled or the board lost its supply",
            )
        else:
            causes = (
                "the cable was pulled",
                "the board lost its supply",
                "the board hangs and its watchdog has not bitten yet",
            )
        return (
            f"no answer to {packet}: {self._attempts} attempts of {self._answer_within_s:g} s each. "
            f"Last heard: {self._last_heard()}. Link: {self.counters}. "
            f"Likely causes, the likeliest first: {'; '.join(causes)}. "
            f"Next: check these, then resume the run; whether the request was carried out is for the board to say, and "
            f"its motor stops by itself at a position that it knows"
        )

    def _broken(self, problem: OSError) -> LinkBrokenError:
        vanished = isinstance(problem, ConnectionError)
        heard = f"Last heard: {self._last_heard()}. Link: {self.counters}."
        if not vanished:
            return LinkBrokenError(f"the way to the board broke ({problem}). {heard} Next: connect again")
        return UnpluggedError(
            f"the board vanished ({problem}). {heard} Likely causes, the likeliest first: the cable was pulled; the "
            f"board lost its supply; the program that serves it ended. Next: plug it in again and resume the run; the "
            f"board's motor stops by itself at a position that it knows"
        )
