"""The one sentence that a watched run leads with: what it waits for, about how long, and what a person can do."""

from __future__ import annotations

from titrator.control.holds import HoldCause
from titrator.control.point import Point
from titrator.control.states import State
from titrator.run.standing import Standing

FORECAST_mV = 1.0
"""A reading that lacked more than this when it was logged was not waited for to its end: that was forecast."""


def forecast_mV(point: Point) -> float | None:
    """The end of a reading that was forecast; None where it was waited for, or the longest wait ended it."""
    return point.potential_mV + point.lacking_mV if point.settled and abs(point.lacking_mV) > FORECAST_mV else None


def about(seconds: float) -> str:
    """A duration as one would say it: no finer than it is known."""
    if seconds < 1.5:
        return "a moment"
    if seconds < 10.0:
        return f"about {seconds:.0f} s"
    if seconds < 90.0:
        return f"about {5 * round(seconds / 5)} s"
    if seconds < 5400.0:
        return f"about {round(seconds / 60)} min"
    return f"about {seconds / 3600:.1f} h"


def sentence(now: Standing, run: str) -> str:
    """What the run waits for, and what may be done about it. `run` is how its commands name it."""
    match now.state:
        case State.HELD:
            return _held(now, run)
        case State.INITIAL:
            return f"Reading the initial potential{_until_settled(now)}"
        case State.SETTLING:
            return f"Waiting for the potential to settle{_until_settled(now)}"
        case State.DOSING:
            return f"Adding up to {now.target_mL:.4f} mL: {about(now.remaining_s or 0.0)} more."
        case State.READY if now.question is not None:
            return f"Your answer is needed before anything moves: {now.question.text}"
        case State.HALTING:
            return "Halting the burette: waiting for the board to confirm."
        case State.FINISHED | State.STOPPED | State.FAULTED:
            return f"Over ({now.state.value}): {now.why}."
    return _other(now)


def _until_settled(now: Standing) -> str:
    if now.remaining_s is None:
        return ": in some seconds it shows how long."
    return f": {about(now.remaining_s)} more." if now.remaining_s >= 1.5 else ": any moment now."


def _other(now: Standing) -> str:
    words = {
        State.READY: "Greeting the board",
        State.PRIMING: "Priming tube and tip",
        State.DECIDING: "Choosing the next addition",
        State.REFILLING: "Refilling the burette",
        State.RINSING: "Rinsing",
    }
    return f"{words[now.state]}: {about(now.remaining_s)} more." if now.remaining_s else f"{words[now.state]}."


def _held(now: Standing, run: str) -> str:
    if now.question is not None:
        return f"Held until you answer: {now.question.text}"
    ways = f"go on with `titrator continue {run}`, end with `titrator stop {run}`"
    if now.hold is not None and now.hold.cause is HoldCause.LINK:
        return f"Held because the board did not answer. Look at cable and supply, then {ways}."
    return f"Held by the operator, nothing moves: {ways}."
