"""The trade-off of a sweep: its document, and the table that is made from it."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from titrator.report.printed import print_table
from titrator.run.tune.choice import MEANS
from titrator.run.tune.sweep import Swept


def sweep_document(swept: Swept, ensemble: str) -> dict[str, Any]:
    """Everything that a sweep found; no times or paths of this machine. Settings in the order in which they came."""
    plan, budget, choice = swept.plan, swept.plan.budget, swept.choice
    front = [each.setting for each in swept.front]
    return {
        "name": plan.draft.method.name,
        "simulated": True,
        "seed": plan.seed,
        "runs": budget.total,
        "searched": {"settings": budget.settings, "runs_each": budget.runs, "first_seed": plan.seed},
        "confirmed": {
            "settings": budget.finalists,
            "runs_each": budget.confirming,
            "first_seed": plan.seed + budget.runs,
        },
        "cells": ensemble,
        "rules": list(plan.rules),
        "refused": swept.refused,
        "preference": {"name": plan.prefer, "means": MEANS[plan.prefer]},
        "settings": [
            {
                "setting": number,
                "own": number == 0,
                "rule": setting.rule,
                "values": dict(setting.values),
                "searched": swept.searched[number].to_json(),
                "confirmed": swept.confirmed[number].to_json() if number in swept.confirmed else None,
                "unbeaten": number in front,
                "picked": choice is not None and number == choice.setting,
            }
            for number, setting in sorted(swept.settings.items())
        ],
        "picked": None if choice is None else choice.setting,
    }


def show_trade_off(console: Console, document: dict[str, Any]) -> None:
    """Print the confirmed settings, from the fastest on; plain text when `console` is not a terminal."""
    confirmed = [each for each in document["settings"] if each["confirmed"] is not None]
    confirmed.sort(key=lambda each: (each["confirmed"]["duration_s"], each["setting"]))
    said = document["confirmed"]
    lead = (
        f"{document['name']}: duration against error (simulated), {said['runs_each']} runs each on seeds that the "
        f"search did not see"
    )
    console.print(Text(lead, style="bold"), soft_wrap=not console.is_terminal)
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    for name in ("", "setting", "rule"):
        table.add_column(name, no_wrap=True)
    for name in ("duration", "additions", "rms error", "95 % held"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for each in confirmed:
        table.add_row(*_row(each), style="bold" if each["picked"] else None)
    print_table(console, table)
    for text in _words(document):
        console.print(Text(text), soft_wrap=not console.is_terminal)


def _row(each: dict[str, Any]) -> list[str]:
    told = each["confirmed"]
    failed = len(told["failures"])
    error = "–" if told["rms_error_uL"] is None else f"{told['rms_error_uL']:.2f} ± {told['u_rms_error_uL']:.2f} µL"
    held = "–" if told["intervals_that_hold"] is None else f"{100 * told['intervals_that_hold']:.0f} %"
    note = f"{failed} failed" if failed else "unbeaten" if each["unbeaten"] else "beaten"
    name = "as it stands" if each["own"] else str(each["setting"])
    mark = "→" if each["picked"] else ""
    duration = f"{told['duration_s']:.0f} s"
    return [mark, name, each["rule"], duration, f"{told['additions']:.1f}", error, held, note]


def _words(document: dict[str, Any]) -> list[str]:
    """What was picked, in words, and the first failures of settings that fell out by them."""
    said = [f"Cells: {document['cells']}."]
    out = [each for each in document["settings"] if each["searched"]["failures"]]
    if out:
        first = out[0]["searched"]["failures"][0]
        said.append(
            f"{len(out)} of {len(document['settings'])} settings had a run that failed (setting {out[0]['setting']}, "
            f"{first}) and cannot be picked."
        )
    preference = document["preference"]
    said.append(f"Preference {preference['name']}: {preference['means']}.")
    picked = next((each for each in document["settings"] if each["picked"]), None)
    if picked is None:
        said.append("Nothing can be picked: every setting that was confirmed had a run that failed.")
        return said
    own = document["settings"][0]["confirmed"]
    told = picked["confirmed"]
    if picked["own"]:
        said.append("Picked: the method as it stands.")
        return said
    values = ", ".join(f"{way.split('.')[1]} {value}" for way, value in picked["values"].items())
    said.append(f"Picked: setting {picked['setting']}, rule {picked['rule']}: {values}.")
    if own is not None and own["rms_error_uL"] is not None:
        said.append(
            f"Against the method as it stands: {told['duration_s'] / own['duration_s']:.2f} times its duration, "
            f"{told['rms_error_uL'] / own['rms_error_uL']:.2f} times its rms error."
        )
    return said
