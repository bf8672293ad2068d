"""What is wrong with a file, and where: one unwrapped line for each problem."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")


def one_line(text: str) -> str:
    """Return the text with every line break and control character written as an escape, so that it stays one line."""
    return _CONTROL.sub(lambda found: found.group().encode("unicode_escape", "surrogatepass").decode("ascii"), text)


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing that is wrong in a file. Line and column count from 1, columns in characters."""

    line: int
    column: int
    text: str
    path: Path

    def __str__(self) -> str:
        """Return `FILE:LINE:COLUMN: what was expected, what came`."""
        return one_line(f"{self.path}:{self.line}:{self.column}: {self.text}")


class InputProblem(Exception):  # noqa: N818 - it reads as what it is: a problem of the input, not of the program
    """Something that the user gave is wrong. The text says what was expected, what came, where, and what to do."""


class FileProblem(InputProblem):
    """A file that cannot be taken. `problems` holds everything found, in order of line; `str()` gives a line each."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        """Sort the problems by line and column and drop repetitions; at least one is needed."""
        self.problems: list[Problem] = sorted(set(problems))
        assert self.problems, "a FileProblem without a problem"
        super().__init__("\n".join(str(problem) for problem in self.problems))
