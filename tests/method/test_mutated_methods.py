"""Whatever is done to a good file, loading gives a Method or a FileProblem with a place inside the file."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from titrator.files import FileProblem
from titrator.method import Method, cautions_text, load_method

GOOD = (Path(__file__).parent / "good.yaml").read_text("utf-8")
LINES = GOOD.splitlines(keepends=True)
PIECES = (
    *("", " ", "\n", "  ", ":", "- ", "{", "}", "[", "]", ",", "#", "'", '"', "|", ">", "&a ", "*a", "<<: ", "? ", "!"),
    *("\t", "\0", "---\n", "null", "~", "no", "true", ".nan", ".inf", "-1", "0", "1e9", "010", "12:30", "0 mL", "1 s"),
    *("1e999 mL", "mL", "20 K", "-5 °C", "blank", "fixed", "none", "step: 1 mL\n", "format: 1\n", "\ud7ff", "µ"),
)
SNIPPETS = st.one_of(st.sampled_from(PIECES), st.text(max_size=5))


def outcome(path: Path, text: str) -> Method | FileProblem:
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        method = load_method(path)
    except FileProblem as problem:
        return problem
    assert cautions_text(method)
    return method


def check(path: Path, text: str) -> None:
    result = outcome(path, text)
    if isinstance(result, Method):
        return
    height = text.count("\n") + text.count("\r") + 1
    widest = max(map(len, text.splitlines()), default=0)
    lines = str(result).splitlines()
    assert len(lines) == len(result.problems)
    for problem in result.problems:
        assert 1 <= problem.line <= height + 1
        assert 1 <= problem.column <= widest + 2
        assert "expected" in problem.text
        assert ", got" in problem.text


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("mutated") / "method.yaml"


@settings(max_examples=150)
@given(st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 12), SNIPPETS), min_size=1, max_size=3))
def test_cutting_and_pasting(path: Path, edits: list[tuple[int, int, str]]) -> None:
    text = GOOD
    for at, length, snippet in edits:
        text = text[:at] + snippet + text[at + length :]
    check(path, text)


@settings(max_examples=100)
@given(st.integers(0, len(LINES) - 1), st.integers(0, len(LINES) - 1), st.booleans(), st.integers(0, 4))
def test_moving_copying_and_indenting_lines(path: Path, source: int, target: int, keep: bool, indent: int) -> None:
    lines = list(LINES)
    line = lines[source] if keep else lines.pop(source)
    lines.insert(target, " " * indent + line.lstrip() if indent else line)
    check(path, "".join(lines))


@settings(max_examples=150)
@given(st.sampled_from([n for n, line in enumerate(LINES) if ": " in line]), SNIPPETS)
def test_other_values(path: Path, number: int, snippet: str) -> None:
    key = LINES[number].split(": ")[0]
    check(path, "".join([*LINES[:number], f"{key}: {snippet}\n", *LINES[number + 1 :]]))


@given(st.integers(0, len(GOOD)))
def test_a_file_cut_anywhere(path: Path, length: int) -> None:
    check(path, GOOD[:length])
