"""The table of states against expectations written by hand, apart from it (our own decisions, so no outside source)."""

import pathlib

import pytest

from titrator.control.diagram import diagram
from titrator.control.machine import StateMachine, WrongSignalError
from titrator.control.states import AT_REST, NOT_YET_ENTERED, TABLE, TERMINAL, Decided, Signal, State

# Rows: where the run stands; columns: what arrives. A word is the next state, "." stays, "!" must never happen.
EXPECTED = """
           begin    settled   add     moved     passed    refill     refilled  question  prime    enough   hold     continue  stop     fault    r-enough  r-hold  r-stop   r-fault  unconfirmed
ready      initial  !         !       !         !         !          !         held      !        stopped  .        .         stopped  faulted  !         !       !        !        !
priming    !        !         !       .         !         !          !         !         !        halting  halting  .         halting  halting  !         !       !        !        !
initial    !        deciding  !       .         !         !          !         !         !        halting  halting  .         halting  halting  !         !       !        !        !
dosing     !        !         !       settling  deciding  refilling  !         !         !        halting  halting  .         halting  halting  !         !       !        !        !
settling   !        deciding  !       .         !         !          !         !         !        halting  halting  .         halting  halting  !         !       !        !        !
deciding   !        !         dosing  .         !         refilling  !         !         !        halting  halting  .         halting  halting  !         !       !        !        !
refilling  !        !         !       .         !         !          dosing    !         !        halting  halting  .         halting  halting  !         !       !        !        !
rinsing    !        !         !       initial   !         !          !         !         !        halting  halting  .         halting  halting  !         !       !        !        !
halting    !        !         !       .         !         !          !         !         !        .        .        .         .        .        finished  held    stopped  faulted  faulted
held       initial  !         !       .         !         !          !         !         priming  halting  .        settling  halting  halting  .         .       .        .        !
finished   .        .         .       .         .         .          .         .         .        .        .        .         .        .        .         .       .        .        .
stopped    .        .         .       .         .         .          .         .         .        .        .        .         .        .        .         .       .        .        .
faulted    .        .         .       .         .         .          .         .         .        .        .        .         .        .        .         .       .        .        .
"""  # noqa: E501  (a table is read across)


def expected_pairs() -> list[tuple[State, Signal, str]]:
    header, *rows = (line.split() for line in EXPECTED.strip().splitlines())
    signals = [Signal(word.replace("r-", "rested, ")) for word in header]
    return [
        (State(state), signal, entry)
        for state, *entries in rows
        for signal, entry in zip(signals, entries, strict=True)
    ]


def machine_in(state: State) -> StateMachine:
    machine = StateMachine()
    machine._machine.set_state(state, machine._holder)
    return machine


def test_every_pair_is_expected_and_decided():
    pairs = {(state, signal) for state, signal, _ in expected_pairs()}
    assert pairs == {(state, signal) for state in State for signal in Signal}
    assert pairs == {(state, signal) for state, row in TABLE.items() for signal in row}


@pytest.mark.parametrize(("state", "signal", "entry"), expected_pairs())
def test_pair(state: State, signal: Signal, entry: str):
    machine = machine_in(state)
    if entry == "!":
        with pytest.raises(WrongSignalError, match=state.value):
            machine.fire(signal)
        assert machine.state is state
        return
    changed = machine.fire(signal)
    assert machine.state.value == (state.value if entry == "." else entry)
    assert changed is (entry != ".")


def test_fire_is_the_only_door():
    # `transitions` decorates its model with a method for each trigger; none of them may appear on ours.
    public = {name for name in dir(StateMachine()) if not name.startswith("_")}
    assert public == {"fire", "state"}


def test_every_state_but_the_named_ones_can_be_reached_from_ready():
    reached = {State.READY}
    while True:
        further = {
            target for state in reached for target in TABLE[state].values() if isinstance(target, State)
        } | reached
        if further == reached:
            break
        reached = further
    assert reached == set(State) - NOT_YET_ENTERED


def test_a_terminal_state_is_never_left_and_counts_as_rest():
    assert set(TERMINAL) <= AT_REST
    assert all(set(TABLE[state].values()) == {Decided.STAY} for state in TERMINAL)


def test_the_diagram_in_the_docs_is_the_table():
    page = pathlib.Path(__file__).parents[2] / "docs" / "states.md"
    text = page.read_text(encoding="utf-8")
    assert f"```mermaid\n{diagram()}```\n" in text, (
        "docs/states.md differs from the table; put the output of "
        "python -c 'from titrator.control.diagram import diagram; print(diagram())' between its fences"
    )
