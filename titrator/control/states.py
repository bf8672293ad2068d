"""The states, the signals that change them, and the one table that decides every pair.

A reading or a tick that changes nothing never reaches the machine: `Controller` turns what matters into a `Signal`.
"""

from __future__ import annotations

import enum


class State(enum.Enum):
    """Where a run stands. The values are the words of the journal and of the reports."""

    READY = "ready"
    PRIMING = "priming"
    INITIAL = "initial"
    DOSING = "dosing"
    SETTLING = "settling"
    DECIDING = "deciding"
    REFILLING = "refilling"
    RINSING = "rinsing"
    HALTING = "halting"
    FINISHED = "finished"
    HELD = "held"
    STOPPED = "stopped"
    FAULTED = "faulted"


class Signal(enum.Enum):
    """What can change a state."""

    BEGIN = "begin"  # the cautions are acknowledged, the bench answers
    SETTLED = "settled"  # a reading was logged, settled or at its longest wait
    ADD = "add"  # the increment rule chose a volume
    MOVED = "moved"  # the burette reached its target
    PASSED = "passed"  # the same, and more follows at once: nothing is waited for
    REFILL = "refill"  # the stroke is used up and more is to be added
    REFILLED = "refilled"
    QUESTION = "question"  # nothing may be done before the operator has answered
    PRIME = "prime"  # the operator confirmed that the tip is over waste
    ENOUGH = "enough"  # an end that the method planned: points, volume, potential or time
    HOLD = "hold"  # the operator, a question or the link asks for rest
    CONTINUE = "continue"  # go on after a hold
    STOP = "stop"  # the operator ends the run
    FAULT = "fault"  # doubt about volume, link, electrode or limits
    RESTED_ENOUGH = "rested, enough"  # the board confirms rest; what the rest was for
    RESTED_HOLD = "rested, hold"
    RESTED_STOP = "rested, stop"
    RESTED_FAULT = "rested, fault"
    UNCONFIRMED = "unconfirmed"  # the board did not confirm rest in time


class Decided(enum.Enum):
    """What else a pair of the table may say."""

    STAY = "stay"  # harmless here: a late answer, a repeated word
    WRONG = "wrong"  # cannot happen unless we broke our own rules: the run faults


TERMINAL = (State.FINISHED, State.STOPPED, State.FAULTED)
"""States that nothing leaves. Asked for with every reading: a set would hash the state each time."""
AT_REST = frozenset({State.READY, State.HELD, State.FINISHED, State.STOPPED, State.FAULTED})
"""States in which the controller never asks for motion."""
NOT_YET_ENTERED = frozenset({State.RINSING})
"""A word fixed for the journal that no signal of this version leads to."""

_S, _N, _D = State, Signal, Decided
_RESTED = (_N.RESTED_ENOUGH, _N.RESTED_HOLD, _N.RESTED_STOP, _N.RESTED_FAULT)


def _row(**to: State | Decided) -> dict[Signal, State | Decided]:
    """A row of the table: what is not named is WRONG, since nobody decided that it may happen."""
    row: dict[Signal, State | Decided] = dict.fromkeys(Signal, Decided.WRONG)
    row.update({Signal[name]: target for name, target in to.items()})
    return row


def _working(**to: State | Decided) -> dict[Signal, State | Decided]:
    """A state in which a run is under way: it can always be held, stopped, ended or faulted, by way of `halting`."""
    return _row(
        HOLD=_S.HALTING,
        STOP=_S.HALTING,
        FAULT=_S.HALTING,
        ENOUGH=_S.HALTING,
        CONTINUE=_D.STAY,
        **to,
    )


def _terminal() -> dict[Signal, State | Decided]:
    """Nothing leaves a terminal state, whatever arrives late."""
    return dict.fromkeys(Signal, Decided.STAY)


TABLE: dict[State, dict[Signal, State | Decided]] = {
    _S.READY: _row(
        BEGIN=_S.INITIAL,
        QUESTION=_S.HELD,
        HOLD=_D.STAY,
        CONTINUE=_D.STAY,
        STOP=_S.STOPPED,
        FAULT=_S.FAULTED,
        ENOUGH=_S.STOPPED,
    ),
    _S.PRIMING: _working(MOVED=_D.STAY),
    _S.INITIAL: _working(SETTLED=_S.DECIDING, MOVED=_D.STAY),
    _S.DOSING: _working(MOVED=_S.SETTLING, PASSED=_S.DECIDING, REFILL=_S.REFILLING),
    _S.SETTLING: _working(SETTLED=_S.DECIDING, MOVED=_D.STAY),
    _S.DECIDING: _working(ADD=_S.DOSING, REFILL=_S.REFILLING, MOVED=_D.STAY),
    _S.REFILLING: _working(REFILLED=_S.DOSING, MOVED=_D.STAY),
    _S.RINSING: _working(MOVED=_S.INITIAL),
    _S.HALTING: _row(
        MOVED=_D.STAY,
        ENOUGH=_D.STAY,
        HOLD=_D.STAY,
        CONTINUE=_D.STAY,
        STOP=_D.STAY,
        FAULT=_D.STAY,
        RESTED_ENOUGH=_S.FINISHED,
        RESTED_HOLD=_S.HELD,
        RESTED_STOP=_S.STOPPED,
        RESTED_FAULT=_S.FAULTED,
        UNCONFIRMED=_S.FAULTED,
    ),
    _S.HELD: _row(
        BEGIN=_S.INITIAL,
        PRIME=_S.PRIMING,
        CONTINUE=_S.SETTLING,
        HOLD=_D.STAY,
        MOVED=_D.STAY,
        STOP=_S.HALTING,
        FAULT=_S.HALTING,
        ENOUGH=_S.HALTING,
        **{signal.name: _D.STAY for signal in _RESTED},
    ),
    _S.FINISHED: _terminal(),
    _S.STOPPED: _terminal(),
    _S.FAULTED: _terminal(),
}
