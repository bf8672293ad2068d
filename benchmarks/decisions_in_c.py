"""Do the rule `foreseeing` and the settling detector decide the same in 32 bits? Simulated runs, replayed through C.

Remake the table:  python benchmarks/decisions_in_c.py > benchmarks/decisions_in_c.md   (needs gcc; a minute on one core)
The seeds are 1, 2, 3, … of each cell, stated before they were run, until it has its share of the decisions. The C is told
what the Python was told and nothing else: it keeps its own state from the first point of a run to its last, and from the
first reading of a settlement to its last, so each decision is compared with all that rounding did before it.
"""

import argparse
import math
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from recorded_for_c import SOURCE, Leg, Recording, Settlement, misled, record
from rules_cases import CASES, Case

from titrator.control.increments.foreseeing import COARSE
from titrator.control.plan import Plan
from titrator.control.settling import Settled

# What a microcontroller's compiler would complain about: any silent 64-bit arithmetic, any silent narrowing.
FLAGS = (
    *("-std=c99", "-pedantic", "-O2", "-Wall", "-Wextra", "-Werror", "-Wshadow", "-Wconversion"),
    *("-Wdouble-promotion", "-Wfloat-conversion", "-Wunsuffixed-float-constants", "-Wvla"),
)
REPLAYED = CASES
"""Every cell of the study of rules."""
MISLED = CASES[0]
"""Told another law of the curve there, the rule has to hand over."""
DECISIONS = 1000


def compiled(folder: Path) -> Path:
    """The replaying program, compiled into `folder`. FileNotFoundError without gcc, CalledProcessError where it
    complains."""
    program = folder / "replay"
    sources = sorted(str(path) for path in SOURCE.glob("*.c"))
    subprocess.run(["gcc", *FLAGS, *sources, "-lm", "-o", str(program)], check=True)  # noqa: S603, S607 - our own sources
    return program


def replayed(program: Path, words: list[str]) -> list[list[str]]:
    """What the program answers, line by line."""
    told = "\n".join(words)
    done = subprocess.run([program], input=told, capture_output=True, text=True, check=True)  # noqa: S603 - our own program
    return [line.split() for line in done.stdout.splitlines()]


class Decided(NamedTuple):
    """One decision of the Python and of the C: by how many of the burette's steps the plunger would come to rest
    elsewhere, by how many of the smallest additions that apply there; whether the same reading serves; whether
    `adaptive` decided."""

    steps: int
    smallest: float
    same_reading: bool
    handed_over: bool


class Logged(NamedTuple):
    """One settlement, or leg read in passing: whether it was logged at the same reading (took the same readings); by how
    many of its standard deviations its value at the end (average) differs."""

    same_reading: bool
    times: float


def decided(program: Path, recording: Recording) -> list[Decided]:
    """Every decision of a run."""
    out = []
    answers = replayed(program, recording.rule_words)
    for decision, answer in zip(recording.decisions, answers, strict=True):
        addition_mL, error_mV, mixing_times, alike, passing, handed_over, *_ = map(float, answer)
        targets = [round((decision.here_mL + each) / recording.step_mL) for each in (addition_mL, decision.addition_mL)]
        same = (
            (bool(alike), bool(passing)) == (decision.alike, decision.passing)
            and abs(error_mV - decision.error_mV) <= 0.01 * decision.error_mV
            and abs(mixing_times - decision.mixing_times) <= 0.01 * max(1.0, decision.mixing_times)
        )
        far = decision.addition_mL > COARSE * recording.least_mL
        # To a thousandth: in 32 bits a volume has no more digits.
        smallest = round((addition_mL - decision.addition_mL) / (recording.least_mL if far else recording.finest_mL), 3)
        out.append(Decided(targets[0] - targets[1], smallest, same, bool(handed_over)))
    return out


def logged(program: Path, settling_words: str, settlements: list[Settlement]) -> list[Logged]:
    """Every settlement of a titration."""
    words = [settling_words, *(word for each in settlements for word in each.words)]
    found: list[list[float]] = []
    for answer in replayed(program, words):
        if answer == ["begin"]:
            found.append([])
        else:
            found[-1] = [float(each) for each in answer]
    return [_logged(each.logged, answer) for each, answer in zip(settlements, found, strict=True)]


def _logged(expected: Settled | None, found: list[float]) -> Logged:
    if expected is None or not found:
        return Logged((expected is None) == (not found), 0.0)
    potential_mV, _, lacking_mV, *_, readings, settled = found
    away_mV = potential_mV + lacking_mV - expected.potential_mV - expected.lacking_mV
    sd_mV = math.hypot(expected.sd_mV, expected.lacking_sd_mV)
    return Logged((readings, settled) == (expected.readings, expected.settled), abs(away_mV) / sd_mV)


def passed(program: Path, legs: list[Leg]) -> list[Logged]:
    """Every leg that was read in passing, or had too few readings for that."""
    answers = replayed(program, [word for each in legs for word in each.words])
    out = []
    for leg, answer in zip(legs, answers, strict=True):
        if leg.read is None or answer == ["none"]:
            out.append(Logged((leg.read is None) == (answer == ["none"]), 0.0))
        else:
            _, potential_mV, _, readings = map(float, answer)
            same = readings == leg.read.readings
            out.append(Logged(same, abs(potential_mV - leg.read.potential_mV) / leg.read.sd_mV))
    return out


class Row(NamedTuple):
    """A cell's line of the table."""

    name: str
    decided: list[Decided]
    logged: list[Logged]
    passed: list[Logged]

    def cells(self) -> str:
        """Its cells."""
        count = len(self.decided)
        same = sum(each.steps == 0 for each in self.decided)
        reading = sum(each.same_reading for each in self.decided)
        most = max(abs(each.smallest) for each in self.decided)
        handed_over = sum(each.handed_over for each in self.decided)
        return (
            f"| {self.name} | {count} | {handed_over} | {same} ({100.0 * same / count:.1f} %) | {most:g} | {reading} "
            f"| {_cells(self.logged)} | {_cells(self.passed)} |"
        )


def _cells(values: list[Logged]) -> str:
    same = [each.times for each in values if each.same_reading]
    return f"{len(same)} of {len(values)} | {max(same, default=0.0):.1g}"


def study_case(program: Path, case: Case, decisions: int, change: Callable[[Plan], Plan] = lambda plan: plan) -> Row:
    """Runs of seeds 1, 2, 3, … until there are as many decisions; `change`: of what the rule is told."""
    row = Row("", [], [], [])
    seed = 0
    while len(row.decided) < decisions:
        seed += 1
        recording = record(case, seed, change)
        row.decided.extend(decided(program, recording))
        row.logged.extend(logged(program, recording.settling_words, recording.settlements))
        row.passed.extend(passed(program, recording.legs))
    return row._replace(name=f"{case.name}, seeds 1 to {seed}")


ENTRIES = (("rule_add_point", "rule_add_passing", "rule_next_step"), ("settling_add", "settling_expire"))


def deepest_bytes(folder: Path) -> tuple[int, ...]:
    """Stack that a decision and a reading take at most, by the compiler's account of each function and who calls whom,
    without the library's functions."""
    sources = [str(path) for path in sorted(SOURCE.glob("*.c")) if path.name != "replay.c"]
    command = ["gcc", *FLAGS, "-fcallgraph-info=su", "-c", *sources]
    subprocess.run(command, cwd=folder, check=True)  # noqa: S603 - our own sources
    text = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.ci"))
    frames = {name: int(size) for name, size in re.findall(r'node: \{ title: "([^"]+)"[^}]*?\\n(\d+) bytes', text)}
    calls = re.findall(r'edge: \{ sourcename: "([^"]+)" targetname: "([^"]+)"', text)

    def depth(name: str) -> int:
        return frames.get(name, 0) + max((depth(callee) for caller, callee in calls if caller == name), default=0)

    return tuple(max(map(depth, names)) for names in ENTRIES)


SIZES = {
    "state": "**all that is kept: rule and settling together**",
    "rule_state": "the rule: 24 points, 12 readings in passing, unknowns, the last 3 points for `adaptive`, flags",
    "settling_state": "settling: one of the next two at a time, and the settlement before",
    "settlement": "while a reading is waited for: 24 blocks, the block under way, gates, where the next look starts",
    "passing_readings": "while titrant runs in: the last second of up to 32 readings a second",
    "plan": "what the rule is told before the run, constant",
    "settling_settings": "what the detector is told, constant",
    "estimate": "scratch of a decision: unknowns, priors, the triangle that stands for the covariance",
    "design": "scratch of a decision: the same triangle once the branch behind is known",
    "blocks": "scratch of a reading: the blocks from the newest one's potential",
}


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--decisions", type=int, default=DECISIONS, metavar="N", help="about N in all")
    decisions = parser.parse_args(argv).decisions
    if decisions < 1:
        parser.error(f"expected at least one decision, got {decisions}")
    share = math.ceil(decisions / (1 + len(REPLAYED)))
    with tempfile.TemporaryDirectory() as folder:
        program = compiled(Path(folder))
        rows = [study_case(program, case, share) for case in REPLAYED]
        other = study_case(program, MISLED, share, misled)
        rows.append(other._replace(name=f"the first one, the rule misled: {other.name.rpartition(', ')[2]}"))
        sizes = {name: int(size) for name, size in replayed(program, ["sizes"])}
        of_decision, of_reading = deepest_bytes(Path(folder))
    whole = Row("**all**", *([each for row in rows for each in row[k]] for k in range(1, 4)))
    print("""# Rule and settling in 32 bits (simulated)

Made by `python benchmarks/decisions_in_c.py`: runs without a wire by the rule `foreseeing`, recorded with the Python's 64 bits,
replayed through `firmware_rule`, compiled by gcc with 32-bit floats, on this computer. The C is told plan, points and readings and
nothing else, and keeps its own state from a run's first point to its last.

- Same step: the plunger comes to rest on the same step of the burette (0.625 µL). Largest difference: in smallest additions, those
  that apply (`finest`, 0.004 mL; from 0.2 mL on `least`, 0.02 mL).
- Same kind of reading: passing by or not, an electrode that answers alike or not, error and mixing times that serve within 1 %.
- Handed over: decided by `adaptive`. Misled: told a law whose branches are two thirds steeper than those of the curve.
- Settlements: waits for a potential logged at the very same reading; legs: read in passing from the same readings (a reading a
  second before the leg's end may count or not). By how many of its own standard deviations what came of those differs at most.

| cell | decisions | handed over | same step | largest difference | same kind of reading | settlements | differ by | legs | differ by |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |""")
    for row in (*rows, whole):
        print(row.cells())
    print("\n| structure | bytes | what |\n| --- | --- | --- |")
    for name, what in SIZES.items():
        print(f"| `{name}` | {sizes[name]} | {what} |")
    print(f"| stack of a decision | {of_decision} | at most, scratch included, the mathematical library not; x86-64 |")
    print(f"| stack of a reading | {of_reading} | the same |")
    same = sum(each.steps == 0 for each in whole.decided) >= 0.99 * len(whole.decided)
    return 0 if same and max(abs(each.smallest) for each in whole.decided) <= 1.0 else 1


if __name__ == "__main__":
    sys.exit(main())
