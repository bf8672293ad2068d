"""What the commands share: consoles, cautions, and JSON on standard output."""

from __future__ import annotations

import codecs
import io
import shutil
import sys
import textwrap
from typing import TYPE_CHECKING, Any

import click

from titrator.record.json_text import json_text

if TYPE_CHECKING:
    from rich.console import Console

_LEAST_TEXT = 10


def console(*, to_stderr: bool = False) -> Console:
    """A console that writes plain lines, and never cuts them, when it is not a terminal. Honours NO_COLOR."""
    from rich.console import Console

    stream = (sys.stderr if to_stderr else sys.stdout) or io.StringIO()  # closed by whoever started us
    width = None if stream.isatty() else 400
    return Console(file=stream, highlight=False, width=width, soft_wrap=not stream.isatty())


def print_json(document: dict[str, Any]) -> None:
    """One JSON document on standard output: in UTF-8, or with escapes where that is not its encoding."""
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    click.echo(json_text(document, ascii_only=codecs.lookup(encoding).name != "utf-8"))


def show_cautions(lines: list[str], *, to_stderr: bool) -> None:
    """Show the cautions of a method; every start does. On a terminal no word is broken and long lines are indented."""
    stream = (sys.stderr if to_stderr else sys.stdout) or io.StringIO()
    width = shutil.get_terminal_size().columns if stream.isatty() else 0
    for line in lines:
        indent = " " * (2 + len(line) - len(line.lstrip()))
        whole = width <= len(indent) + _LEAST_TEXT or len(line) <= width
        click.echo(line if whole else textwrap.fill(line, width, subsequent_indent=indent), err=to_stderr)
    click.echo(err=to_stderr)
