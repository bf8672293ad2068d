"""How far something has come: a bar on a terminal, a line for each tenth elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click


@contextmanager
def progress(total: int, *, to_stderr: bool, noun: str = "dry runs") -> Iterator[Callable[[int], None]]:
    """Within this, call what is given with how many more are done."""
    from titrator.cli.output import console

    out = console(to_stderr=to_stderr)
    done = 0
    if out.is_terminal and not out.is_dumb_terminal:
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn(noun), BarColumn(), MofNCompleteColumn(), TextColumn("left"), TimeRemainingColumn())
        with Progress(*columns, console=out, redirect_stdout=False, redirect_stderr=False, transient=True) as bar:
            task = bar.add_task(noun, total=total)
            yield lambda more: bar.advance(task, more)
        return

    def tell(more: int) -> None:
        nonlocal done
        before, done = done, done + more
        if 10 * done // total > 10 * before // total:
            click.echo(f"{done} of {total} {noun}", err=to_stderr)

    yield tell
