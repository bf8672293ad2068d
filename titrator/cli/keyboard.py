"""Answers typed at the terminal while a run goes on, read without waiting."""

from __future__ import annotations

import os
import select
import sys

import click

from titrator.control.holds import Question
from titrator.run.person import login_name
from titrator.run.standing import Reply


class Keyboard:
    """Reads yes or no for an open question from standard input, as long as that is a terminal in our hands."""

    def __init__(self) -> None:
        self._open = sys.stdin is not None and not sys.stdin.closed and sys.stdin.isatty()
        self._typed = b""
        self._asked: int | None = None

    @property
    def is_there(self) -> bool:
        """Whether anybody can type an answer."""
        return self._open

    def reply(self, question: Question | None) -> Reply | None:
        """The answer to `question` once a line was typed; None before, and without a question."""
        if question is None or not self._open:
            return None
        if question.number != self._asked:
            self._asked = question.number
            while self._read():  # what was typed before the question was put answers nothing
                self._typed = b""
        if not self._read() or b"\n" not in self._typed:
            return None
        line, self._typed = self._typed.split(b"\n", 1)
        word = line.decode(errors="replace").strip().lower()
        if word not in ("yes", "no"):
            click.echo(f"expected yes or no, got {word!r}", err=True)
            return None
        return Reply(question.number, word == "yes", login_name(), "terminal")

    def _read(self) -> bool:
        """Take what was typed, if anything. In the background of a shell nothing is ours to read."""
        try:
            number = sys.stdin.fileno()
            if os.tcgetpgrp(number) != os.getpgrp() or not select.select([number], [], [], 0.0)[0]:
                return False
            data = os.read(number, 1024)
        except (OSError, ValueError):
            data = b""
        self._typed += data
        self._open = bool(data)
        return self._open
