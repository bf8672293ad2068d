"""Change values of a YAML file and keep the rest as it was written, comments too.

Only scalars are replaced, put in or taken out; what is changed can carry a note at the end of its line. The text must
be one that `read_yaml` takes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import yaml

Way: TypeAlias = tuple[str | int, ...]
"""Keys, and places in lists from 0, on the way to a value."""

_COMMENT = re.compile(r"[\s,}\]]*#")


@dataclass(frozen=True, slots=True)
class Change:
    """What becomes of the value at `way`: another text, or None to take key and value out.

    A key that is not there is put at the end of its section, which must be there. `note` goes to the end of the line.
    """

    way: Way
    value: str | None
    note: str = ""


def value_at(text: str, way: Way) -> str | None:
    """Return the scalar at `way` as it is written, None where there is none."""
    node = _follow(_compose(text), way)
    return str(node.value) if isinstance(node, yaml.ScalarNode) else None


def edited(text: str, changes: Sequence[Change]) -> str:
    """Return the text with all changes made. KeyError where a section is not there that a change needs."""
    text = text.removeprefix("\ufeff")
    root = _compose(text)
    pieces: list[tuple[int, int, str]] = []
    notes: dict[int, list[str]] = {}
    for change in changes:
        section = _follow(root, change.way[:-1])
        if not isinstance(section, yaml.CollectionNode):
            raise KeyError(f"expected a section {'.'.join(map(str, change.way[:-1]))}, got none")
        at = _edit(text, section, change, pieces)
        if change.note:
            notes.setdefault(_line_end(text, at), []).append(change.note)
    # At one place: what belongs to the line, then its comment, then lines that come behind it, in the order asked for.
    ranked = [(start, 2 if new.startswith("\n") else 0, end, new) for start, end, new in pieces]
    for end, told in notes.items():
        at, note = _note(text, root, end, told)
        ranked.append((at, 1, at, note))
    for place in sorted(range(len(ranked)), key=lambda k: (ranked[k][:2], k), reverse=True):
        start, _, end, new = ranked[place]
        text = text[:start] + new + text[end:]
    return text


def quoted(value: str) -> str:
    """Return a text as it may stand in a file: as it is where nothing in it means anything to YAML."""
    plain = re.fullmatch(r"[A-Za-z./][\w./ +()-]*", value) and not value.endswith(" ")
    if plain and yaml.safe_load(value) == value:  # not a word such as no or true
        return value
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _compose(text: str) -> yaml.Node:
    node = yaml.compose(text.removeprefix("\ufeff"), Loader=yaml.SafeLoader)
    assert node is not None, "an empty file was refused before"
    return node


def _follow(node: yaml.Node, way: Way) -> yaml.Node | None:
    found: yaml.Node | None = node
    for step in way:
        if isinstance(found, yaml.MappingNode):
            found = next((value for key, value in found.value if key.value == step), None)
        elif isinstance(found, yaml.SequenceNode) and isinstance(step, int) and step < len(found.value):
            found = found.value[step]
        else:
            return None
    return found


def _edit(text: str, section: yaml.CollectionNode, change: Change, pieces: list[tuple[int, int, str]]) -> int:
    """Add the pieces of one change; return where in the text its note belongs."""
    key = change.way[-1]
    if isinstance(section, yaml.SequenceNode):
        assert isinstance(key, int), "entries of lists are counted"
        assert change.value is not None, "entries of lists are only replaced"
        node = section.value[key]
        pieces.append((node.start_mark.index, node.end_mark.index, change.value))
        return int(node.end_mark.index)
    pair = next((pair for pair in section.value if pair[0].value == key), None)
    if pair is None:
        return _put_in(text, section, change, pieces)
    start, end = pair[1].start_mark.index, pair[1].end_mark.index
    if change.value is not None:
        pieces.append((start, end, change.value))
        return int(end)
    return _take_out(text, section, pair, pieces)


def _put_in(text: str, section: yaml.CollectionNode, change: Change, pieces: list[tuple[int, int, str]]) -> int:
    if change.value is None:
        return int(section.start_mark.index)
    last_key, last = section.value[-1]
    end = last.end_mark.index
    entry = f"{change.way[-1]}: {change.value}"
    if section.flow_style:
        pieces.append((end, end, f", {entry}"))
        return int(end)
    end = _line_end(text, end)
    note = f"  # {change.note}" if change.note else ""
    pieces.append((end, end, f"\n{' ' * last_key.start_mark.column}{entry}{note}"))
    return -1  # the note has its own line


def _take_out(
    text: str,
    section: yaml.CollectionNode,
    pair: tuple[yaml.Node, yaml.Node],
    pieces: list[tuple[int, int, str]],
) -> int:
    start, end = pair[0].start_mark.index, pair[1].end_mark.index
    if not section.flow_style:
        pieces.append((start, start, "# "))  # its line becomes a comment, with what stood behind it
        return -1
    comma = re.compile(r"\s*,\s*").match(text, end)
    if comma:
        pieces.append((start, comma.end(), ""))
    else:
        before = re.search(r",\s*$", text[:start])
        pieces.append((start - len(before.group()) if before else start, end, ""))
    return int(end)


def _line_end(text: str, at: int) -> int:
    if at < 0:
        return -1
    end = text.find("\n", at)
    end = len(text) if end < 0 else end
    return end - 1 if end > at and text[end - 1] == "\r" else end


def _note(text: str, root: yaml.Node, end: int, told: list[str]) -> tuple[int, str]:
    """Where notes are put at the end of a line, before a comment that stands there, and as what."""
    note = "; ".join(told)
    if end < 0:
        return 0, ""
    start = text.rfind("\n", 0, end) + 1
    last = max((mark for mark in _ends(root) if start <= mark <= end), default=end)
    comment = _COMMENT.match(text, last, end)
    if comment:
        return comment.end(), f" {note};"
    return end, f"  # {note}"


def _ends(node: yaml.Node) -> list[int]:
    """Return where every scalar ends."""
    if isinstance(node, yaml.ScalarNode):
        return [node.end_mark.index]
    if isinstance(node, yaml.MappingNode):
        return [end for pair in node.value for each in pair for end in _ends(each)]
    return [end for each in node.value for end in _ends(each)]
