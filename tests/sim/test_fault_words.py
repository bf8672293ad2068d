"""The words that ask for a fault, and the schedule that lets it strike."""

import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.faults.catalogue import CATALOGUE
from sim.faults.fault import Fault, PlannedFault
from sim.faults.schedule import Schedule
from sim.faults.words import parse_fault
from titrator.files import InputProblem

PAGE = Path(__file__).parents[2] / "docs" / "faults.md"


@pytest.mark.parametrize(
    ("words", "name", "size", "at_mL", "at_s"),
    [
        ("stirrer-off@8mL", "stirrer-off", 0.0, 8.0, None),
        ("bubble=0.05 mL@12 mL", "bubble", 0.05, 12.0, None),
        ("bubble=50 µL@12 mL", "bubble", 0.05, 12.0, None),
        (" bubble = 50 uL @ 5 min ", "bubble", 0.05, None, 300.0),
        ("drift=-3 mV/min@0 s", "drift", -0.05, None, 0.0),
        ("lost-steps=8steps@300s", "lost-steps", 8.0, None, 300.0),
        ("calibration-shift=-0.2 %@0.5 L", "calibration-shift", -0.2, 500.0, None),
        ("input-leak=2 GOhm@1 h", "input-leak", 2000.0, None, 3600.0),
        ("tip-diffusion=1 µL/min@0 mL", "tip-diffusion", 0.06, 0.0, None),
        ("noise@90 s", "noise", 2.0, None, 90.0),
    ],
)
def test_words_are_read_with_their_units(words, name, size, at_mL, at_s):
    planned = parse_fault(words)
    assert (planned.fault.name, planned.at_mL) == (name, at_mL)
    assert planned.size == pytest.approx(size)
    assert planned.at_s == pytest.approx(at_s)


@pytest.mark.parametrize(
    ("words", "character", "told"),
    [
        ("stirrer-off", 12, "expected @ and when"),
        ("", 1, "expected @ and when"),
        ("stirer-off@8 mL", 1, "did you mean stirrer-off?"),
        ("STALL@8 mL", 1, "did you mean stall?"),
        ("@8 mL", 1, "got nothing"),
        ("zzzz@8 mL", 1, "there are bubble, lost-steps, stall"),
        ("stall=3@8 mL", 7, "expected no size, for stall has none, got '3'"),
        ("bubble=0.05@8 mL", 8, "a number without unit"),
        ("bubble=@8 mL", 8, "got nothing"),
        ("bubble=0 mL@8 mL", 8, "above 0 mL"),
        ("bubble=-1 mL@8 mL", 8, "above 0 mL"),
        ("bubble=3 L@8 mL", 8, "at most 1 mL"),
        ("bubble=5 mV@8 mL", 8, "mV is a unit of a potential"),
        ("electrode-coated=120 %@8 mL", 18, "at most 100 %"),
        ("stall@8", 7, "a volume such as"),
        ("stall@later", 7, "a volume such as"),
        ("stall@", 7, "got nothing"),
        ("stall@-8 mL", 7, "at least 0 mL"),
        ("stall@8 mL@9 mL", 7, "expected a volume"),
        ("stall@1e999 s", 7, "astronomical"),
        ("stall@nan s", 7, "expected a time"),
    ],
)
def test_wrong_words_are_told_with_the_place_and_what_was_expected(words, character, told):
    with pytest.raises(InputProblem) as caught:
        parse_fault(words)
    text = str(caught.value)
    assert text.startswith(f"fault {words!r}, character {character}: expected"), text
    assert told in text
    assert "\n" not in text


@given(st.text(max_size=30) | st.from_regex(r"[a-z\-]{1,12}=[0-9. ]{1,6}[a-zA-Z/% ]{0,6}@[0-9. ]{1,5}[a-zA-Z ]{0,4}"))
def test_no_words_give_a_traceback(words):
    told = []
    try:
        parse_fault(words)
    except InputProblem as problem:
        told = str(problem).splitlines()
    assert len(told) <= 1


@pytest.mark.parametrize("fault", CATALOGUE.values(), ids=list(CATALOGUE))
def test_every_fault_can_be_asked_for_by_what_its_entry_tells(fault):
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", fault.name)
    assert fault.does.endswith(".")
    told = fault.told()
    if fault.size is None:
        assert parse_fault(f"{fault.name}@8 mL").size == 0.0
    else:
        assert parse_fault(f"{fault.name}={told['default']} {told['unit']}@8 mL").size == fault.size.default


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_fault_stands_on_the_page(name):
    assert f"`{name}`" in PAGE.read_text(encoding="utf-8")


class Recorder:
    """Stands for cell and burette: notes what strikes, after the cell was taken to the moment."""

    def __init__(self):
        self.story = []
        self.parts = SimpleNamespace(cell=self, now_us=0)

    def advance(self, t_s, delivered_mL):
        self.story.append((t_s, delivered_mL))

    def planned(self, name, **when):
        def strike(parts, size):
            self.story.append((name, size, parts.now_us))

        return PlannedFault(Fault(name, "vessel", None, ".", strike), 1.5, **when)


def test_each_strikes_once_when_it_is_due_by_volume_or_time_and_in_the_order_of_the_words():
    seen = Recorder()
    words = [seen.planned("late", at_s=9.0), seen.planned("full", at_mL=2.0), seen.planned("first", at_s=0.0)]
    schedule = Schedule([*words, seen.planned("never", at_mL=99.0)], seen.parts)
    for second in range(12):
        schedule.ask(second * 1_000_000, second * 0.25)
    assert seen.story == [
        (0.0, 0.0), ("first", 1.5, 0), (8.0, 2.0), ("full", 1.5, 8_000_000), (9.0, 2.25), ("late", 1.5, 9_000_000),
    ]  # fmt: skip
    told = {each["name"]: (each["struck_s"], each["struck_mL"]) for each in schedule.told()}
    assert told == {"late": (9.0, 2.25), "full": (8.0, 2.0), "first": (0.0, 0.0), "never": (None, None)}


def test_two_that_are_due_at_once_strike_in_the_order_of_the_words():
    seen = Recorder()
    Schedule([seen.planned("one", at_mL=0.0), seen.planned("two", at_s=0.0)], seen.parts).ask(5, 0.0)
    assert [each[0] for each in seen.story[1:]] == ["one", "two"]
