"""Editing a file in place: what is read afterwards is what was asked for (held against PyYAML), all else stands."""

import re
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from titrator.files.edited import Change, edited, quoted, value_at

FILES = sorted((Path(__file__).parents[2] / "configs").glob("*/[a-y]*.yaml"))
TEXT = """\
# Head.
flow: {rule: x, aim: 25 mV, first: 3 mL}  # beside flow
block:
  # above aim
  aim: 25 mV   # beside aim
  first: 0.1 mL
  last: 3

list:
  - {kind: white, sd: 0.25 mV}
alone: 4
several: {x: 1,
    y: 2}
"""


def comments(text):
    return re.findall(r"#.*", text)


def test_values_are_replaced_where_they_stand():
    changes = [
        Change(("flow", "aim"), "20 mV"),
        Change(("block", "aim"), "7 mV"),
        Change(("list", 0, "sd"), "0.3 mV"),
        Change(("alone",), "5"),
        Change(("several", "x"), "10"),
    ]
    after = edited(TEXT, changes)
    assert yaml.safe_load(after) == {
        "flow": {"rule": "x", "aim": "20 mV", "first": "3 mL"},
        "block": {"aim": "7 mV", "first": "0.1 mL", "last": 3},
        "list": [{"kind": "white", "sd": "0.3 mV"}],
        "alone": 5,
        "several": {"x": 10, "y": 2},
    }
    assert comments(after) == comments(TEXT)
    assert [value_at(after, change.way) for change in changes] == [change.value for change in changes]


def test_keys_are_put_in_and_taken_out():
    changes = [
        Change(("flow", "new"), "1 mL"),
        Change(("flow", "aim"), None),
        Change(("flow", "first"), None),
        Change(("block", "first"), None),
        Change(("block", "more"), "8 mV", "added"),
        Change(("block", "and"), "9 mV"),
        Change(("block", "never"), None),
    ]
    read = yaml.safe_load(edited(TEXT, changes))
    assert read["flow"] == {"rule": "x", "new": "1 mL"}
    assert read["block"] == {"aim": "25 mV", "last": 3, "more": "8 mV", "and": "9 mV"}


def test_notes_stand_at_the_end_of_their_lines_before_what_stood_there():
    lines = edited(
        TEXT,
        [
            Change(("flow", "aim"), "20 mV", "aim was 25 mV"),
            Change(("flow", "rule"), "y", "rule was x"),
            Change(("block", "aim"), "7 mV", "was 25 mV"),
            Change(("alone",), "5", "was 4"),
            Change(("several", "x"), "10", "was 1"),
        ],
    ).splitlines()
    assert "flow: {rule: y, aim: 20 mV, first: 3 mL}  # aim was 25 mV; rule was x; beside flow" in lines
    assert "  aim: 7 mV   # was 25 mV; beside aim" in lines
    assert "alone: 5  # was 4" in lines
    assert "several: {x: 10,  # was 1" in lines


def test_what_is_taken_out_of_a_block_stays_as_a_comment():
    assert "  # first: 0.1 mL" in edited(TEXT, [Change(("block", "first"), None)]).splitlines()


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_without_a_last_end_of_line_and_with_other_ends_of_lines(ending):
    text = ending.join(["a:", "  b: 1", "  c: 2"])
    after = edited(text, [Change(("a", "c"), "3", "was 2"), Change(("a", "d"), "4", "added")])
    assert yaml.safe_load(after) == {"a": {"b": 1, "c": 3, "d": 4}}
    assert [each.strip() for each in comments(after)] == ["# was 2", "# added"]


def test_a_note_in_the_midst_of_a_list_over_lines_hides_nothing():
    after = edited("a: {x: 1,\n  y: 2\n  }\n", [Change(("a", "y"), "3", "was 2"), Change(("a", "z"), "4", "added")])
    assert yaml.safe_load(after) == {"a": {"x": 1, "y": 3, "z": 4}}


def test_a_section_that_is_not_there_is_told():
    with pytest.raises(KeyError, match="nowhere"):
        edited(TEXT, [Change(("nowhere", "a"), "1")])


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_scalar_of_every_file_can_be_replaced(path):
    text = path.read_text(encoding="utf-8")
    wanted = yaml.safe_load(text)
    ways = list(scalars(wanted))
    assert len(ways) > 5
    changes = [Change(way, f"new-{number}", f"note {number}") for number, way in enumerate(ways)]
    for change in changes:
        place = wanted
        for step in change.way[:-1]:
            place = place[step]
        place[change.way[-1]] = change.value
    after = edited(text, changes)
    assert yaml.safe_load(after) == wanted
    assert all(any(comment.endswith(old.strip("# ")) for comment in comments(after)) for old in comments(text))


def scalars(data, way=()):
    for key, value in data.items() if isinstance(data, dict) else enumerate(data):
        if isinstance(value, dict | list):
            yield from scalars(value, (*way, key))
        else:
            yield (*way, key)


@pytest.mark.parametrize(
    "word", ["no", "true", "Null", "yes", "on", "a b", "../a/b.yaml", "a: b", "a #b", 'a"b', "a\\b"]
)
def test_words_that_mean_something_are_quoted(word):
    assert yaml.safe_load(f"a: {quoted(word)}") == {"a": word}


@given(st.text(st.characters(codec="utf-8", exclude_categories=("C", "Zl", "Zp")), min_size=1, max_size=40))
def test_a_quoted_text_is_read_as_it_was(text):
    assert yaml.safe_load(f"a: {quoted(text)}") == {"a": text}
    assert yaml.safe_load(f"{{a: {quoted(text)}, b: 1}}") == {"a": text, "b": 1}
