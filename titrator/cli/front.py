"""The front of a watched run: signals, the desk, the keyboard and the view, joined to one attendance."""

from __future__ import annotations

import datetime
import os
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Self

import click

from titrator.cli.keyboard import Keyboard
from titrator.cli.output import console
from titrator.record.run_folder import RunFolder, run_number
from titrator.report.live_view import LiveView
from titrator.report.plain_view import PlainView
from titrator.run.attendance import Attendance
from titrator.run.desk import Desk
from titrator.run.interruption import Interruption
from titrator.run.standing import Reply, Said, Standing

_DRAWN_EVERY_S = 0.2
_NAP_S = 0.2


class Front:
    """Use as a context; `attendance()` is what the run is given."""

    def __init__(
        self, interruption: Interruption, limit_mL: float, runs: Path, *, to_stderr: bool, pace: float | None = None
    ) -> None:
        """`limit_mL`: the most that the method allows. `pace`: rehearsed seconds per second; None on a bench."""
        self._interruption = interruption
        self._limit_mL = limit_mL
        self._runs = runs
        self._to_stderr = to_stderr
        self._pace = pace
        self._keyboard = Keyboard()
        self._view: LiveView | PlainView | None = None
        self._desk: Desk | None = None
        self._standing: Standing | None = None
        self._began_s = time.monotonic()
        self._drawn: tuple[float, object] = (0.0, None)
        self._pending: Said | Reply | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        if self._view is not None:
            self._view.close()
        if self._desk is not None:
            self._desk.close()

    def attendance(self) -> Attendance:
        """The seams of the run, all of them to here."""
        keep_pace = {} if self._pace is None else {"keep_pace": self._keep_pace}
        return Attendance(
            begun=self._begun, word=self._word, watch=self._watch, observe=self._observe, nap=self._nap, **keep_pace
        )

    def _begun(self, folder: RunFolder) -> None:
        self._began_s = time.monotonic()
        run = named(folder, self._runs)
        desk = Desk(folder.path)
        try:
            desk.open()
        except OSError as error:
            click.echo(
                f"{folder.path}: expected to open the desk there, got: {error}. The run goes on; hold, continue and "
                "answer cannot reach it, Ctrl-C or SIGTERM stops it",
                err=True,
            )
        else:
            self._desk = desk
        out = console(to_stderr=self._to_stderr)
        if out.is_terminal and not out.is_dumb_terminal:
            clock = None if self._pace is not None else _now
            self._view = LiveView(out, self._limit_mL, run, clock)
        else:
            self._view = PlainView(sys.stderr if self._to_stderr else sys.stdout, run)

    def _watch(self, standing: Standing) -> None:
        self._standing = standing
        if self._desk is not None:
            self._desk.stand(standing)
        now_s = time.monotonic()
        what = (standing.state, standing.question)
        if self._view is not None and (what != self._drawn[1] or now_s - self._drawn[0] >= _DRAWN_EVERY_S):
            self._drawn = (now_s, what)
            self._view.show(standing)

    def _observe(self, *news: object) -> None:
        if self._view is not None:
            self._view.observe(*news)  # type: ignore[arg-type]  # handed on as they came

    def _word(self) -> Said | Reply | None:
        said, self._pending = self._pending, None
        if said is None:
            said = self._interruption.word()
        if said is None and self._standing is not None:
            said = self._keyboard.reply(self._standing.question)
        if said is None and self._desk is not None:
            said = self._desk.word()
        return said

    def _nap(self, seconds: float) -> None:
        if self._desk is not None:
            self._desk.nap(seconds)
        else:
            time.sleep(seconds)

    def _keep_pace(self, board_s: float) -> None:
        """Sleep as long as the rehearsal is ahead, unless there is a word to it."""
        assert self._pace is not None
        while self._pending is None:
            ahead_s = board_s / self._pace - (time.monotonic() - self._began_s)
            if ahead_s <= 0.0:
                return
            self._nap(min(ahead_s, _NAP_S))
            self._pending = self._word()


def named(folder: RunFolder, runs: Path) -> str:
    """How the commands name a run: by its number where they look for it, else by its path."""
    number = run_number(folder.path)
    if runs == Path("runs") and number is not None:
        return str(number)
    return os.path.relpath(folder.path)


def _now() -> datetime.datetime:
    return datetime.datetime.now().astimezone()
