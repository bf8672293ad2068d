"""Rules on recorded curves: the document, and the table that is made from it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from titrator.report.printed import print_table
from titrator.run.tune.replay import Replay, Replayed


def replay_document(replay: Replay, told: Sequence[Replayed]) -> dict[str, Any]:
    """Everything that was found; the paths of the recorded runs stand under `run`."""
    return {"seed": replay.seed, "runs_each": replay.each, "replayed": [_recording(each) for each in told]}


def _recording(each: Replayed) -> dict[str, Any]:
    recording, run = each.recording, each.recording.run
    return {
        "run": str(recording.folder),
        "name": run.method.name,
        "simulated_record": run.simulated,
        "curve": "fitted model" if recording.fitted else "readings",
        "refills_left_out": recording.refills,
        "equivalence_points_mL": list(recording.cell.true_mL),
        "recorded": {
            "rule": run.method.additions.rule,
            "duration_s": round(run.duration_s, 1),
            "additions": run.additions,
        },
        "rules": [
            {
                "rule": candidate.rule,
                "own": candidate.own,
                "given": candidate.given,
                "values": dict(candidate.values),
                "figures": figures.to_json(),
            }
            for candidate, figures in zip(each.candidates, each.figures, strict=True)
        ],
    }


def show_replay(console: Console, document: dict[str, Any]) -> None:
    """Print a table for each recorded run; plain text when `console` is not a terminal."""
    for each in document["replayed"]:
        _show(console, each, document["runs_each"])


def _show(console: Console, each: dict[str, Any], runs: int) -> None:
    record = "a rehearsal" if each["simulated_record"] else "a bench"
    lead = f"{each['name']}: rules on the curve recorded in {each['run']} ({record}), {runs} simulated runs each"
    console.print(Text(lead, style="bold"), soft_wrap=not console.is_terminal)
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("rule", no_wrap=True)
    for name in ("duration", "additions", "rms error", "bias"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    recorded = each["recorded"]
    table.add_row("recorded", f"{recorded['duration_s']:.0f} s", str(recorded["additions"]), "", "", recorded["rule"])
    for one in each["rules"]:
        table.add_row(*_row(one))
    print_table(console, table)
    points = " and ".join(f"{volume:.4f} mL" for volume in each["equivalence_points_mL"])
    curve = "the fitted model" if each["curve"] == "fitted model" else "the readings, joined without a dip"
    lead = f"Errors are against the points of the record, {points}; the curve is {curve}"
    said = [f"{lead}, the lags and noise are those that the method states."]
    if each["refills_left_out"]:
        said.append("Refills are left out: a recorded duration holds theirs.")
    failed = [one for one in each["rules"] if one["figures"]["failures"]]
    said += [
        f"{one['rule']}: {len(one['figures']['failures'])} of {runs} runs failed ({one['figures']['failures'][0]})."
        for one in failed
    ]
    for text in said:
        console.print(Text(text), soft_wrap=not console.is_terminal)


def _row(one: dict[str, Any]) -> list[str]:
    told = one["figures"]
    error = "–" if told["rms_error_uL"] is None else f"{told['rms_error_uL']:.2f} ± {told['u_rms_error_uL']:.2f} µL"
    bias = "–" if told["bias_uL"] is None else f"{told['bias_uL']:+.2f} µL"
    values = ", ".join(f"{key} {value}" for key, value in one["values"].items())
    whose = "as given: " if one["given"] else "as recorded: " if one["own"] else ""
    return [one["rule"], f"{told['duration_s']:.0f} s", f"{told['additions']:.1f}", error, bias, f"{whose}{values}"]
