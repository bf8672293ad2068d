"""The page of the study of rules: what the runs say, beside the rig's constants and what is to be reached."""

import math
import statistics
from collections.abc import Iterable
from typing import Any

from rules_cases import Case, files
from rules_runs import PAST_THE_ROUGH, BEFORE_mL, FINE_mL, ROUGH_mL, drift_limit_mV_per_s
from rules_scripted import READINGS_A_POINT, WORTH, BEHIND_mL

Told = dict[str, Any]
Done = dict[tuple[str, str, int], Told]
Bounds = dict[tuple[str, int], tuple[float, ...]]

MOST_READINGS = 20
"""A point's least bound is not reckoned for more readings than this."""
FEWEST_READINGS = 7


def rows_needed(case: Case, done: Done) -> list[int]:
    """The numbers of readings for which runs of a case want a least bound."""
    points = files(case).points
    counts = {told["points"] for (name, way, _), told in done.items() if name == case.name and way != "floor"}
    return sorted(n for n in counts if FEWEST_READINGS * points - points < n <= MOST_READINGS * points)


def rms(values: Iterable[float]) -> float:
    """Root mean square."""
    return math.sqrt(statistics.fmean(value * value for value in values))


def of_way(done: Done, way: str) -> list[Told]:
    """The runs of a way, in order of their seeds."""
    return [told for (_, its, _), told in sorted(done.items()) if its == way]


class Figures:
    """What the runs of one way say of a cell. Errors are of the runs with the right count of points, in µL."""

    def __init__(self, case: Case, told: list[Told], bounds: Bounds, floor_s: float) -> None:
        self.told, self.floor_s = told, floor_s
        self.sought = files(case).points
        self.right = [each for each in told if len(each["found"]) == self.sought]
        self._bounds = {count: each for (name, count), each in bounds.items() if name == case.name}

    @property
    def duration_s(self) -> float:
        """Median."""
        return statistics.median(each["duration_s"] for each in self.told)

    @property
    def wrong(self) -> int:
        """Runs with another count of points than sought."""
        return len(self.told) - len(self.right)

    def errors_uL(self, point: int) -> list[float]:
        """Equivalence volume minus the truth as the burette indicates it."""
        return [1000.0 * (each["found"][point][0] - each["true_mL"][point]) for each in self.right]

    def held(self, point: int) -> float:
        """Share of 95 % intervals that hold the truth."""
        return statistics.fmean(
            each["found"][point][2] <= each["true_mL"][point] <= each["found"][point][3] for each in self.right
        )

    def over_own(self, point: int) -> float:
        """The rms error over the Cramér-Rao bound of each run's own readings."""
        pairs = zip(self.errors_uL(point), self.right, strict=True)
        return rms(error / (1000.0 * each["bounds_mL"][point]) for error, each in pairs)

    def over_least(self, point: int) -> float | None:
        """The rms error over the least bound for each run's number of readings; None where most have too many."""
        pairs = [
            (error, self._bounds[each["points"]][point])
            for error, each in zip(self.errors_uL(point), self.right, strict=True)
            if each["points"] in self._bounds
        ]
        if len(pairs) < 0.9 * len(self.right):
            return None
        return rms(error / (1000.0 * bound) for error, bound in pairs)


HEAD = """| cell | way | runs | duration, s | over floor | additions | titrant, mL | point | rms, µL | bias, µL | worst, µL | held, % | wrong count, % | rms over own bound | rms over Bloc |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"""


def rows(case: Case, ways: list[str], done: Done, bounds: Bounds) -> list[str]:
    """The lines of a cell."""
    floors = of_way(done, "floor")
    floor_s = statistics.median(each["duration_s"] for each in floors) if floors else math.nan
    lines = []
    if floors:
        lines.append(f"| {case.name} | floor | {len(floors)} | {floor_s:.0f} | 1 |{' |' * 10}")
    for way in ways:
        told = of_way(done, way)
        if way == "floor" or not told:
            continue
        figures = Figures(case, told, bounds, floor_s)
        mark = "°" if any(each.get("older") for each in told) else ""
        head = (
            f"| {case.name} | {way}{mark} | {len(told)} | {figures.duration_s:.0f} | {figures.duration_s / floor_s:.2f} | "
            f"{statistics.median(each['additions'] for each in told):.0f} | "
            f"{statistics.median(each['titrant_mL'] for each in told):.1f} |"
        )
        lines += [f"{head} {_point(figures, point)} |" for point in range(figures.sought)]
    return lines


def _point(figures: Figures, point: int) -> str:
    wrong = f"{100.0 * figures.wrong / len(figures.told):.1f}"
    if not figures.right:
        return f"{point + 1} | – | – | – | – | {wrong} | – | –"
    errors = figures.errors_uL(point)
    least = figures.over_least(point)
    return (
        f"{point + 1} | {rms(errors):.2f} | {statistics.fmean(errors):+.2f} | {max(map(abs, errors)):.2f} | "
        f"{100.0 * figures.held(point):.1f} | {wrong} | {figures.over_own(point):.2f} | "
        f"{'–' if least is None else f'{least:.2f}'}"
    )


RULE = "foreseeing"
ROUGH, FIXED = "hand, rough then fine", "hand, 0.1 mL"
WORST_uL = 20.0


def reached(case: Case, done: Done, bounds: Bounds) -> str | None:
    """A line on what the rule foreseeing is to reach on this cell; None without its runs or the floor."""
    floors, told = of_way(done, "floor"), of_way(done, RULE)
    if not floors or not told:
        return None
    floor_s = statistics.median(each["duration_s"] for each in floors)
    rule = Figures(case, told, bounds, floor_s)
    hands = []
    first = case.stem == "iron_in_pickling_bath"
    for way, least in ((ROUGH, 3.5 if first else 2.5), (FIXED, 6.0 if first else 4.0)):
        runs = of_way(done, way)
        if not runs:
            hands.append("–")
            continue
        hand_s = statistics.median(each["duration_s"] for each in runs)
        # Where the floor itself leaves less, that.
        sought = least if first else min(least, hand_s / (case.allowed * floor_s))
        hands.append(_against(hand_s / rule.duration_s, sought, at_least=True))
    own, least_bound, held, rough, each_worst = [], [], [], [], []
    for point in range(rule.sought) if rule.right else ():
        own.append(_against(rule.over_own(point), 1.10))
        each = rule.over_least(point)
        least_bound.append("–" if each is None else _against(each, 1.2))
        share = 100.0 * rule.held(point)
        held.append(f"{share:.1f}{'' if 93.0 <= share <= 97.0 else ' **no**'}")
        fine = Figures(case, of_way(done, ROUGH), bounds, floor_s)
        if fine.right:
            rough.append(_against(rms(rule.errors_uL(point)), rms(fine.errors_uL(point))))
        each_worst.append(max(map(abs, rule.errors_uL(point))))
    cells = [
        _against(rule.duration_s / floor_s, case.allowed),
        "; ".join(own) or "–", "; ".join(least_bound) or "–", "; ".join(held) or "–",
        _against(max(each_worst), WORST_uL) if each_worst else "–",
        f"{rule.wrong}{'' if rule.wrong == 0 else ' **no**'}", *hands, "; ".join(rough) or "–",
    ]  # fmt: skip
    return f"| {case.name} | {len(told)} | {' | '.join(cells)} |"


def _against(value: float, sought: float, *, at_least: bool = False) -> str:
    good = value >= sought if at_least else value <= sought
    return f"{value:.2f} ({'≥' if at_least else '≤'} {sought:.2f}){'' if good else ' **no**'}"


REACHED_HEAD = """| cell | runs | over floor | rms over own bound | rms over Bloc | held, % (93 to 97) | worst, µL | wrong counts | times faster than rough then fine | than 0.1 mL | rms, µL, against rough then fine |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"""


def _of_cells(cases: list[Case]) -> str:
    """The keys of foreseeing that cells have besides, as a part of a sentence."""
    return "".join(
        f";\n  {case.name}: {', '.join(f'`{key}`' for key in case.foreseen)}" for case in cases if case.foreseen
    )


def constants(cases: list[Case]) -> str:
    """What is fixed: the rig, and noise and lags of each cell."""
    rig = files(cases[0]).rig
    burette, amplifier = rig.burette, rig.amplifier
    of_rig = (
        f"Rig: top speed {burette.top_speed_mL_per_min:g} mL/min, steps of {1000 * burette.step_mL:g} µL, random error "
        f"{1000 * burette.random_error_mL:g} µL about each position, calibration ±{100 * burette.calibration.half_width:g} %, "
        f"{amplifier.readings_per_second:g} readings a second in steps of {amplifier.step_mV:g} mV."
    )
    lines = [
        of_rig,
        "",
        "| cell | noise, mV | drift, mV/min | mixing, s | electrode, s | half of the slowing at G | drift limit by hand, mV/s | longest wait, s |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for case in cases:
        told = files(case)
        cell, electrode = told.cell, told.cell.electrode
        lines.append(
            f"| {case.name} | {told.noise_mV:g} | {60 * cell.drift_mV_per_s:g} | {cell.mixing_s:g} | "
            f"{electrode.response_s:g} to {electrode.response_s + electrode.slowing_s:g} | {electrode.slowing_half_at:g} | "
            f"{drift_limit_mV_per_s(told.method):.2g} | {told.method.reading.longest_wait_s:g} |"
        )
    return "\n".join(lines)


def page(
    cases: list[Case],
    ways: list[str],
    by_case: dict[str, Done],
    bounds: Bounds,
    *,
    runs: int,
    full: int,
    few: int | None = None,
    kept: bool = False,
) -> str:
    """The whole page, of seeds 1 to `runs` (of the slow ways `few`); `full`: how many the command makes untold.

    `kept`: it was interrupted.
    """
    body = [row for case in cases for row in rows(case, ways, by_case.get(case.name, {}), bounds)]
    targets = [line for case in cases if (line := reached(case, by_case.get(case.name, {}), bounds))]
    fewer = ("" if runs == full else f" --runs {runs}") + ("" if few is None else f" --few {few}")
    interrupted = "\nIt was interrupted: the column *runs* says how many seeds are there." if kept else ""
    missing = (
        ""
        if RULE in ways
        else f"\nThe rule {RULE} is left out: it was not asked for, or no method file may ask for it.\n"
    )
    older = "\n° Some of these runs were made with older sources.\n" if any("° |" in line for line in body) else ""
    table, lines = "\n".join(body), "\n".join(targets)
    goals = f"\n## What is to be reached by {RULE}\n\n{REACHED_HEAD}\n{lines}\n" if targets else ""
    return f"""# Rules of addition, hand practices, an oracle and the floor (simulated)

Made by `python benchmarks/rules.py{fewer}`: seeds from 1 on, stated before they were run, none exchanged.{interrupted} Every run draws
unknown, titrant, aliquot, potentials, slope and burette as a dry run does; without wire and files (see
[frameless.md](frameless.md)). The error is the equivalence volume minus the truth as the burette indicates it, of the runs with
the right count of points.

{constants(cases)}

## The ways

* **floor**: delivery of the (last) equivalence volume at top speed and six waits until the true remainder is below one
  standard deviation of the noise, at -40, -10, -3, +3, +10 and +20 % of the equivalence volume; each wait follows a delivery at
  top speed from the place before. Two points: the same around each, in order of volume, delivered once. Median.
* **fixed**: additions of 0.1 mL; **adaptive**, **foreseeing**: the rules of these names with the keys of the method files
  (`foreseeing` with its defaults and `finest: 0.004 mL`{_of_cells(cases)}).
  All three wait and are evaluated as the product does.
* **hand, 0.1 mL**; **hand, rough then fine**: both wait until the drift, its own error with it, is below the limit (1.4 times the noise
  over the response time of the method), or the longest wait is over; what a reading then lacked is not added. The second uses two
  samples that hold the same: {ROUGH_mL:g} mL steps until {PAST_THE_ROUGH} readings past the jump, evaluated; then one stretch to {BEFORE_mL:g} mL before the
  point found, and {FINE_mL:g} mL steps to {BEFORE_mL:g} mL beyond it (two points: each). Time, additions and titrant of both count; the second is evaluated.
* **oracle**: knows the cell of the seed. {READINGS_A_POINT} readings a point: -1600, -200, -25, {", ".join(f"+{1000 * each:g}" for each in BEHIND_mL)} µL, the others where they tell
  most; the wait ends when the true remainder is below 0.08 mV, or below what {WORTH:g} µL of titrant change; then ten readings are averaged.
* **rms over own bound**: over the Cramér-Rao bound of the run's own readings (V > 0), run by run: 1 µL for each position, the reading's
  standard deviation and that of what it lacked, the weak priors of the evaluation; the model's own error is not in it.
* **rms over Bloc**: over the least bound that as many readings can have, 4 µL apart at least, with 1 µL and 0.08 mV, if three are at -1600,
  -200 and -25 µL (the same volumes for every cell) because something must find the jump. Computed for each cell from its true curve.
  Two points: three before each, and the sum of the two variances is minimised. From {FEWEST_READINGS} to {MOST_READINGS} readings a point, else –.
* **held**: 95 % intervals that hold the truth. A share of 95 % found in 200 runs varies by 3.0 points, in 1,000 by 1.4 (95 %).

The last two cells, a tin bath with its brightener and a pickling bath with its inhibitor, hold what uses up to 0.05 % of the titrant between the
couples. No model knows of it, so their errors stand far above any bound.
{missing}
{HEAD}
{table}
{older}{goals}"""
