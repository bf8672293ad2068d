"""A series of replicates for the terminal: each run, the mean, its scatter, what stands out, blanks and recovery."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from titrator.report.budget_table import decimals_of, show_budgets, significant
from titrator.report.closing import result_text
from titrator.report.printed import print_table


def show_series(console: Console, document: dict[str, Any]) -> None:
    """Print the document of a series; plain text when `console` is not a terminal."""
    simulated = " (simulated)" if document["simulated"] else ""
    console.print(Text(f"{document['name']}{simulated}", style="bold"))
    for result in document["results"]:
        _show_result(console, result)
    if document["blank"]:
        console.print(Text(f"Blank: {document['blank']}"), soft_wrap=not console.is_terminal)
    if document["recovery"]:
        console.print(Text(f"Control sample: {document['recovery']['sentence']}"), soft_wrap=not console.is_terminal)
    show_budgets(console, [result["mean"] for result in document["results"]])
    for warning in document["warnings"]:
        console.print(Text(f"Warning: {warning}", style="yellow"), soft_wrap=not console.is_terminal)
    for run in (*document["runs"], *document["blanks"]):
        for warning in run["warnings"]:
            told = Text(f"Warning, {run['run']}: {warning}", style="yellow")
            console.print(told, soft_wrap=not console.is_terminal)


def _show_result(console: Console, result: dict[str, Any]) -> None:
    unit = result["unit"]
    digits = decimals_of(min(each["u"] for each in result["replicates"]))
    table = Table(show_header=False, box=None, padding=(0, 2, 0, 0))
    table.add_column(style="bold", no_wrap=True)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(overflow="fold")
    for each in result["replicates"]:
        note = f"u {each['u']:.{digits}f}" + (f"; left out: {each['excluded']}" if each["excluded"] else "")
        table.add_row(each["run"], Text(f"{each['value']:.{digits}f} {unit}"), Text(note))
    console.print(Text(result["name"], style="bold"))
    print_table(console, table)
    for text in _figures(result):
        console.print(Text(text), soft_wrap=not console.is_terminal)


def _figures(result: dict[str, Any]) -> list[str]:
    n, unit = result["n"], result["unit"]
    if result["sd"] is None:
        return [f"one run counts: {result_text(result['mean'])}", "no standard deviation of one run"]
    relative = abs(result["sd"] / result["mean"]["value"])
    scatter = (
        f"standard deviation {significant(result['sd'])} {unit} ({100.0 * relative:.2f} %, {result['dof']} degrees of "
        f"freedom); two runs differ by {significant(result['repeatability_limit'])} {unit} at most in 95 of 100 cases"
    )
    return [
        f"mean of {n}: {result_text(result['mean'])}",
        scatter,
        *(result["flags"] or _unflagged(result)),
    ]


def _unflagged(result: dict[str, Any]) -> list[str]:
    names = [test["name"] for test in result["tests"]]
    return [f"no replicate stands out ({', '.join(names)})"] if names else []
