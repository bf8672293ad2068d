"""Rules judged on recorded curves: each rule runs on each curve, and is held against the run that was recorded."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from titrator.files import InputProblem
from titrator.method import Method, load_method
from titrator.record.run_folder import RunFolder
from titrator.run.tune.choice import Figures
from titrator.run.tune.crew import Crew
from titrator.run.tune.dials import tunable
from titrator.run.tune.judge import Judged
from titrator.run.tune.recording import Recording, recording
from titrator.run.tune.setting import Draft, Setting
from titrator.run.tune.work import Chunk, Group, Outfit

CHUNK: Final = 3
EACH: Final = 20
"""Runs of a rule on a curve, where nobody says how many in all."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A rule with its settings, as a method: the recorded one with the rule put in, or one that the user gave.

    `values` by key of its section `additions`, as they are written.
    """

    rule: str
    own: bool
    given: bool
    values: dict[str, str]
    text: str


@dataclass(frozen=True, slots=True)
class Replayed:
    """A recording with the figures of every rule on it."""

    recording: Recording
    candidates: tuple[Candidate, ...]
    figures: tuple[Figures, ...]


@dataclass(frozen=True, slots=True)
class Replay:
    """What is to be done: every candidate of every recording, `each` times, with seeds from `seed` on."""

    recordings: tuple[Recording, ...]
    candidates: tuple[tuple[Candidate, ...], ...]
    each: int
    seed: int

    @property
    def total(self) -> int:
        """Return how many runs are made in all."""
        return self.each * sum(map(len, self.candidates))

    @property
    def outfit(self) -> Outfit:
        """Return what workers need."""
        cells = tuple(each.cell for each in self.recordings)
        groups = tuple(Group(k * self.each, k, 1) for k in range(len(cells)))
        return Outfit(cells[0].rig, cells, groups, self.seed)


def planned(
    folders: Sequence[RunFolder], rules: Sequence[str], method: Path | None, runs: int | None, seed: int
) -> Replay:
    """Read the recorded runs, and the method that the user gave, if any. InputProblem where something is wrong.

    `runs` in all; None: `EACH` of each rule on each curve.
    """
    recordings = tuple(recording(folder) for folder in folders)
    given = None if method is None else (load_method(method), method.read_text(encoding="utf-8"))
    candidates = tuple(_candidates(each, rules or tunable(), given, method) for each in recordings)
    count = sum(map(len, candidates))
    each = EACH if runs is None else runs // count
    if each < 1:
        raise InputProblem(f"--runs: expected at least one run of each rule on each curve, {count}, got {runs}")
    return Replay(recordings, candidates, each, seed)


def replayed(replay: Replay, crew: Crew, advance: Callable[[int], None]) -> list[Replayed]:
    """Make the runs and return their figures, in order. CrewError where the workers are gone."""
    asked = []
    for number, candidates in enumerate(replay.candidates):
        first = number * replay.each
        for place, candidate in enumerate(candidates):
            for start in range(first, first + replay.each, CHUNK):
                runs = tuple(range(start, min(start + CHUNK, first + replay.each)))
                asked.append(((number, place), crew.submit(Chunk(place, candidate.text, runs))))
    told: dict[tuple[int, int], list[Judged]] = {}
    try:
        for key, pending in asked:
            done = pending.result()
            told.setdefault(key, []).extend(done.judged)
            advance(len(done.judged))
    except BaseException:
        for _, pending in asked:
            pending.cancel()
        raise
    return [
        Replayed(each, candidates, tuple(Figures.of(told[number, place]) for place in range(len(candidates))))
        for number, (each, candidates) in enumerate(zip(replay.recordings, replay.candidates, strict=True))
    ]


def _candidates(
    each: Recording, rules: Sequence[str], given: tuple[Method, str] | None, path: Path | None
) -> tuple[Candidate, ...]:
    text = (each.folder / "method.yaml").read_text(encoding="utf-8").removeprefix("\ufeff")
    draft = Draft(text, each.method, each.cell.rig)
    made = [_with_rule(draft, rule, number) for number, rule in enumerate(rules, start=1)]
    if given is not None:
        _refuse_another_reaction(each, given[0], path)
        other = Draft(given[1], given[0], each.cell.rig)
        made.append(Candidate(given[0].additions.rule, own=False, given=True, values=other.additions(), text=given[1]))
    return tuple(made)


def _with_rule(draft: Draft, rule: str, number: int) -> Candidate:
    """The method with a rule: as it stands where it has it, else with what such a rule begins with."""
    own = draft.method.additions.rule == rule
    setting = Setting(0 if own else number, rule, {})
    with tempfile.TemporaryDirectory(prefix="titrator-tune-") as folder:
        method, text = draft.loaded(setting, Path(folder))
    return Candidate(rule, own, given=False, values=Draft(text, method, draft.rig).additions(), text=text)


def _refuse_another_reaction(each: Recording, method: Method, path: Path | None) -> None:
    for what in ("reaction", "find"):
        if getattr(each.method, what) != getattr(method, what):
            raise InputProblem(
                f"{path}: expected a method of the same reaction and points as the recorded run {each.folder}, got "
                f"another {what}"
            )
