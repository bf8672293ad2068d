"""Evaluating a recorded run: journal and method in, a document of results out. The truth file is never opened."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from titrator.control.point import Passing, Point
from titrator.control.states import State
from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.evaluation import Evaluation
from titrator.evaluate.measurement import Model, Part
from titrator.evaluate.recovery import Recovery, recovery
from titrator.evaluate.results import Result, results
from titrator.files import InputProblem
from titrator.method import Method, load_method
from titrator.record.journal_reader import JournalContents, JournalDamagedError, read_journal
from titrator.record.run_folder import RunFolder, sha256
from titrator.run.blank_run import Blank, blank_of_run
from titrator.run.chain import result_inputs, stated_source
from titrator.run.counted import count_warnings, jumps_counted
from titrator.run.expectations import expectation_of
from titrator.run.strength import strengths

BROKEN_OFF: Final = "the record breaks off here"
"""Why a run ended whose journal has no `end` line, as far as anybody knows."""


class MethodChangedError(InputProblem):
    """The copy of the method in a run's folder is no longer what the run was made with."""


@dataclass(frozen=True, slots=True)
class _Record:
    """What a journal tells of a run, read and checked."""

    points: list[Point]
    passing: tuple[Passing, ...]
    curve: Curve
    burette: dict[str, float]
    state: str
    why: str
    additions: int
    duration_s: float
    delivered_mL: float
    delivered_at_most_mL: float | None
    simulated: bool
    seed: int | None
    warnings: list[str]


@dataclass(frozen=True, slots=True)
class EvaluatedRun:
    """A run with what was found in it.

    `delivered_at_most_mL` is a number where the record leaves open how far the last addition went, else None.
    `record_complete` is False where the journal breaks off before the run's end. `burette`: what the journal says of
    it. `blank`: what a blank says, None for a sample; `recovery`: of a control sample with a certified content.
    `passing`: what was read while titrant ran in, which is shown and not evaluated.
    """

    method: Method
    state: str
    why: str
    curve: Curve
    evaluation: Evaluation
    results: list[Result]
    additions: int
    duration_s: float
    delivered_mL: float
    delivered_at_most_mL: float | None
    record_complete: bool
    simulated: bool
    simulated_seed: int | None
    warnings: list[str]
    burette: dict[str, float] | None = None
    blank: Blank | None = None
    recovery: Recovery | None = None
    passing: tuple[Passing, ...] = ()


def evaluate_run(folder: RunFolder) -> EvaluatedRun:
    """Evaluate the run in `folder` again from its raw record.

    A torn last line is kept in a file beside the journal. Raises OSError, JournalDamagedError, MethodChangedError or
    FileProblem when the record cannot be read or believed.
    """
    method = load_method(folder.method)
    contents = read_journal(folder.journal)
    if not contents.lines:
        raise JournalDamagedError(f"{folder.journal}:1: expected the first line of a run, got an empty journal")
    record = _read(folder, contents)
    _refuse_a_changed_method(folder, contents.lines[0])
    evaluation, told, missing = evaluate_curve(method, record.curve, record.burette)
    kept = _keep_torn(folder, contents.torn_tail)
    blank: Blank | None = None
    silent: list[str] = []
    # A rule that foresees the curve ends the run by its own estimate, not by jumps counted among a few points.
    if method.find.equivalence_points and method.additions.rule != "foreseeing":
        counted = jumps_counted(method, record.points, record.burette["random_error_mL"])
        silent = count_warnings(counted, evaluation)
    if method.sample.kind == "blank":
        blank, silent = blank_of_run(method, record.curve, record.burette, expectation_of(method, record.burette))
    molar = next((each.model for each in told if each.unit == "mol/L" and each.name == method.result.name), None)
    return EvaluatedRun(
        method=method,
        state=record.state,
        why=record.why,
        curve=record.curve,
        evaluation=evaluation,
        results=told,
        additions=record.additions,
        duration_s=record.duration_s,
        delivered_mL=record.delivered_mL,
        delivered_at_most_mL=record.delivered_at_most_mL,
        record_complete=bool(contents.of_kind("end")),
        simulated=record.simulated,
        simulated_seed=record.seed,
        warnings=[*kept, *record.warnings, *evaluation.warnings, *missing, *silent],
        burette=record.burette,
        blank=blank,
        recovery=None if molar is None else recovery_of(method, molar),
        passing=record.passing,
    )


def evaluate_curve(
    method: Method, curve: Curve, burette: dict[str, float] | None
) -> tuple[Evaluation, list[Result], list[str]]:
    """What is found in the curve of a run of `method`, the results, and what to say where these are missing.

    `burette` is what the first line of a journal says of it; see `titrator.run.course.rig_fields`.
    """
    evaluation = find_equivalence_points(curve, expectation_of(method, burette))
    return evaluation, *results_of(method, evaluation, burette)


def recovery_of(method: Method, found_mol_per_L: Model) -> Recovery | None:
    """What a control sample's result is of its certified content; None for a sample without one."""
    certified = method.sample.certified
    if certified is None:
        return None
    return recovery(
        found_mol_per_L,
        stated_source("certified content", certified, certified.value_mol_per_L, certified.u_mol_per_L, "mol/L"),
    )


def _read(folder: RunFolder, contents: JournalContents) -> _Record:
    """Everything that is taken from the journal; its fields were checked when it was read."""
    first = contents.lines[0]
    points = [Point(**{name: line[name] for name in Point._fields}) for line in contents.of_kind("point")]
    passing = [Passing(**{name: line[name] for name in Passing._fields}) for line in contents.of_kind("passing")]
    state, why = _ending(folder, contents)
    delivered_mL, at_most_mL = _delivered_mL(contents)
    return _Record(
        points=points,
        passing=tuple(passing),
        curve=Curve.from_points(points),
        burette=first["burette"],
        state=state,
        why=why,
        additions=sum(not line.get("more") for line in contents.of_kind("intent")),  # a refill may cut one in two
        duration_s=_duration_s(contents),
        delivered_mL=delivered_mL,
        delivered_at_most_mL=at_most_mL,
        simulated=first["simulated"],
        seed=first.get("seed"),
        warnings=_record_warnings(contents, points, at_most_mL),
    )


def _refuse_a_changed_method(folder: RunFolder, first: dict[str, Any]) -> None:
    now = sha256(folder.method)
    then = first["method_sha256"]
    if now != then:
        raise MethodChangedError(
            f"{folder.method}: expected the method that the run was made with (SHA-256 {then}), got another (SHA-256 "
            f"{now}). Put the copy back as it was"
        )


def _keep_torn(folder: RunFolder, tail: bytes) -> list[str]:
    """Keep a torn last line beside the journal, which itself is never changed; returns the warning for the reader."""
    if not tail:
        return []
    told = f"the last line of the journal is torn ({len(tail)} bytes)"
    try:
        return [f"{told}; it is kept in {folder.keep_torn(tail).name}"]
    except OSError as error:
        return [f"{told}; it could not be kept in a file beside it: {error}"]


def results_of(
    method: Method,
    evaluation: Evaluation,
    burette: dict[str, float] | None,
    *,
    label: str = "",
    blank_mL: Part | None = None,
) -> tuple[list[Result], list[str]]:
    """The results of every step that is sought, and a warning where points are missing: which, nobody can tell.

    Of a method that is meant to extrapolate the results are made from the estimates, and marked so. `label`,
    `blank_mL`: of a run in a series, see `result_inputs`.
    """
    extrapolated = method.find.by == "extrapolation"
    found = len(evaluation.estimates if extrapolated else evaluation.equivalence_points)
    sought = method.find.equivalence_points
    if not found or not sought:
        return [], []
    if found < sought:
        what = "estimates" if extrapolated else "equivalence points"
        return [], [f"{found} of {sought} {what} found: without all of them no result can be assigned"]
    inputs = result_inputs(method, burette, label=label, blank_mL=blank_mL)[:sought]
    strong = strengths(method, evaluation, label)
    inputs = [replace(each, strength=part) for each, part in zip(inputs, strong, strict=False)] or inputs
    told = results(evaluation, inputs, from_estimates=extrapolated)
    notable = [each.warning for each in told if each.warning is not None and each.unit == inputs[0].unit]
    without = [each.name for each in inputs if each.name not in {result.name for result in told}]
    return told, [*notable, *(f"{name}: no result, its step takes no more titrant than the blank" for name in without)]


def _ending(folder: RunFolder, contents: JournalContents) -> tuple[str, str]:
    ends = contents.of_kind("end")
    states = ends or contents.of_kind("state")
    if not states:
        return State.READY.value, BROKEN_OFF
    last = states[-1]
    if last["state"] not in {state.value for state in State}:
        raise JournalDamagedError(
            f"{folder.journal}:{last['n'] + 1}: state: expected a state of a run, got {last['state'][:60]!r}. Use the "
            "journal as it was written"
        )
    return last["state"], last["why"] if ends else BROKEN_OFF


def _duration_s(contents: JournalContents) -> float:
    states = contents.of_kind("state")
    if not states:
        return 0.0
    return float(contents.lines[-1]["t_ms"] - states[0]["t_ms"]) / 1000.0


def _delivered_mL(contents: JournalContents) -> tuple[float, float | None]:
    """Volume at the last rest that is on record, and how far a dose may have gone whose end is not; None: it is."""
    uncertain = contents.of_kind("uncertain")
    if uncertain:
        return float(uncertain[-1]["low_mL"]), float(uncertain[-1]["high_mL"])
    volumes = [float(line["volume_mL"]) for line in contents.lines if line["kind"] in ("outcome", "halt", "end")]
    ended = {line["dose"] for line in contents.of_kind("outcome")}
    last_halt = max((line["n"] for line in contents.of_kind("halt")), default=-1)
    open_ended = [
        float(line["volume_mL"])
        for line in contents.of_kind("intent")
        if line["dose"] not in ended and line["n"] > last_halt
    ]
    return (volumes[-1] if volumes else 0.0), (max(open_ended) if open_ended else None)


def _record_warnings(contents: JournalContents, points: list[Point], at_most_mL: float | None) -> list[str]:
    warnings = []
    if not contents.of_kind("end"):
        warnings.append("the record breaks off before the run's end: nobody wrote down how it ended")
    uncertain = contents.of_kind("uncertain")
    if uncertain:
        low_mL, high_mL = uncertain[-1]["low_mL"], uncertain[-1]["high_mL"]
        warnings.append(
            f"the volume delivered in the end is uncertain, between {low_mL:.4f} and {high_mL:.4f} mL; the points were "
            f"logged before"
        )
    elif at_most_mL is not None:
        warnings.append(
            f"the end of the last addition is not on record: up to {at_most_mL:.4f} mL may have been delivered"
        )
    within = sum(line["within_steps"] for line in contents.of_kind("session"))
    if within:
        warnings.append(f"the board was reset in the midst of a motion: volumes may be off by {within} steps")
    not_settled = sum(not point.settled for point in points)
    if not_settled:
        warnings.append(f"{not_settled} of {len(points)} points were logged not settled, at the longest wait")
    missed = sum(line["missed"] for line in contents.of_kind("readings"))
    if missed:
        warnings.append(f"{missed} readings went missing on the link")
    return warnings
