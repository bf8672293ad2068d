"""What a run of the demonstration makes of each fault (simulated): is it noticed, and how wrong is the result?

Remake the table in docs/faults.md:  python benchmarks/faults.py   (some minutes on one core)
The seeds are 1 to 10, stated before they were run; none is left out or exchanged. Every fault has its default size.
"""

import argparse
import datetime
import statistics
import tempfile
from pathlib import Path
from typing import NamedTuple

from titrator.bench.rig import load_rig
from titrator.bench.simulated import list_faults
from titrator.method import load_method
from titrator.run.evaluation import evaluate_run
from titrator.run.rehearsal import Setup, rehearse

CONFIGS = Path(__file__).parents[1] / "configs"
METHOD = CONFIGS / "methods" / "iron_in_pickling_bath.yaml"
RIG = CONFIGS / "rigs" / "simulated.yaml"
CELL = CONFIGS / "cells" / "iron_in_pickling_bath.yaml"
NOW = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)
WHEN = ("0 s", "8 mL")
PAGE = CONFIGS.parent / "docs" / "faults.md"
BEGIN, END = "<!-- the table begins -->", "<!-- the table ends -->"


class Ended(NamedTuple):
    """What a run ended with, as far as a user sees it; and what only the simulator knows."""

    state: str
    warnings: tuple[str, ...]
    volume_mL: float | None
    U_mL: float | None
    truth_mL: float

    @property
    def error_percent(self) -> float | None:
        """Of the equivalence volume against the truth as the sound burette indicates it."""
        return None if self.volume_mL is None else 100 * (self.volume_mL / self.truth_mL - 1)


def run(seed: int, faults: tuple[str, ...]) -> Ended:
    method, rig = load_method(METHOD), load_rig(RIG)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    with tempfile.TemporaryDirectory() as runs:
        done = rehearse(Setup(method, METHOD, rig, RIG, CELL, seed, faults), Path(runs), NOW)
        evaluated = evaluate_run(done.folder)
    points = evaluated.evaluation.equivalence_points
    low, high = points[0].interval_95_mL if points else (None, None)
    return Ended(
        evaluated.state,
        tuple(evaluated.warnings),
        points[0].volume_mL if points else None,
        (high - low) / 2 if points else None,
        done.truth["equivalence_points_mL"][0],
    )


def noticed(ended: Ended, sound: Ended) -> str | None:
    """How a user sees that something is wrong: not finished, no point, or a warning that the sound run has not."""
    if ended.state != "finished":
        return "does not finish"
    if ended.volume_mL is None:
        return "no point"
    return "warned" if set(ended.warnings) - set(sound.warnings) else None


def row(name: str, when: str, sound: dict[int, Ended]) -> str:
    ends = {seed: run(seed, (f"{name}@{when}",)) for seed in sound}
    seen = [noticed(end, sound[seed]) for seed, end in ends.items()]
    shifts = [
        100 * (end.volume_mL / sound[seed].volume_mL - 1)
        for seed, end in ends.items()
        if end.state == "finished" and end.volume_mL is not None
    ]
    wrong = [
        seed
        for (seed, end), told in zip(ends.items(), seen, strict=True)
        if told is None and abs(end.volume_mL - end.truth_mL) > 3 * end.U_mL
    ]
    counts = [sum(each == way for each in seen) for way in ("does not finish", "no point", "warned", None)]
    figures = f"{statistics.median(shifts):+.2f} % | {max(shifts, key=abs):+.2f} %" if shifts else "– | –"
    return f"| `{name}` | {when} | {' | '.join(map(str, counts))} | {figures} | {len(wrong)} |"


def table(last: int) -> list[str]:
    """The table for seeds 1 to `last`, with what its columns mean."""
    sound = {seed: run(seed, ()) for seed in range(1, last + 1)}
    errors = [end.error_percent for end in sound.values()]
    finished, warned = (sum(map(test, sound.values())) for test in (_finished, _warned))
    lines = f"""Made by `python benchmarks/faults.py`: the demonstration with seeds 1 to {last}, stated before they were run, none
exchanged; every fault in its default size, from the first reading and from 8 mL on (the point lies between 12 and
22 mL). *Shift* is the equivalence volume against that of the same run without the fault, in per cent of it, over the
runs that finished and found a point. A fault is noticed where the run does not finish, finds no point, or warns of
something that the run without it does not warn of. *Wrong* counts the unnoticed runs whose point lies further from the
truth than three times what its 95 % interval reaches (of the volume: the burette's calibration has no part in it).

Without a fault: {finished} of {last} finished, {warned} with a warning, errors from {min(errors):+.3f} to {max(errors):+.3f} %.

| fault | from | does not finish | no point | warned | unnoticed | shift, median | shift, largest | wrong |
| --- | --- | --- | --- | --- | --- | --- | --- | --- |""".splitlines()
    return [*lines, *(row(fault["name"], when, sound) for fault in list_faults() for when in WHEN)]


def _finished(end: Ended) -> bool:
    return end.state == "finished"


def _warned(end: Ended) -> bool:
    return bool(end.warnings)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--last", type=int, default=10, help="Seeds 1 to this one.")
    parser.add_argument("--page", type=Path, default=PAGE, help="The page whose table is remade.")
    options = parser.parse_args()
    before, begin, rest = options.page.read_text(encoding="utf-8").partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        parser.error(f"expected {BEGIN} and {END} in {options.page}, around the table")
    text = "\n".join([before + begin, *table(options.last), end + after])
    options.page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
