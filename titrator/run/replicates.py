"""A series: runs of one method evaluated together, with blanks, the mean, its scatter, and a control's recovery."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from titrator.evaluate.blanks import blank_of, blank_sentence
from titrator.evaluate.budget import budget
from titrator.evaluate.propagation import coverage_factor
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.recovery import Recovery
from titrator.evaluate.results import Result
from titrator.evaluate.series import Replicate, Series
from titrator.evaluate.told_interval import told_interval
from titrator.files import InputProblem
from titrator.method import Method
from titrator.run.evaluation import EvaluatedRun, recovery_of, results_of

_FREE: Final = {"name", "rehearsal", "cautions", "additions", "reading", "ends_when"}
"""Sections in which replicates may differ: how a point was found, not what it means."""


class SeriesProblem(InputProblem):
    """Runs that are no series; the message says why."""


@dataclass(frozen=True, slots=True)
class LabelledRun:
    """A run under the label of the series, and why it is left out, if it is."""

    label: str
    run: EvaluatedRun
    excluded: str | None = None


@dataclass(frozen=True, slots=True)
class ResultSeries:
    """One result of a series: its replicates, and their mean (of one replicate: that one)."""

    name: str
    series: Series
    mean: Result

    def to_json(self) -> dict[str, Any]:
        """Return the series under the keys that `--json` promises."""
        series = self.series
        return {
            "name": self.name,
            "unit": series.unit,
            "replicates": [
                {
                    "run": each.label,
                    "value": each.value,
                    "u": 0.0 if each.model is None else budget(each.model).u,
                    "excluded": each.excluded,
                }
                for each in series.replicates
            ],
            "n": len(series.used),
            "sd": series.sd,
            "dof": series.dof,
            "repeatability_limit": series.repeatability_limit,
            "mean": self.mean.to_json(),
            "tests": [
                {
                    "name": test.name,
                    "statistic": test.statistic,
                    "critical": test.critical,
                    "flagged": test.flagged,
                    "suspects": [series.used[place].label for place in test.suspects],
                }
                for test in series.tests()
            ],
            "flags": list(series.flags()),
        }


@dataclass(frozen=True, slots=True)
class EvaluatedSeries:
    """Everything found in a series of runs."""

    method: Method
    runs: tuple[LabelledRun, ...]
    blanks: tuple[LabelledRun, ...]
    blank_sentence: str | None
    results: tuple[ResultSeries, ...]
    recovery: Recovery | None
    warnings: tuple[str, ...]


def evaluate_series(labelled: Sequence[LabelledRun]) -> EvaluatedSeries:
    """Return the series of runs that are evaluated already. Raises SeriesProblem where they do not belong together."""
    blanks = tuple(each for each in labelled if each.run.method.sample.kind == "blank")
    runs = tuple(each for each in labelled if each not in blanks)
    if not runs:
        raise SeriesProblem("expected a run of a sample in a series, got blanks only: evaluate each for itself")
    _refuse_a_mixture(runs, blanks)
    method = runs[0].run.method
    blank, said, warnings = _blank(method, [each for each in blanks if each.excluded is None])
    found = {each.label: _results(each, blank) for each in runs}
    without = [each for each in runs if not found[each.label]]
    warnings += [f"{each.label}: no result, it does not count in the series" for each in without]
    counted = [each for each in runs if found[each.label]]
    if not [each for each in counted if each.excluded is None]:
        raise SeriesProblem("expected a run with a result that is not excluded, got none")
    kinds = [(each.name, each.unit) for each in found[counted[0].label]]
    every = {kind: _series(kind, counted, found) for kind in kinds}
    told = [each for (_, unit), each in every.items() if unit == method.result.unit]
    warnings += [each.mean.warning for each in told if each.mean.warning is not None]
    molar = every.get((method.result.name, "mol/L"))
    recovery = None if molar is None or molar.mean.model is None else recovery_of(method, molar.mean.model)
    return EvaluatedSeries(method, runs, blanks, said, tuple(told), recovery, tuple(warnings))


def _meaning(method: Method) -> dict[str, Any]:
    """Return what replicates have in common: all that a result is computed from, but the mass of each portion."""
    told = method.model_dump(exclude=_FREE)
    told["sample"].pop("mass", None)
    return told


def _refuse_a_mixture(runs: Sequence[LabelledRun], blanks: Sequence[LabelledRun]) -> None:
    first = runs[0]
    for each in runs[1:]:
        wanted, came = _meaning(first.run.method), _meaning(each.run.method)
        other = [section for section in wanted if wanted[section] != came[section]]
        if other:
            raise SeriesProblem(
                f"expected runs of one method and sample in a series, got another {' and '.join(other)} in "
                f"{each.label} ({each.run.method.name}) than in {first.label} ({first.run.method.name}): evaluate them "
                "apart"
            )
    for each in blanks:
        wanted, came = first.run.method.model_dump(), each.run.method.model_dump()
        other = [section for section in ("reaction", "titrant") if wanted[section] != came[section]]
        if other:
            raise SeriesProblem(
                f"expected a blank with the reaction and titrant of the sample, got another {' and '.join(other)} in "
                f"{each.label}: evaluate it apart"
            )
    for each in (*runs[1:], *blanks):
        if each.run.burette != first.run.burette:
            raise SeriesProblem(
                f"expected one burette in a series, got another in {each.label} than in {first.label}: evaluate "
                "them apart"
            )


def _blank(method: Method, blanks: Sequence[LabelledRun]) -> tuple[Quantity | None, str | None, list[str]]:
    """Return the blank to take off (None: none is), what is said of it, and warnings."""
    silent = [f"{each.label}: {warning}" for each in blanks if each.run.blank is None for warning in each.run.warnings]
    told = [each.run.blank for each in blanks if each.run.blank is not None]
    if not told:
        return None, None, silent
    below = [each.below_mL for each in told if each.below_mL is not None]
    if len(below) == len(told):
        said = (
            f"no blank shows a jump: they take less than {max(below):g} mL; nothing is taken off (state sample.blank "
            "in the method to count what that leaves open)"
        )
        return None, said, silent
    if below:
        left_out = "some blanks show a jump and some do not: nothing is taken off; find out why before they count"
        return None, None, [*silent, left_out]
    blank = told[0].volume if len(told) == 1 else blank_of([each.volume.value for each in told])
    if method.sample.blank is not None:
        silent.append("the blank of the runs is taken off in place of sample.blank of the method")
    return blank, f"{blank_sentence(blank, coverage_factor(blank.dof))}; it is taken off", silent


def _results(each: LabelledRun, blank: Quantity | None) -> list[Result]:
    """Return a run's results with the sources named as a series needs them; none unless every step has one."""
    run, method = each.run, each.run.method
    found, _ = results_of(method, run.evaluation, run.burette, label=each.label, blank_mL=blank)
    steps = method.result.names[: method.find.equivalence_points]
    return found if {result.name for result in found} == set(steps) else []


def _series(kind: tuple[str, str], counted: Sequence[LabelledRun], found: dict[str, list[Result]]) -> ResultSeries:
    """Return the series of one result in one unit."""
    name, unit = kind
    replicates = []
    for each in counted:
        result = next(one for one in found[each.label] if (one.name, one.unit) == kind)
        replicates.append(Replicate(each.label, result.value, result.model, each.excluded))
    series = Series(tuple(replicates), unit)
    model = series.mean_model() if series.sd is None else series.mean_with_scatter()
    estimated = any(one.from_estimate for one in found[counted[0].label])
    return ResultSeries(name, series, Result.of(name, model, told_interval(model), from_estimate=estimated))
