"""Read YAML strictly, remembering where everything stood.

Accepted is what a chemist writes by hand: mappings, lists, text and numbers. Plain scalars follow the core schema of
YAML 1.2 (https://yaml.org/spec/1.2.2/#103-core-schema), not the 1.1 rules of the parser beneath: `no` and `12:30` are
text, `010` is ten, `1e-3` is a number. Anchors, aliases, merge keys, tags, several documents, tabs and repeated keys
are refused: each is a way to write a file that says something other than it seems to.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import yaml

from titrator.files.problems import FileProblem, Problem

LARGEST_FILE_BYTES: Final = 1_000_000  # a hundred times the longest method anybody wrote by hand
DEEPEST_NESTING: Final = 16  # our files nest four deep
LONGEST_SHOWN: Final = 60  # characters of a wrong value that an error repeats

_NULL = re.compile(r"null|Null|NULL|~|")
_TRUE = re.compile(r"true|True|TRUE")
_FALSE = re.compile(r"false|False|FALSE")
_INTEGER = re.compile(r"[-+]?[0-9]+")
_OCTAL = re.compile(r"0o[0-7]+")
_HEXADECIMAL = re.compile(r"0x[0-9a-fA-F]+")
_REAL = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_INFINITE = re.compile(r"[-+]?\.(inf|Inf|INF)")
_NOT_A_NUMBER = re.compile(r"\.(nan|NaN|NAN)")
_UNWELCOME = re.compile(r"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")
_LINE_END = re.compile(r"\r\n|\n|\r")


class Nothing:
    """What stands after a key without a value. Not None: an optional key left blank is a slip, not a choice."""

    def __repr__(self) -> str:
        """Return the word used in messages."""
        return "nothing"


NOTHING: Final = Nothing()


@dataclass(slots=True)
class Node:
    """A value of the file: plain data, and where it stood (from 1). `source` is a scalar as it was written."""

    data: Any
    line: int
    column: int
    source: str | None = None
    quoted: bool = False
    children: dict[str | int, Node] = field(default_factory=dict)
    key_marks: dict[str, tuple[int, int]] = field(default_factory=dict)

    def described(self) -> str:
        """Say in a few words what came, for the second half of an error."""
        if self.data is NOTHING:
            return "nothing"
        if isinstance(self.data, dict):
            return f"a section with the keys {_shortened(', '.join(self.data))}" if self.data else "an empty section"
        if isinstance(self.data, tuple):
            return f"a list of {len(self.data)}"
        shown = _shortened(self.source or "")
        return f'"{shown}"' if isinstance(self.data, str) else shown


@dataclass(frozen=True, slots=True)
class Document:
    """A file that was read: `data` in plain dictionaries, tuples, text and numbers, `root` with the marks."""

    path: Path
    root: Node

    @property
    def data(self) -> Any:
        """Return the plain data: dictionaries, tuples, text, numbers, true and false, NOTHING."""
        return self.root.data

    def problem(self, node: Node, text: str) -> Problem:
        """Return a problem located at a node."""
        return Problem(node.line, node.column, text, self.path)


def read_yaml(path: str | Path) -> Document:
    """Read one YAML file. Raises FileProblem with everything that is wrong with its form."""
    path = Path(path)
    text = _read_text(path).removeprefix("\ufeff")  # the mark that some editors put first
    _refuse_characters(path, text)
    return Document(path, _Composer(path, text).compose())


def _read_text(path: Path) -> str:
    def refused(came: str, line: int = 1, column: int = 1) -> FileProblem:
        return FileProblem([Problem(line, column, f"expected a YAML file in UTF-8, got {came}", path)])

    try:
        # Non-blocking, so that a pipe without a writer is refused and not waited for.
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        try:
            mode = os.fstat(descriptor).st_mode
            if stat.S_ISDIR(mode):
                raise refused("a folder")
            if not stat.S_ISREG(mode):
                raise refused("something that is not a regular file")
            with os.fdopen(descriptor, "rb", closefd=False) as file:
                raw = file.read(LARGEST_FILE_BYTES + 1)
        finally:
            os.close(descriptor)
    except FileNotFoundError:
        raise refused("no such file (is the path right, seen from the current folder?)") from None
    except ValueError:
        raise refused("a path with a NUL character") from None
    except OSError as error:
        raise refused(f"an error of the operating system: {error.strerror or error}") from None
    if len(raw) > LARGEST_FILE_BYTES:
        raise refused(f"more than {LARGEST_FILE_BYTES} bytes")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        before = raw[: error.start].decode("utf-8")
        line, column = _place(before, len(before))
        byte = raw[error.start]
        raise refused(f"the byte 0x{byte:02x}, which is not UTF-8 (save the file as UTF-8)", line, column) from None


def _place(text: str, position: int) -> tuple[int, int]:
    """Return line and column (from 1) of a position in the text."""
    line, start = 1, 0
    for end in _LINE_END.finditer(text, 0, position):
        line, start = line + 1, end.end()
    return line, position - start + 1


def _refuse_characters(path: Path, text: str) -> None:
    problems = []
    for number, line in enumerate(_LINE_END.split(text), start=1):
        found = _UNWELCOME.search(line)
        if found is None:
            continue
        what = {"\t": "a tab", "\x00": "a NUL byte"}.get(found.group(), f"the character U+{ord(found.group()):04X}")
        problems.append(Problem(number, found.start() + 1, f"expected printable text and spaces, got {what}", path))
    if problems:
        raise FileProblem(problems[:20])


class _Composer:
    """Turns the parser's events into nodes. Collects repeated keys and the like; broken YAML ends the reading."""

    def __init__(self, path: Path, text: str) -> None:
        self._path = path
        self._text = text
        self._problems: list[Problem] = []

    def compose(self) -> Node:
        events = self._events()
        root: Node | None = None
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent) and root is not None:
                self._refuse(event, "expected one document, got the start of another (---)")
                break
            if isinstance(event, yaml.NodeEvent):
                root = self._node(event, events, depth=0)
        if root is None or (root.data is NOTHING and not root.source):
            kind = "an empty file" if not self._text.strip() else "a file that is empty but for comments"
            self._problems.append(Problem(1, 1, f"expected keys and values, got {kind}", self._path))
        if self._problems:
            raise FileProblem(self._problems)
        assert root is not None
        return root

    def _events(self) -> Iterator[yaml.Event]:
        try:
            yield from yaml.parse(self._text, Loader=yaml.SafeLoader)
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
            said = ", ".join(part for part in (error.context, error.problem) if part)
            self._problems.append(Problem(line, column, f"expected well-formed YAML, got: {said}", self._path))
            raise FileProblem(self._problems) from None
        except (yaml.YAMLError, ValueError) as error:
            self._problems.append(Problem(1, 1, f"expected well-formed YAML, got: {error}", self._path))
            raise FileProblem(self._problems) from None

    def _refuse(self, event: yaml.Event, text: str) -> None:
        self._problems.append(Problem(*_mark(event), text, self._path))

    def _node(self, event: yaml.NodeEvent, events: Iterator[yaml.Event], depth: int) -> Node:
        node = Node(NOTHING, *_mark(event))
        if depth > DEEPEST_NESTING:
            self._refuse(event, f"expected at most {DEEPEST_NESTING} levels of nesting, got more")
            raise FileProblem(self._problems)
        if isinstance(event, yaml.AliasEvent):
            self._refuse(event, f"expected a value written out, got the alias *{event.anchor}")
            return node
        if event.anchor is not None:
            self._refuse(event, f"expected a value written out, got the anchor &{event.anchor}")
        if isinstance(event, (yaml.ScalarEvent, yaml.CollectionStartEvent)) and event.tag is not None:
            self._refuse(event, f"expected a plain value, got the tag {event.tag}")
        if isinstance(event, yaml.ScalarEvent):
            node.source = event.value
            node.quoted = event.style is not None
            node.data = event.value if node.quoted else _plain(event.value)
        elif isinstance(event, yaml.SequenceStartEvent):
            self._sequence(node, events, depth)
        else:
            self._mapping(node, events, depth)
        return node

    def _sequence(self, node: Node, events: Iterator[yaml.Event], depth: int) -> None:
        for event in events:
            if not isinstance(event, yaml.NodeEvent):
                break
            node.children[len(node.children)] = self._node(event, events, depth + 1)
        node.data = tuple(child.data for child in node.children.values())

    def _mapping(self, node: Node, events: Iterator[yaml.Event], depth: int) -> None:
        node.data = {}
        for event in events:
            if not isinstance(event, yaml.NodeEvent):
                return
            key = self._node(event, events, depth + 1)
            value_event = next(events)
            assert isinstance(value_event, yaml.NodeEvent)
            child = self._node(value_event, events, depth + 1)
            name = key.source
            if name is None:
                if not isinstance(event, yaml.AliasEvent):
                    self._refuse(event, f"expected a word as key, got {key.described()}")
            elif name == "<<" and not key.quoted:
                self._refuse(event, "expected every key written out, got the merge key <<")
            elif not name.isprintable():
                self._refuse(event, f"expected a key of printable characters on one line, got {key.described()}")
            elif name in node.key_marks:
                first = node.key_marks[name][0]
                self._refuse(event, f"expected each key once, got '{_shortened(name)}' again (first in line {first})")
            else:
                node.key_marks[name] = (key.line, key.column)
                node.children[name] = child
                node.data[name] = child.data


def _mark(event: yaml.Event) -> tuple[int, int]:
    mark = event.start_mark
    assert mark is not None, "the parser marks every event"
    return mark.line + 1, mark.column + 1


def _plain(text: str) -> Any:
    """Return the value of an unquoted scalar by the core schema of YAML 1.2."""
    if _NULL.fullmatch(text):
        return NOTHING
    if _TRUE.fullmatch(text):
        return True
    if _FALSE.fullmatch(text):
        return False
    if _INTEGER.fullmatch(text) and len(text) <= 18:  # longer ones are read as real numbers: bounded cost
        return int(text)
    if _REAL.fullmatch(text):
        return float(text)
    if (_OCTAL.fullmatch(text) or _HEXADECIMAL.fullmatch(text)) and len(text) <= 18:
        return int(text, 0)
    if _INFINITE.fullmatch(text):
        return float(text.replace(".", ""))
    return float("nan") if _NOT_A_NUMBER.fullmatch(text) else text


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"
