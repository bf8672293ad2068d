"""What the bench tells whoever waits for it, and the words for it."""

from typing import Literal, NamedTuple, TypeAlias

from firmware_protocol.messages import DoseState, ValvePosition

EndReason: TypeAlias = Literal["arrived", "halted", "dead-man", "session-ended", "home", "reset"]
END_REASONS: dict[DoseState, EndReason] = {
    DoseState.ARRIVED: "arrived",
    DoseState.HALTED: "halted",
    DoseState.DEAD_MAN: "dead-man",
    DoseState.SESSION_ENDED: "session-ended",
    DoseState.HOME: "home",
    DoseState.RESET: "reset",
}


class ReadingBlock(NamedTuple):
    """Readings in order: the index of the first, their board times, their potentials.

    `missed` readings before the first one never arrived; `saturated` of these stand at an end of the range.
    """

    first_index: int
    t_s: tuple[float, ...]
    potential_mV: tuple[float, ...]
    missed: int
    saturated: int = 0


class MotionEnded(NamedTuple):
    """A dose is over, told once: board time, its identifier, where the plunger rests and why.

    `volume_mL` is the total since the run began, `steps` the board's absolute count. `aside`: nothing of this motion
    was for the vessel (a refill, backlash taken up, priming), so the total stayed as it was.
    """

    t_s: float
    dose: int
    volume_mL: float
    steps: int
    reason: EndReason
    aside: bool = False


class ValveSettled(NamedTuple):
    """The valve is where it was asked to be (`confirmed`), or its sensor did not see it there in time."""

    t_s: float
    asked: str
    seen: str
    confirmed: bool


class Rested(NamedTuple):
    """The time of `Bench.rest` is over."""

    t_s: float


BenchEvent: TypeAlias = ReadingBlock | MotionEnded | ValveSettled | Rested


VALVE_WORDS: dict[ValvePosition, str] = {
    ValvePosition.BETWEEN: "neither end",
    ValvePosition.VESSEL: "the vessel",
    ValvePosition.RESERVOIR: "the reservoir",
}


class Identity(NamedTuple):
    """Who answered: boot identifier, versions, the session in force there (0: none), steps, board time.

    `board` is the board's own identity, which outlives restarts; `simulated` is what it says of its measurements.
    """

    boot: int
    protocol: int
    firmware: int
    session: int
    steps: int
    t_s: float
    board: int
    simulated: bool


class BenchStatus(NamedTuple):
    """What the board says of itself now. `volume_mL` is the total since the run began (0 before one began).

    `dose` is the newest dose the board took and `dose_session` its session (both 0: none since its start);
    `dose_ended` is None while it moves or when there is none.
    """

    t_s: float
    session: int
    steps: int
    volume_mL: float
    dose_session: int
    dose: int
    dose_target_steps: int
    dose_ended: EndReason | None
    moving: bool
