"""What rule and settling were told in simulated runs, and what they decided, in the words of firmware_rule/replay.c."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch

from rules_cases import Case, files

from titrator.control import controller
from titrator.control.foresight.law import Kind, Law
from titrator.control.increments.base import Step
from titrator.control.passing import PassingReadings
from titrator.control.plan import Plan
from titrator.control.point import Passing, Point
from titrator.control.rules import increment_rule
from titrator.control.settling import Enough, Settled, SettlingDetector, SettlingSettings
from titrator.run.frameless import titrate_frameless

SOURCE = Path(__file__).parents[1] / "firmware_rule"
KINDS = (Kind.BOUND, Kind.FREE, Kind.COUPLE, Kind.EXCESS)
"""In the order of `enum kind`."""


class Decision(NamedTuple):
    """What was chosen while `here_mL` had been delivered. `error_mV` 0: only a settled reading serves."""

    here_mL: float
    addition_mL: float
    error_mV: float
    mixing_times: float
    alike: bool
    passing: bool


class Settlement(NamedTuple):
    """What the detector was told, and what it logged, if anything."""

    words: list[str]
    logged: Settled | None


class Leg(NamedTuple):
    """What was read while titrant ran in, and what came of it."""

    words: list[str]
    read: Passing | None


class Recording(NamedTuple):
    """One run: words and decisions of its rule, words and readings of its settlements and legs; its burette's step, the
    smallest additions of its rule near a jump and far from it."""

    rule_words: list[str]
    decisions: list[Decision]
    settling_words: str
    settlements: list[Settlement]
    legs: list[Leg]
    step_mL: float
    finest_mL: float
    least_mL: float


def line(word: str, *numbers: float) -> str:
    """A line of words for replay.c."""
    return " ".join([word, *(f"{float(each):.12g}" for each in numbers)])


class RecordedRule:
    """An increment rule that writes down what it is told and what it decides."""

    def __init__(self, plan: Plan) -> None:
        self._rule = increment_rule(plan)
        self._here_mL = 0.0
        self.words = [plan_words(plan)]
        self.decisions: list[Decision] = []

    def __getattr__(self, name: str) -> object:
        return getattr(self._rule, name)

    def add_point(self, point: Point) -> None:
        self._here_mL = point.volume_mL
        lacking = (point.lacking_mV, point.lacking_sd_mV)
        self.words.append(line("point", point.volume_mL, point.potential_mV, point.sd_mV, *lacking))
        self._rule.add_point(point)

    def add_passing(self, passing: Passing) -> None:
        self._here_mL = passing.reached_mL
        self.words.append(line("passing", passing.volume_mL, passing.potential_mV, passing.sd_mV, passing.reached_mL))
        self._rule.add_passing(passing)

    def next_step(self) -> Step:
        step = self._rule.next_step()
        enough = step.enough or Enough(0.0)
        self.decisions.append(Decision(self._here_mL, step.addition_mL, *enough, step.passing))
        self.words.append("step")
        return step


class RecordedDetector(SettlingDetector):
    """A settling detector that writes down what it is told and what it logs."""

    def __init__(self, settings: SettlingSettings) -> None:
        super().__init__(settings)
        self.settlements: list[Settlement] = []

    def begin(self, t_s: float, enough: Enough | None = None) -> None:
        super().begin(t_s, enough)
        self.settlements.append(Settlement([line("begin", *(enough or Enough(0.0)))], None))

    def add(self, t_s: float, potential_mV: float) -> Settled | None:
        self.settlements[-1].words.append(line("reading", t_s - self._begin_t, potential_mV))
        logged = super().add(t_s, potential_mV)
        if logged is not None:
            self.settlements[-1] = self.settlements[-1]._replace(logged=logged)
        return logged


class RecordedPassing(PassingReadings):
    """Readings in passing that are written down, with what came of them."""

    def __init__(self) -> None:
        super().__init__()
        self.legs: list[Leg] = []
        self._words = ["leg"]
        self._first_s: float | None = None

    def begin(self) -> None:
        super().begin()
        self._words, self._first_s = ["leg"], None

    def add(self, t_s: float, potential_mV: float) -> None:
        super().add(t_s, potential_mV)
        self._first_s = t_s if self._first_s is None else self._first_s
        self._words.append(line("passes", t_s - self._first_s, potential_mV))

    def read(self, end_s: float, volume_mL: float, speed_mL_per_s: float) -> Passing | None:
        read = super().read(end_s, volume_mL, speed_mL_per_s)
        if self._first_s is not None:
            asked = line("passed", end_s - self._first_s, volume_mL, speed_mL_per_s)
            self.legs.append(Leg([*self._words, asked], read))
        return read


def plan_words(plan: Plan) -> str:
    """A plan in the words of replay.c."""
    settings, foresight = plan.additions, plan.foresight
    fallback, law, before = settings.fallback, foresight.law, foresight.before
    numbers = [fallback.aim_mV, fallback.first_mL, fallback.least_mL, fallback.most_mL, fallback.growth]
    numbers += [settings.near, settings.patience, settings.far_mV, settings.finest_mL, plan.motion.random_error_mL]
    numbers += [1.0 if foresight.rising else -1.0, foresight.sought, *foresight.costs]
    numbers += [law.vessel_mL, law.amounts, len(law.branches)]
    for each in law.branches:
        numbers += [KINDS.index(each.kind), each.place_mV, each.place_sd_mV, each.slope_mV, each.step, each.share]
        numbers.append(each.own_slope_sd)
    for amount_mL, ln_sd in zip(before.amounts_mL, before.ln_sd, strict=True):
        numbers += [amount_mL, ln_sd]
    numbers += [before.shift_sd_mV, before.slope_sd, before.lag_s, before.lag_ln_sd]
    numbers += [before.volume_sd_mL, before.along_mV]
    if (carried := law.carried) is None:
        return line("plan", *numbers, 0)
    numbers += [len(carried.places_mV), *carried.places_mV, carried.slope_mV, carried.share_sd, carried.idle]
    return line("plan", *numbers)


def settling_words(settings: SettlingSettings) -> str:
    """Settings of the detector in the words of replay.c."""
    return line(
        "settling",
        *(settings.reading_noise_mV, settings.resolution_mV, settings.least_variance_mV2, settings.response_s),
        *(settings.mixing_s, settings.least_wait_s, settings.longest_s, settings.drift_limit_mV_per_s or 0.0),
    )


def misled(plan: Plan) -> Plan:
    """The same with another law of the curve, its branches two thirds steeper: the rule has to hand over."""
    foresight = plan.foresight
    branches = tuple(replace(each, slope_mV=0.6 * each.slope_mV) for each in foresight.law.branches)
    law = Law(branches, foresight.law.vessel_mL, foresight.law.carried)
    return replace(plan, foresight=replace(foresight, law=law))


def record(case: Case, seed: int, change: Callable[[Plan], Plan] = lambda plan: plan) -> Recording:
    """One run without a wire, by the rule `foreseeing`; `change`: of what the rule is told."""
    case_files = files(case, "foreseeing")
    with (
        patch.object(controller, "increment_rule", lambda plan: RecordedRule(change(plan))),
        patch.object(controller, "SettlingDetector", RecordedDetector),
        patch.object(controller, "PassingReadings", RecordedPassing),
        patch.object(controller.Controller, "__init__", _remembered(made := [])),
    ):
        titrate_frameless(case_files.method, case_files.rig, case_files.cell_path, seed)
    (run,) = made
    rule, detector, legs = run._rule, run._detector, run._passing.legs
    settings = run.plan.additions
    return Recording(
        rule.words,
        rule.decisions,
        settling_words(detector.settings),
        detector.settlements,
        legs,
        case_files.rig.burette.step_mL,
        settings.finest_mL,
        settings.fallback.least_mL,
    )


def _remembered(made: list[controller.Controller]):
    begin = controller.Controller.__init__

    def remember(self: controller.Controller, plan: Plan) -> None:
        begin(self, plan)
        made.append(self)

    return remember
