"""How a command gives up: a text for standard error and an exit status."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from titrator.files import InputProblem

DONE, NOT_DONE, WRONG_INPUT, INTERRUPTED = 0, 1, 2, 130


class Failure(Exception):  # noqa: N818 - not an error of the program: its way to give up
    """Ends a command with `text` on standard error and exit status `status`."""

    def __init__(self, text: str, status: int = WRONG_INPUT) -> None:
        super().__init__(text)
        self.text = text
        self.status = status


@contextmanager
def input_errors() -> Iterator[None]:
    """Within this, wrong input ends the command with its message and status 2."""
    try:
        yield
    except InputProblem as error:
        raise Failure(str(error)) from error
