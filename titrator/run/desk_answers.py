"""What the desk answers: whether what was asked for is so now, and a sentence that says how the run stands."""

from __future__ import annotations

from typing import Any

from titrator.control.holds import HoldCause
from titrator.control.states import TERMINAL, State
from titrator.run.standing import Standing


def settled(request: dict[str, Any], before: Standing, now: Standing) -> bool:
    """Whether `request`, taken up when the run stood as `before`, can be answered by how it stands `now`.

    True at once, with `before` for `now`, means that there is nothing to be said to the run.
    """
    if now.state in TERMINAL:
        return True
    match request["word"]:
        case "hold":
            return now.state in (State.HELD, State.READY)
        case "continue":
            return before.state is not State.HELD or before.question is not None or now.state is not State.HELD
        case "stop":
            return False
        case "answer":
            return before.question is None or now.question is None or now.question.number != before.question.number
    return True


def answer(request: dict[str, Any], before: Standing, now: Standing) -> dict[str, Any]:
    """The document that goes back: `done`, a sentence `text`, and how the run stands."""
    done, text = _told(request, before, now)
    return {
        "done": done,
        "text": text,
        "state": now.state.value,
        "why": now.why,
        "volume_mL": now.volume_mL,
        "held_by": now.hold.cause.value if now.hold else None,
        "came_from": now.hold.came_from.value if now.hold else None,
        "question": now.question.text if now.question else None,
    }


def _told(request: dict[str, Any], before: Standing, now: Standing) -> tuple[bool, str]:
    match request["word"]:
        case "hold":
            return now.state is State.HELD, _hold(before, now)
        case "continue":
            return now.state not in TERMINAL and now.state not in (State.HELD, State.HALTING), _continue(before, now)
        case "stop":
            return now.state is State.STOPPED, stands(now)
        case "answer":
            return before.question is not None, _answer(request, before, now)
    return True, stands(now)


def _hold(before: Standing, now: Standing) -> str:
    if now.state is State.READY:
        return "nothing moves yet: the run has not begun"
    if before.state is State.HELD:
        return f"held already: {stands(now)}"
    return stands(now)


def _continue(before: Standing, now: Standing) -> str:
    if now.state is State.HELD and now.question is not None:
        return f"still held by a question; answer it first with `titrator answer`: {now.question.text}"
    if before.state is not State.HELD:
        return f"it was not held: {stands(now)}"
    return stands(now)


def _answer(request: dict[str, Any], before: Standing, now: Standing) -> str:
    if before.question is None:
        return f"no question is open: {stands(now)}"
    return f"answered {'yes' if request['yes'] else 'no'}: {stands(now)}"


def stands(now: Standing) -> str:
    """One sentence: state, place, reason."""
    at = f"at {now.volume_mL:.4f} mL"
    if now.state is State.HELD and now.hold is not None:
        cause = {
            HoldCause.OPERATOR: "by the operator",
            HoldCause.QUESTION: "by a question",
            HoldCause.LINK: "because the board did not answer",
        }[now.hold.cause]
        return f"held {at}, {cause}, while {now.hold.came_from.value}"
    if now.state is State.HALTING:
        return f"halting {at}: the board has not confirmed yet that the motor rests"
    return f"{now.state.value} {at}" + (f": {now.why}" if now.why else "")
