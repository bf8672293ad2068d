"""What the controller asks for. The driver carries the actions out in order."""

from __future__ import annotations

from typing import NamedTuple, TypeAlias

from titrator.control.ends import Ending
from titrator.control.holds import Hold, Question
from titrator.control.point import Passing, Point
from titrator.control.states import State


class Sample(NamedTuple):
    """Let readings stream from now on."""


class MoveTo(NamedTuple):
    """Deliver up to `volume_mL`, a total since the run began, under the new identifier `dose`.

    `more` of the same addition follows behind a refill, with no point in between.
    """

    dose: int
    volume_mL: float
    more: bool = False


REFILL_NUMBERS = 2
PRIMING_NUMBERS = 100
"""Identifiers set aside for the motions of a refill and of a priming: 32 bits are many, and none is used twice."""


class Refill(NamedTuple):
    """Fill the burette; its motions use the identifiers `dose` and the next one."""

    dose: int


class Prime(NamedTuple):
    """Deliver `purge_mL` over waste and fill the burette; its motions use identifiers from `dose` on.

    `empty_first`: expel what it holds before, for it is another titrant.
    """

    dose: int
    purge_mL: float
    empty_first: bool


class Log(NamedTuple):
    """Record a point."""

    point: Point


class Note(NamedTuple):
    """Record what was read while titrant ran in."""

    passing: Passing


class Halt(NamedTuple):
    """Stop the motor now and report where it rests."""

    why: str


class Enter(NamedTuple):
    """The controller entered `state`; `why` is one sentence for the record, `hold` tells more of `held`."""

    state: State
    why: str
    hold: Hold | None = None


class Ask(NamedTuple):
    """Put a question to the operator; `Answered` brings the answer. Nothing moves until then."""

    question: Question


class Finish(NamedTuple):
    """The run is over in `state` (finished, stopped or faulted), for the reason in `ending`."""

    state: State
    ending: Ending


Action: TypeAlias = Sample | MoveTo | Refill | Prime | Log | Note | Halt | Enter | Ask | Finish
