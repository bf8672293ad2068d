"""The closing table of a run, for the terminal: the result first, then how it came about."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from titrator.report.budget_table import decimals_of, show_budgets
from titrator.report.printed import print_table

NARROW = 60
"""Columns below which a column of labels would leave too little room for what they tell."""


def show_closing(console: Console, document: dict[str, Any]) -> None:
    """Print the closing table of a run's (or a CSV's) document; plain text when `console` is not a terminal."""
    table = Table(show_header=False, box=None, padding=(0, 2, 0, 0))
    if console.width < NARROW:  # what a label tells stands below it, indented, instead of in a column of its own
        for label, text in _rows(document):
            table.add_row(Text(label, style="bold"))
            table.add_row(Padding(text, (0, 0, 0, 2)))
    else:
        table.add_column(style="bold", no_wrap=True)
        table.add_column(overflow="fold")
        for label, text in _rows(document):
            table.add_row(label, text)
    print_table(console, table)
    show_budgets(console, document["results"])
    for warning in document["warnings"]:
        console.print(Text(f"Warning: {warning}", style="yellow"), soft_wrap=not console.is_terminal)
    for label, key in (("To look at", "diagnostics"), ("Note", "inflections")):
        for each in document.get(key, []):
            console.print(Text(f"{label}: {each['sentence']}"), soft_wrap=not console.is_terminal)


def _rows(document: dict[str, Any]) -> list[tuple[str, Text]]:
    rows: list[tuple[str, Text]] = []
    rows.extend((result["name"], Text(result_text(result))) for result in document["results"])
    points = document["equivalence_points"]
    several = len(points) > 1
    rows.extend(
        (f"equivalence point {number}" if several else "equivalence point", Text(_point(point)))
        for number, point in enumerate(points, start=1)
    )
    if document.get("blank"):
        rows.append(("blank", Text(document["blank"]["sentence"])))
    elif not document["equivalence_points"]:
        rows.append(("equivalence point", Text("none found")))
    if document.get("recovery"):
        rows.append(("control sample", Text(document["recovery"]["sentence"])))
    rows.extend(("estimate only", Text(_point(point))) for point in document["estimates"])
    rows.extend(
        (f"by {way['way']}, point {way['point']}" if several else f"by {way['way']}", Text(_way(way)))
        for way in document["by_method"]
    )
    rows.extend(_truth_rows(document))
    rows.extend(_run_rows(document))
    return rows


def result_text(result: dict[str, Any]) -> str:
    """A result in words: value ± U, u, k, the 95 % interval, and where the last is from if not from k u."""
    value, expanded, digits = result["value"], result["U"], decimals_of(result["U"])
    low, high = result["interval_95"]
    drawn = result["monte_carlo"]
    source = (
        f", by {drawn['trials']} Monte Carlo trials, seed {drawn['seed']}"
        if drawn is not None and result["interval_from"] == "Monte Carlo"
        else ""
    )
    estimate = "; from an estimate, not from a jump" if result["from_estimate"] else ""
    told = f"95 % interval {low:.{digits}f} to {high:.{digits}f}{source}{estimate}"
    return (
        f"{value:.{digits}f} ± {expanded:.{digits}f} {result['unit']} (k = {result['k']:.2f}, u "
        f"{result['u']:.{decimals_of(result['u'])}f}; {told})"
    )


def _point(point: dict[str, Any]) -> str:
    low, high = point["interval_95_mL"]
    digits = max(3, decimals_of(point["u_random_mL"]))
    potential = f" at {point['potential_mV']:.0f} mV" if point.get("potential_mV") is not None else ""
    burette = f", u with the burette's calibration {point['u_mL']:.4f} mL" if point.get("u_mL") is not None else ""
    return (
        f"{point['volume_mL']:.{digits}f} mL (95 % interval {low:.{digits}f} to {high:.{digits}f}){potential}, "
        f"by {point['found_by']}{burette}"
    )


def _way(way: dict[str, Any]) -> str:
    if way.get("volume_mL") is None:
        return f"not estimated: {way['reason']}"
    digits = max(3, decimals_of(way["u_random_mL"])) if way.get("u_random_mL") else 3
    return f"{way['volume_mL']:.{digits}f} mL, u {way['u_random_mL']:.{digits}f} mL"


def _truth_rows(document: dict[str, Any]) -> list[tuple[str, Text]]:
    truth = document.get("truth")
    if not truth:
        return []
    volumes = ", ".join(f"{volume_mL:.4f} mL" for volume_mL in truth["equivalence_points_mL"])
    values = ", ".join(f"{entry['value']:.5g} {entry['unit']}" for entry in truth["results"])
    several = "s" * (len(truth["equivalence_points_mL"]) > 1)
    where = f"equivalence point{several} {volumes} as this burette indicates it" if volumes else "no equivalence point"
    rows = [("truth (simulated)", Text("; ".join(part for part in (where, values) if part)))]
    return [*rows, *(("went wrong (simulated)", Text(_fault(fault))) for fault in truth["faults"])]


def _fault(fault: dict[str, Any]) -> str:
    size = "" if fault["size"] is None else f" of {fault['size']:g} {fault['unit']}"
    if fault["struck_s"] is None:
        due = f"{fault['due_s']:g} s" if fault["due_mL"] is None else f"{fault['due_mL']:g} mL"
        return f"nothing: {fault['name']}{size} was due at {due}, and the run ended before"
    return f"{fault['name']}{size} from {fault['struck_mL']:.3f} mL on, at {fault['struck_s']:.1f} s"


def _run_rows(document: dict[str, Any]) -> list[tuple[str, Text]]:
    if document["state"] is None:
        return []
    minutes = document["duration_s"] / 60.0
    simulated = " (simulated)" if document["simulated"] else ""
    if document["seed"] is not None:
        simulated = f" of simulated time, seed {document['seed']}"
    ended = f"{document['state']}: {document['ended_because']}"
    passing = document["readings_in_passing"]
    beside = f" (and {passing} reading{'s' * (passing > 1)} while titrant ran in, not evaluated)" if passing else ""
    work = (
        f"{document['additions']} additions, {document['points']} points{beside}, {document['delivered_mL']:.3f} mL in "
        f"{minutes:.1f} min{simulated}"
    )
    return [("ended", Text(ended)), ("work", Text(work))]
