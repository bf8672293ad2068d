"""What the controller was told, as the journal keeps it, so that a run can be followed again from its record alone.

Readings and the ends of doses have lines of their own (`readings`, `outcome`) with all that their events hold. Every
other event gets a line `event` before the controller hears it, but for ticks, which get one only when something came
of them. `untold` counts what is in the journal before the line and was not told before it: the rest of a block.
"""

from __future__ import annotations

import enum
import math
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from titrator.bench.events import MotionEnded, ReadingBlock
from titrator.control.ends import Cause
from titrator.control.events import (
    Answered,
    Begin,
    Event,
    Halted,
    LinkBack,
    LinkFaltered,
    LinkLost,
    MoveDone,
    OperatorSaid,
    Primed,
    Reading,
    Refilled,
    Tick,
    Trouble,
    Word,
)
from titrator.record.journal import Journal

KIND: Final = "event"
_NAMES: Final[dict[str, type[Any]]] = {
    "begin": Begin,
    "refilled": Refilled,
    "primed": Primed,
    "halted": Halted,
    "link lost": LinkLost,
    "link faltered": LinkFaltered,
    "link back": LinkBack,
    "trouble": Trouble,
    "word": OperatorSaid,
    "answered": Answered,
    "tick": Tick,
}
_NAME_OF: Final = {event: name for name, event in _NAMES.items()}
_ENUMS: Final[dict[str, type[enum.Enum]]] = {"word": Word, "cause": Cause}


def fields_of(event: Event, untold: int) -> dict[str, Any]:
    """An event as a line of the journal. An infinite volume is null there."""
    told: dict[str, Any] = {}
    for name, value in event._asdict().items():
        plain = value.value if isinstance(value, enum.Enum) else value
        told[name] = None if isinstance(plain, float) and math.isinf(plain) else plain
    return {"event": _NAME_OF[type(event)], **told, "untold": untold}


def write_event(journal: Journal, event: Event, waiting: Iterable[Event]) -> None:
    """An event that the controller is about to hear before those `waiting`. JournalError."""
    untold = sum(isinstance(each, Reading | MoveDone) for each in waiting)
    journal.write(KIND, event.t_s, fields_of(event, untold))


def write_block(journal: Journal, block: ReadingBlock) -> None:
    """A block of readings: whole milliseconds and microvolts, so that they come back as they were. JournalError."""
    t_ms = [round(t_s * 1000.0) for t_s in block.t_s]
    microvolts = [round(potential_mV * 1000.0) for potential_mV in block.potential_mV]
    journal.write_readings(block.first_index, t_ms, microvolts, block.missed)


def motion_fields(motion: MotionEnded) -> dict[str, Any]:
    """The end of a dose, as a line `outcome`."""
    return {"dose": motion.dose, "volume_mL": motion.volume_mL, "steps": motion.steps, "reason": motion.reason}


def event_of(line: Mapping[str, Any]) -> Event:
    """The event of such a line. ValueError, KeyError or TypeError where it is none."""
    kind = _NAMES[line["event"]]
    values = {}
    for name in kind._fields:
        value = line[name]
        if name in _ENUMS and value is not None:
            value = _ENUMS[name](value)
        values[name] = math.inf if value is None else value
    event: Event = kind(**values)
    return event


def events_in(lines: Iterable[Mapping[str, Any]]) -> Iterator[tuple[int, Event]]:
    """All that the controller was told, in the order in which it was, each with the number of the line it is from."""
    waiting: deque[tuple[int, Event]] = deque()
    for line in lines:
        number = line["n"]
        match line["kind"]:
            case "readings":
                for t_ms, microvolts in zip(line["times_ms"], line["uV"], strict=True):
                    waiting.append((number, Reading(t_ms / 1000, microvolts / 1000)))
            case "outcome":
                reached = line["reason"] == "arrived"
                # A time of whole milliseconds, as the board told it.
                waiting.append((number, MoveDone(line["t_ms"] / 1000, line["dose"], line["volume_mL"], reached)))
            case "event":
                while len(waiting) > line["untold"]:
                    yield waiting.popleft()
                yield number, event_of(line)
    yield from waiting
