"""What the controller is told. Every event carries the board's time in seconds."""

from __future__ import annotations

import enum
import math
from typing import NamedTuple, TypeAlias

from titrator.control.ends import Cause


class Word(enum.Enum):
    """What an operator can say to a run."""

    HOLD = "hold"
    CONTINUE = "continue"
    STOP = "stop"


class Begin(NamedTuple):
    """The cautions are acknowledged and the bench answers: begin. `left_mL` may be delivered before a refill."""

    t_s: float
    left_mL: float = math.inf


class Reading(NamedTuple):
    """One reading of the electrode."""

    t_s: float
    potential_mV: float


class MoveDone(NamedTuple):
    """The burette came to rest; `volume_mL` is the total delivered since the run began, `reached` its target."""

    t_s: float
    dose: int
    volume_mL: float
    reached: bool


class Halted(NamedTuple):
    """The board confirms that the motor rests, at a known position. `left_mL` may be delivered before a refill."""

    t_s: float
    volume_mL: float
    left_mL: float = math.inf


class Refilled(NamedTuple):
    """The refill that began with the identifier `dose` is done; `left_mL` may be delivered before the next one."""

    t_s: float
    dose: int
    left_mL: float


class Primed(NamedTuple):
    """The priming that began with the identifier `dose` is done; `left_mL` may be delivered before a refill."""

    t_s: float
    dose: int
    left_mL: float


class LinkLost(NamedTuple):
    """The board no longer answers; whatever moved has been stopped by its dead-man timer at the latest."""

    t_s: float
    what: str


class LinkFaltered(NamedTuple):
    """The board did not answer in time. If it confirms the halt that follows, the run is held; if not, faulted."""

    t_s: float
    what: str


class LinkBack(NamedTuple):
    """The board answers again and where the plunger stands is certain: a run that was held for the link goes on."""

    t_s: float
    what: str


class Trouble(NamedTuple):
    """Something on the bench is wrong: a refused command, a restart, a failed record; `cause` in one word."""

    t_s: float
    what: str
    cause: Cause = Cause.TROUBLE


class OperatorSaid(NamedTuple):
    """A word from the operator (a signal such as Ctrl-C counts as `STOP`)."""

    t_s: float
    word: Word


class Answered(NamedTuple):
    """The operator's answer to the question of this `number`."""

    t_s: float
    number: int
    yes: bool


class Tick(NamedTuple):
    """Time passed and nothing else happened."""

    t_s: float


Event: TypeAlias = (
    Begin
    | Reading
    | MoveDone
    | Refilled
    | Primed
    | Halted
    | LinkLost
    | LinkFaltered
    | LinkBack
    | Trouble
    | OperatorSaid
    | Answered
    | Tick
)
