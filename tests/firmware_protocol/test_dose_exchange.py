"""The model of the dose exchange holds, and every guard in it is needed: checked by spin, an independent tool.

Where spin is missing these tests fail, with how to install it: a check that is skipped in silence is none.
"""

import pytest

from firmware_protocol.model import variants
from firmware_protocol.model.variants import GUARDS, MODEL, check, events

FAILS = {
    "NO_SESSION": "1 no step twice",
    "NO_IDENTIFIER": "2 the journal holds the truth",
    "NO_CRC": "2 the journal holds the truth",
    "NO_INTENT": "2 the journal holds the truth",
    "NO_OUTCOME": "3 no needless doubt",
    "NO_DEAD_MAN": "4 dead-man",
    "NO_COUNT_ORIGIN": "2 the journal holds the truth",
    "NO_FRESH_NUMBER": "1 no step twice",
}


def test_the_model_holds():
    found = check()
    assert (found.errors, found.fails) == (0, "")
    assert found.states > 1_000_000  # a model that can do next to nothing would hold as well


@pytest.mark.parametrize("guard", GUARDS)
def test_without_a_guard_the_model_fails(guard):
    assert f"#ifndef {guard}" in (text := MODEL.read_text(encoding="utf-8")) or f"#ifdef {guard}" in text
    found = check(guard)
    assert found.errors == 1
    assert found.fails == FAILS[guard]


def test_every_event_of_the_model_happens():
    found = check(coverage=True)
    assert (found.errors, found.unreached) == (0, frozenset())


def test_an_event_that_cannot_happen_is_told():
    numbers = {name: number for number, name in events().items()}
    found = check("RESETS=0", coverage=True)
    resets = ("reset at rest", "reset in motion", "reset in a step", "reset noticed", "ended after reset")
    assert found.unreached == {numbers[name] for name in (*resets, "kept count of another")}


@pytest.mark.parametrize("name", ["ended certain", "ended after reset", "ended uncertain"])
def test_a_run_can_end_in_each_way(name):
    (number,) = [number for number, told in events().items() if told == name]
    assert check(f"REACH={number}").fails == "the event happens"


def test_missing_spin_is_told_with_what_to_do(monkeypatch):
    monkeypatch.setattr(variants.shutil, "which", lambda _program: None)
    with pytest.raises(variants.SpinMissingError, match="apt-get install spin gcc"):
        check()
