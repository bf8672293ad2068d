"""How a command gives up: a text for standard error and an exit status."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from titrator.files import FileProblem

DONE, NOT_DONE, WRONG_INPUT, INTERRUPTED = 0, 1, 2, 130


class Failure(Exception):
    """Ends a command with `text` on standard error and exit status `status`."""

    def __init__(self, text: str, status: int = WRONG_INPUT) -> None:
        super().__init__(text)
        self.text = text
        self.status = status


@contextmanager
def input_errors() -> Iterator[None]:
    """Within this, a problem of a file or a folder ends the command with status 2, one of the bench with status 1."""
    from titrator.bench.errors import BenchError
    from titrator.record.journal import JournalError
    from titrator.record.journal_reader import JournalDamagedError
    from titrator.record.run_folder import RunFolderError
    from titrator.run.plan import PlanError

    try:
        yield
    except (FileProblem, RunFolderError, JournalDamagedError, PlanError) as error:
        raise Failure(str(error)) from error
    except (BenchError, JournalError) as error:
        raise Failure(str(error), NOT_DONE) from error
