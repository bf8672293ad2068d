"""Tables on a terminal or in a file."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table


def print_table(console: Console, table: Table) -> None:
    """Print a table; a table pads its last column, and a file should not hold that."""
    if console.is_terminal:
        console.print(table)
        return
    with console.capture() as captured:
        console.print(table)
    for line in captured.get().splitlines():
        console.out(line.rstrip())
