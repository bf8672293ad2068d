"""A run followed again from its journal: through the controller that decided it, and through the bench's bookkeeping.

Nothing is decided here. The controller hears what it was told then, and comes out as it was when the record ends.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from firmware_protocol.messages import Move, Refill, ValvePosition
from titrator.bench.bench import Bench
from titrator.bench.events import VALVE_WORDS
from titrator.bench.joining import Joined
from titrator.bench.motions import Ended
from titrator.control.actions import Action, Ask, Finish, Log, MoveTo
from titrator.control.controller import Controller
from titrator.control.point import Point
from titrator.files import InputProblem
from titrator.record.journal_reader import JournalContents
from titrator.run.told import events_in

_VALVES = {word: position for position, word in VALVE_WORDS.items()}


class NotFollowedError(InputProblem):
    """The journal tells of decisions that this program would not have taken from the same readings."""


@dataclass(slots=True)
class Followed:
    """What came out: all points, and what was decided and is not on record yet, in order."""

    points: list[Point] = field(default_factory=list)
    pending: list[Action] = field(default_factory=list)


def follow(controller: Controller, contents: JournalContents) -> Followed:
    """Tell `controller` all that the journal says it was told. NotFollowedError where it decides otherwise now."""
    followed = Followed()
    logged = {line["number"]: line for line in contents.of_kind("point")}
    intended = {line["dose"]: line for line in contents.of_kind("intent")}
    asked = {line["number"] for line in contents.of_kind("question")}
    for number, event in events_in(contents.lines):
        for action in controller.handle(event):
            match action:
                case Log(point=point):
                    followed.points.append(point)
                    if point.number not in logged:
                        followed.pending.append(action)
                    elif not _same(logged.pop(point.number), point):
                        raise _otherwise(number, f"point {point.number}")
                case MoveTo(dose=dose, volume_mL=volume_mL):
                    if dose in intended and intended.pop(dose)["volume_mL"] != volume_mL:
                        raise _otherwise(number, f"dose {dose}")
                case Ask(question=question) if question.number not in asked:
                    followed.pending.append(action)
                case Finish():
                    followed.pending.append(action)
    for what, left in (("point", logged), ("dose", intended)):
        if left:
            number = min(line["n"] for line in left.values())
            raise _otherwise(number, f"{what} {min(left)}")
    return followed


def _same(line: Mapping[str, Any], point: Point) -> bool:
    return bool(line["volume_mL"] == point.volume_mL and line["potential_mV"] == point.potential_mV)


def _otherwise(number: int, what: str) -> NotFollowedError:
    return NotFollowedError(
        f"line {number + 1} of the journal: expected the decision that this program takes from the same readings, got "
        f"another {what}: the run was made with another version. Next: `titrator evaluate` takes what is there; begin "
        f"a new run"
    )


def recall(bench: Bench, contents: JournalContents) -> None:
    """Let the bench learn where its plunger was, and what was sent last. The journal holds a session at least."""
    begun = False
    for line in contents.lines:
        kind = line["kind"]
        if kind == "session":
            if begun:
                bench.recall_session(_joined(line))
            else:
                bench.recall_run(_joined(line), line["travel_mL"], priming_mL=line["priming_mL"])
                begun = True
        elif kind == "intent":
            bench.recall_sent(Move(line["dose"], line["steps"], 0), aside=False)
        elif kind.endswith("_intent") and "dose" in line:
            bench.recall_sent(_aside(line), aside=True)
        elif (kind == "outcome" or kind.endswith("_outcome")) and "dose" in line:
            bench.recall_end(line["dose"], line["steps"], line["reason"])


def _aside(line: Mapping[str, Any]) -> Move | Refill:
    if line["does"] == "draw":
        return Refill(line["dose"], line["steps"], 0)
    return Move(line["dose"], line["steps"], 0, _VALVES.get(line["valve"], ValvePosition.BETWEEN))


def _joined(line: Mapping[str, Any]) -> Joined:
    ended = line["ended"]
    return Joined(
        t_s=line["t_ms"] / 1000,
        session=int(line["session"], 16),
        boot=int(line["boot"], 16),
        steps=line["steps"],
        home=line["home"],
        base_ms=line["base_ms"],
        counting_since=int(line["counting_since"], 16),
        within_on_board=line["within_on_board"],
        baseline=(int(line["baseline"][0], 16), line["baseline"][1]),
        reset=line["reset"],
        within=line["within_steps"],
        ended=None if ended is None else Ended(ended["dose"], ended["steps"], ended["reason"], aside=False),
    )
