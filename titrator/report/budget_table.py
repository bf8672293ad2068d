"""The budget of a result as a table for the terminal: where its uncertainty is from, the largest source first."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from titrator.report.printed import print_table

NARROW = 76
"""Columns below which source, u and share are all that is shown."""
LEAST_SHARE = 0.0005
"""Share of u² below which a source is only named; what it is stands in the document."""
_COLUMNS = ("source", "value", "u", "sensitivity", "share", "dof")


def show_budgets(console: Console, results: list[dict[str, Any]]) -> None:
    """Print the budget of each result in the first one's unit; those in other units have the same shares."""
    for result in results:
        if result["unit"] == results[0]["unit"] and result["budget"]:
            console.print()
            _show(console, result)


def _show(console: Console, result: dict[str, Any]) -> None:
    wide = console.width >= NARROW
    chosen = _COLUMNS if wide else ("source", "u", "share")
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
    for column in chosen:
        table.add_column(column, justify="left" if column == "source" else "right", no_wrap=column != "source")
    lines = sorted(result["budget"], key=lambda line: -line["share"])
    for line in lines:
        if line["share"] >= LEAST_SHARE:
            told = _told(line)
            table.add_row(*(Text(told[column]) for column in chosen))
    console.print(
        Text(f"Uncertainty of {result['name']}, {result['unit']} (u {significant(result['u'])})", style="bold")
    )
    print_table(console, table)
    small = [line["name"] for line in lines if line["u"] > 0.0 and line["share"] < LEAST_SHARE]
    exact = [line["name"] for line in lines if line["u"] == 0.0]
    for what, names in (("below 0.05 % each", small), ("taken as exact", exact)):
        if names:
            console.print(Text(f"{what}: {', '.join(names)}"), soft_wrap=not console.is_terminal)


def _told(line: dict[str, Any]) -> dict[str, str]:
    unit = "" if line["unit"] == "1" else f" {line['unit']}"
    digits = decimals_of(line["u"])
    return {
        "source": line["name"],
        "value": f"{line['value']:.{digits}f}{unit}",
        "u": f"{significant(line['u'])}{unit}",
        "sensitivity": f"{line['sensitivity']:.3g}",
        "share": f"{100.0 * line['share']:.1f} %",
        "dof": "∞" if line["dof"] is None else f"{line['dof']:.0f}",
    }


def significant(uncertainty: float) -> str:
    """An uncertainty to two significant figures."""
    return f"{uncertainty:.{decimals_of(uncertainty)}f}"


def decimals_of(uncertainty: float) -> int:
    """Decimals that show `uncertainty` to two significant figures, as the GUM advises (JCGM 100:2008, 7.2.6)."""
    if not uncertainty > 0.0:
        return 3
    decimals = 0
    while uncertainty * 10.0**decimals < 9.95 and decimals < 9:
        decimals += 1
    return decimals
