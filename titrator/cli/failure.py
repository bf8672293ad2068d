"""How a command gives up: a text for standard error and an exit status."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from titrator.files import FileProblem, InputProblem, Problem

DONE, NOT_DONE, WRONG_INPUT, INTERRUPTED = 0, 1, 2, 130


class Failure(Exception):  # noqa: N818 - not an error of the program: its way to give up
    """Ends a command with `text` on standard error and exit status `status`.

    With --json `document` goes to standard output; where none is given, `{"problems": [...]}` with the text in it.
    """

    def __init__(self, text: str, status: int = WRONG_INPUT, document: dict[str, Any] | None = None) -> None:
        super().__init__(text)
        self.text = text
        self.status = status
        self.document = document if document is not None else {"problems": [_told(None, None, None, text)]}


@contextmanager
def input_errors() -> Iterator[None]:
    """Within this, wrong input ends the command with its message and status 2."""
    try:
        yield
    except InputProblem as error:
        raise Failure(str(error), document={"problems": problems_of(error)}) from error


def problems_of(error: InputProblem) -> list[dict[str, Any]]:
    """What is wrong, for JSON: file, line, column and text; the first three are null where it is not about a place."""
    problems: list[Problem] = error.problems if isinstance(error, FileProblem) else []
    told = [_told(str(each.path), each.line, each.column, each.text) for each in problems]
    return told or [_told(None, None, None, str(error))]


def _told(file: str | None, line: int | None, column: int | None, text: str) -> dict[str, Any]:
    return {"file": file, "line": line, "column": column, "text": text}
