"""Strict YAML. What plain values mean is checked against the tables of YAML 1.2.2, sections 10.2 and 10.3."""

import os
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from titrator.files import FileProblem, read_yaml
from titrator.files.strict_yaml import LARGEST_FILE_BYTES, NOTHING


def problems(path: Path) -> list[str]:
    with pytest.raises(FileProblem) as caught:
        read_yaml(path)
    prefix = f"{path}:"
    lines = str(caught.value).splitlines()
    assert all(line.startswith(prefix) for line in lines)
    return [line.removeprefix(prefix) for line in lines]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("no", "no"),
        ("yes", "yes"),
        ("on", "on"),
        ("12:30", "12:30"),
        ("12:30:45", "12:30:45"),
        ("2024-05-06", "2024-05-06"),
        ("010", 10),
        ("0o10", 8),
        ("0x1F", 31),
        ("0b1", "0b1"),
        ("1_000", "1_000"),
        ("1e-3", 0.001),
        ("1e3", 1000.0),
        (".5", 0.5),
        ("-7", -7),
        ("0.1000", 0.1),
        ("true", True),
        ("False", False),
        ("null", NOTHING),
        ("~", NOTHING),
        ("", NOTHING),
        ("'12'", "12"),
        ('"no"', "no"),
        ("10 mL", "10 mL"),
        ("0.1000 mol/L", "0.1000 mol/L"),
        (".inf", float("inf")),
        ("-.Inf", float("-inf")),
        ("9" * 30, float("9" * 30)),
    ],
)
def test_plain_values_follow_the_core_schema(tmp_path: Path, text: str, value: object) -> None:
    path = tmp_path / "file.yaml"
    path.write_text(f"key: {text}\n", "utf-8")
    read = read_yaml(path).data["key"]
    assert read == value
    assert type(read) is type(value)


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        (b"", ["1:1: expected keys and values, got an empty file"]),
        (b"\n  \n", ["1:1: expected keys and values, got an empty file"]),
        (b"# a comment\n", ["1:1: expected keys and values, got a file that is empty but for comments"]),
        (b"a: 1\x00\n", ["1:5: expected printable text and spaces, got a NUL byte"]),
        (b"a:\t1\nb: 2\n\tc: 3\n", [f"{n}: expected printable text and spaces, got a tab" for n in ("1:3", "3:1")]),
        (b"a: \x1b[31m\n", ["1:4: expected printable text and spaces, got the character U+001B"]),
        (
            b"ok: 1\nna\xefve: 2\n",
            ["2:3: expected a YAML file in UTF-8, got the byte 0xef, which is not UTF-8 (save the file as UTF-8)"],
        ),
        (
            "a: 1\n".encode("utf-16"),
            ["1:1: expected a YAML file in UTF-8, got the byte 0xff, which is not UTF-8 (save the file as UTF-8)"],
        ),
        (
            b"a: 1\na: 2\nb: {c: 1, c: 2}\n",
            [
                "2:1: expected each key once, got 'a' again (first in line 1)",
                "3:11: expected each key once, got 'c' again (first in line 3)",
            ],
        ),
        (
            b"a: &x 1\nb: *x\n",
            [
                "1:4: expected a value written out, got the anchor &x",
                "2:4: expected a value written out, got the alias *x",
            ],
        ),
        (
            b"a: &x {b: 1}\nc: {<<: *x}\n",
            [
                "1:4: expected a value written out, got the anchor &x",
                "2:5: expected every key written out, got the merge key <<",
                "2:9: expected a value written out, got the alias *x",
            ],
        ),
        (
            b"a: !!python/object:os.system 1\n",
            ["1:4: expected a plain value, got the tag tag:yaml.org,2002:python/object:os.system"],
        ),
        (b"a: 1\n---\nb: 2\n", ["2:1: expected one document, got the start of another (---)"]),
        (b"? [a, b]\n: 1\n", ["1:3: expected a word as key, got a list of 2"]),
        (b"{? {a: 1} : 2}\n", ["1:4: expected a word as key, got a section with the keys a"]),
        (b'"\\ud800": 1\n', ['1:1: expected a key of printable characters on one line, got "\\ud800"']),
        (b'"a\\nb": 1\n', ['1:1: expected a key of printable characters on one line, got "a\\nb"']),
        (b"a: [1, 2\nb: 3\n", None),
        (b"a: b: c\n", None),
        (b"a: 'open\n", None),
        (b"a: 1\n b: 2\n", None),
        (b"@a: 1\n", None),
        (b"%YAML 9.9\n---\na: 1\n", None),
        (b"a: [" * 3000, None),
        (b"a: " + b"[" * 3000 + b"]" * 3000, ["1:20: expected at most 16 levels of nesting, got more"]),
        (b"- a\n" * 3 + b"-" * 70_000, None),
        (b'a: "\\ud800"\n', "accepted"),  # refused later, where a text is expected
    ],
)
def test_bad_files_give_a_line_each(tmp_path: Path, raw: bytes, expected: list[str] | str | None) -> None:
    path = tmp_path / "file.yaml"
    path.write_bytes(raw)
    if expected == "accepted":
        read_yaml(path)
    elif expected is None:  # the parser's own words, which differ between versions: only the form is ours
        (line,) = problems(path)
        assert " expected well-formed YAML, got: " in line or "levels of nesting" in line
    else:
        assert problems(path) == expected


def test_places_that_are_not_files(tmp_path: Path) -> None:
    assert problems(tmp_path) == ["1:1: expected a YAML file in UTF-8, got a folder"]
    assert "no such file" in problems(tmp_path / "missing.yaml")[0]
    (tmp_path / "file").write_text("a: 1\n")
    assert "Not a directory" in problems(tmp_path / "file" / "below.yaml")[0]
    os.mkfifo(tmp_path / "pipe")
    assert problems(tmp_path / "pipe") == [
        "1:1: expected a YAML file in UTF-8, got something that is not a regular file"
    ]
    (tmp_path / "circle").symlink_to(tmp_path / "circle")
    assert "error of the operating system" in problems(tmp_path / "circle")[0]
    with pytest.raises(FileProblem, match="NUL character"):
        read_yaml("a\0b")


def test_a_huge_file_is_refused_unparsed(tmp_path: Path) -> None:
    path = tmp_path / "huge.yaml"
    path.write_bytes(b"#" * (LARGEST_FILE_BYTES + 1))
    assert problems(path) == ["1:1: expected a YAML file in UTF-8, got more than 1000000 bytes"]


def test_a_name_with_a_line_break_stays_on_one_line(tmp_path: Path) -> None:
    with pytest.raises(FileProblem) as caught:
        read_yaml(tmp_path / "two\nlines.yaml")
    assert len(str(caught.value).splitlines()) == 1


def test_a_byte_order_mark_and_windows_line_ends_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "file.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: 1\r\nb: x\r\n")
    document = read_yaml(path)
    assert document.data == {"a": 1, "b": "x"}
    assert (document.root.children["b"].line, document.root.children["b"].column) == (2, 4)


scalars = st.one_of(st.integers(-(10**9), 10**9), st.booleans(), st.text("abc xyz µ°é", min_size=1, max_size=8))
trees = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text("abc", min_size=1), inner, max_size=3)
    ),
    max_leaves=10,
)


@given(st.dictionaries(st.text("defg", min_size=1), trees, min_size=1, max_size=4), st.booleans())
def test_what_the_library_writes_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, tree: object, flow: bool
) -> None:
    """An independent writer: PyYAML's own dumper."""

    def tuples(value: object) -> object:
        if isinstance(value, list):
            return tuple(tuples(each) for each in value)
        return {key: tuples(each) for key, each in value.items()} if isinstance(value, dict) else value

    path = tmp_path_factory.mktemp("yaml") / "file.yaml"

    class NoAliases(yaml.SafeDumper):
        def ignore_aliases(self, data: object) -> bool:
            return True

    dumped = yaml.dump(tree, Dumper=NoAliases, allow_unicode=True, default_flow_style=flow)
    path.write_text(dumped, "utf-8")
    assert read_yaml(path).data == tuples(tree)


@given(st.binary(max_size=60))
def test_any_bytes_give_a_document_or_a_problem(tmp_path_factory: pytest.TempPathFactory, raw: bytes) -> None:
    path = tmp_path_factory.mktemp("bytes") / "file.yaml"
    path.write_bytes(raw)
    found = []
    try:
        read_yaml(path)
    except FileProblem as problem:
        found = problem.problems
    assert all(each.line >= 1 and each.column >= 1 for each in found)
