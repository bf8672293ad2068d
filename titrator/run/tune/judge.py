"""One run against a simulated cell, judged by what the simulator knows to be true."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from titrator.bench.rig import Rig
from titrator.bench.simulated import open_recorded
from titrator.evaluate.curve import Curve
from titrator.method import Method
from titrator.run.course import rig_fields
from titrator.run.evaluation import evaluate_curve
from titrator.run.frameless import FramelessRun, titrate_frameless, titrate_on
from titrator.run.tune.recording import RecordedCell

FAR_OFF: Final = 0.01
"""A point further from the truth than this share of its volume is another point than the one that is sought."""


class Judged(NamedTuple):
    """A run of a setting: `run` counts the cells and seeds from 0. Times of the titration, not of the computer.

    `errors_uL`: volume found less the true one, as the burette indicates, for each point in order; `held`: how many of
    their 95 % intervals hold the truth. Empty and 0 where the run `failed`, which says how.
    """

    setting: int
    run: int
    duration_s: float
    additions: int
    errors_uL: tuple[float, ...]
    held: int
    failed: str

    def to_json(self) -> dict[str, Any]:
        """Return the fields by name."""
        return {**self._asdict(), "errors_uL": list(self.errors_uL)}

    @classmethod
    def of_json(cls, told: dict[str, Any]) -> Judged:
        """Return what `to_json` told. KeyError or TypeError where it is something else."""
        fields = {name: told[name] for name in cls._fields}
        return cls(**{**fields, "errors_uL": tuple(map(float, fields["errors_uL"]))})


def judged(which: tuple[int, int], method: Method, rig: Rig, cell: Path, seed: int) -> Judged:
    """Run a method once on a simulated cell and judge it; `which` are the numbers of setting and run."""
    done = titrate_frameless(method, rig, cell, seed)
    return judge(which, method, rig, done, done.truth["equivalence_points_mL"])


def judged_on_record(which: tuple[int, int], method: Method, cell: RecordedCell, seed: int) -> Judged:
    """Run a method once on a recorded curve and judge it by the points that were found in the record."""
    done = titrate_on(open_recorded(cell.rig, cell.curve, seed), method, cell.rig)
    return judge(which, method, cell.rig, done, cell.true_mL)


def judge(which: tuple[int, int], method: Method, rig: Rig, done: FramelessRun, true_mL: Sequence[float]) -> Judged:
    """Judge a run that is over by the true volumes of its points, as the burette indicates them."""
    evaluation, _, _ = evaluate_curve(method, Curve.from_points(done.points), rig_fields(rig)["burette"])
    by_extrapolation = method.find.by == "extrapolation"
    found = [
        (each.volume_mL, each.interval_95_mL)
        for each in (evaluation.estimates if by_extrapolation else evaluation.equivalence_points)
    ]
    true_mL = true_mL[: method.find.equivalence_points]
    failed = _failed(done, [volume_mL for volume_mL, _ in found], true_mL)
    pairs = [] if failed else list(zip(found, true_mL, strict=True))
    # Rounded: what processors differ by in the last digits must not lead a search elsewhere.
    return Judged(
        setting=which[0],
        run=which[1],
        duration_s=done.duration_s,
        additions=done.additions,
        errors_uL=tuple(round(1000.0 * (volume_mL - true), 4) for (volume_mL, _), true in pairs),
        held=sum(low <= true <= high for (_, (low, high)), true in pairs),
        failed=failed,
    )


def _failed(done: FramelessRun, found_mL: Sequence[float], true_mL: Sequence[float]) -> str:
    """Say what makes a run useless; empty where nothing does."""
    if done.state.value != "finished":
        return f"{done.state.value}: {done.ending.sentence}"
    if len(found_mL) != len(true_mL):
        return f"{len(found_mL)} of {len(true_mL)} points found"
    for number, (found, true) in enumerate(zip(found_mL, true_mL, strict=True), start=1):
        if abs(found - true) > FAR_OFF * true:
            return f"point {number} found {1000.0 * (found - true):+.0f} µL off"
    return ""
