"""How a refill and a priming go, step by step: each step is told before it is done, and hears what came of it.

A procedure is a generator: it yields the next step, and is sent the bench's news of its end. Whoever drives it writes
the step into the record before `carry_out` sends it, and the outcome after. It raises BuretteError when an outcome is
not what it must be; then nothing more is moved, and the valve stays where it is seen.
"""

from collections.abc import Generator, Iterator
from itertools import count
from typing import NamedTuple, TypeAlias

from firmware_protocol.messages import ValvePosition
from titrator.bench.bench import Bench
from titrator.bench.errors import BuretteError, HomeError, ValveError
from titrator.bench.events import VALVE_WORDS, MotionEnded, Rested, ValveSettled

SEARCH_PART = 64
"""Home is looked for up to this part of a stroke further back than it should be: no further may a board go at once."""
HOME_WITHIN_SD = 3.0
"""The switch may close so many standard deviations of the burette's random error off, and one step: a count that is
wrong by less is told neither by a switch nor by a dose. (Derived: 99.7 % of normal errors.)"""
MOST_MOTIONS_OF_A_REFILL = 2
"""Identifiers that a refill uses: drawing, and taking up the backlash."""
MOST_MOTIONS_OF_A_PRIMING = 100
"""Identifiers that a priming may use. Three for each stroke of the purge, and five."""


class TurnValve(NamedTuple):
    """Turn the valve and see it there."""

    position: ValvePosition


class Draw(NamedTuple):
    """Fill: back to home, no further than this count of steps."""

    dose: int
    steps: int


class Push(NamedTuple):
    """Push up to this count of steps, not for the sample: towards the reservoir, or over waste."""

    dose: int
    steps: int
    valve: ValvePosition


class Rest(NamedTuple):
    """Let time pass."""

    duration_s: float


Step: TypeAlias = TurnValve | Draw | Push | Rest
Outcome: TypeAlias = MotionEnded | ValveSettled | Rested
Procedure: TypeAlias = Generator[Step, Outcome, None]


def carry_out(bench: Bench, step: Step) -> None:
    """Begin a step. Errors as the bench's."""
    match step:
        case TurnValve(position=position):
            bench.turn_valve(position)
        case Draw(dose=dose, steps=steps):
            bench.draw(dose, steps)
        case Push(dose=dose, steps=steps, valve=valve):
            bench.push_aside(dose, steps, valve)
        case Rest(duration_s=duration_s):
            bench.rest(duration_s)


def told(step: Step) -> dict[str, object]:
    """A step as the record names it, before it is done."""
    match step:
        case TurnValve(position=position):
            return {"does": "turn the valve", "to": VALVE_WORDS[position]}
        case Draw(dose=dose, steps=steps):
            return {"does": "draw", "dose": dose, "steps": steps}
        case Push(dose=dose, steps=steps, valve=valve):
            return {"does": "push aside", "dose": dose, "steps": steps, "valve": VALVE_WORDS[valve]}
        case Rest(duration_s=duration_s):
            return {"does": "rest", "s": duration_s}


def outcome_told(outcome: Outcome) -> dict[str, object]:
    """What came of a step, as the record names it."""
    match outcome:
        case ValveSettled(seen=seen, confirmed=confirmed):
            return {"valve": seen, "confirmed": confirmed}
        case MotionEnded(dose=dose, steps=steps, reason=reason):
            return {"dose": dose, "steps": steps, "reason": reason}
        case Rested():
            return {"rested": True}


def refill(bench: Bench, first_dose: int) -> Procedure:
    """Fill the burette. Uses the identifiers `first_dose` and the next one.

    The valve is turned and seen at the reservoir, the plunger drawn back to the home switch at the refill speed, the
    count there compared with the one expected (HomeError), the liquid given time to let go of bubbles, the backlash
    taken up towards the reservoir, so that every dose is delivered in one direction, and the valve turned back.
    """
    yield from _refill(bench, count(first_dose))


def prime(bench: Bench, first_dose: int, purge_mL: float, *, empty_first: bool) -> Procedure:
    """Deliver `purge_mL` over waste and begin full. Uses up to MOST_MOTIONS_OF_A_PRIMING identifiers.

    `empty_first` expels what the burette holds before (another titrant). Only after somebody has confirmed that the tip
    is over waste: that is for the caller to ask.
    """
    plunger, doses = bench.plunger, count(first_dose)
    if not plunger.left_steps:
        yield from _refill(bench, doses)
    if empty_first:
        yield from _push_out(bench, doses, plunger.left_steps)
        yield from _refill(bench, doses)
    due = plunger.burette.covering_steps(purge_mL)
    while due:
        part = min(due, plunger.left_steps)
        if part <= 0:
            raise BuretteError(
                "a refilled burette should have something to deliver, but its stroke is at its end: compare the stroke "
                "in the rig file with the burette"
            )
        yield from _push_out(bench, doses, part)
        due -= part
        yield from _refill(bench, doses)


def priming_travel_mL(bench_stroke_mL: float, purge_mL: float, *, empty_first: bool) -> float:
    """The most that a priming delivers over waste: the purge, and a stroke before it where that is emptied."""
    return purge_mL + (bench_stroke_mL if empty_first else 0.0)


def _refill(bench: Bench, doses: Iterator[int]) -> Procedure:
    plunger, burette = bench.plunger, bench.rig.burette
    yield from _turn(ValvePosition.RESERVOIR)
    expected = plunger.home
    if plunger.has_home_switch:
        search = plunger.burette.stroke_steps // SEARCH_PART
        lowest = plunger.at - plunger.burette.stroke_steps if expected is None else expected
        # No further than the board goes at once: a count that a reset put wrong may stand beyond the stroke.
        target = max(lowest, plunger.at - plunger.burette.stroke_steps) - search
    else:
        target = 0
    delivered = plunger.total_steps - plunger.filling.total  # since the filling began
    drawn = yield Draw(next(doses), target)
    home = _home(bench, drawn, expected, delivered)
    yield Rest(burette.settle_after_refill_s)
    if plunger.backlash_steps:
        pushed = yield Push(next(doses), home + plunger.backlash_steps, ValvePosition.RESERVOIR)
        _arrived(pushed)
    yield from _turn(ValvePosition.VESSEL)


def _push_out(bench: Bench, doses: Iterator[int], steps: int) -> Procedure:
    pushed = yield Push(next(doses), bench.plunger.at + steps, ValvePosition.VESSEL)
    _arrived(pushed)


def _turn(position: ValvePosition) -> Procedure:
    settled = yield TurnValve(position)
    if not (isinstance(settled, ValveSettled) and settled.confirmed):
        seen = settled.seen if isinstance(settled, ValveSettled) else "nothing"
        raise ValveError(
            f"the valve should be at {VALVE_WORDS[position]}, but its sensor sees it at {seen}: it is stuck, slow, or "
            f"its sensor is wrong. Nothing was moved through it. Next: turn it by hand, look at plug and supply, then "
            f"begin again; what the record says was delivered holds"
        )


def _arrived(ended: Outcome) -> MotionEnded:
    if isinstance(ended, MotionEnded) and ended.reason == "arrived":
        return ended
    raise BuretteError(f"a motion aside from the sample should arrive, got {ended}: begin the refill again")


def _home(bench: Bench, drawn: Outcome, expected: int | None, delivered: int) -> int:
    """The count at which the plunger stands filled. HomeError when the switch tells another one than expected."""
    plunger, step_mL = bench.plunger, bench.plunger.burette.step_mL
    if not plunger.has_home_switch:
        return _arrived(drawn).steps
    if not isinstance(drawn, MotionEnded) or drawn.reason not in ("home", "arrived"):
        raise BuretteError(f"a refill should end at the home switch, got {drawn}: begin the refill again")
    if drawn.reason == "arrived":
        where = "where it was first looked for" if expected is None else f"at step {expected}"
        raise HomeError(
            f"the home switch should close {where}, but did not down to step {drawn.steps}: the motor stalled on the "
            f"way, or the switch is broken. The volume delivered since the last refill is uncertain: look at burette "
            f"and switch before anything else",
            fewer=delivered,
            more=0,
        )
    off = 0 if expected is None else drawn.steps - expected
    within = 1 + round(HOME_WITHIN_SD * bench.rig.burette.random_error_mL / step_mL) + bench.within_steps
    if abs(off) > within:
        raise HomeError(
            f"the home switch should close within {within} steps of {expected}, but closed at step {drawn.steps}: "
            f"{abs(off)} steps ({1000 * abs(off) * step_mL:.3g} µL) were {'counted, not made,' if off > 0 else 'lost'} "
            f"since the last refill. The volume delivered since then is uncertain by as much: look for what stalls the "
            f"motor (speed, friction, supply) before the next run",
            fewer=min(delivered, max(0, off)),
            more=max(0, -off),
        )
    return drawn.steps
