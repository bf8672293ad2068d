"""A sweep: settings are searched on some runs, the best of them confirmed on others, and one is picked.

The order in which settings are proposed and answered is fixed, two batches being on their way at a time, so that no
worker waits for the search and no number of workers changes what is found.
"""

from __future__ import annotations

import tempfile
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from titrator.files import FileProblem
from titrator.run.tune.budget import Budget
from titrator.run.tune.choice import Figures, Prefer, finalists, picked, unbeaten
from titrator.run.tune.crew import Crew, Pending
from titrator.run.tune.judge import Judged
from titrator.run.tune.search import Proposal, Search, seeds_of
from titrator.run.tune.setting import Draft, Setting
from titrator.run.tune.sweep_file import SweepFile
from titrator.run.tune.work import Chunk, Done

CHUNK: Final = 3
"""Runs that a worker takes at a time: half a second, so that none waits long for the last one."""
BATCHES_ON_THE_WAY: Final = 2
BATCH: Final = 3
"""Settings proposed at a time."""
ATTEMPTS: Final = 20
"""Proposals that the method's own checks refuse, one after another, before a setting is given up."""


class InterruptedSweepError(Exception):
    """Somebody ended the sweep; what is done is kept."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What a sweep does. `rules` are searched in turn."""

    draft: Draft
    budget: Budget
    rules: tuple[str, ...]
    prefer: Prefer
    seed: int


@dataclass(slots=True)
class Swept:
    """A sweep that is over. `searched` and `confirmed` hold the figures of settings, by number."""

    plan: Plan
    settings: dict[int, Setting] = field(default_factory=dict)
    searched: dict[int, Figures] = field(default_factory=dict)
    confirmed: dict[int, Figures] = field(default_factory=dict)
    refused: int = 0
    made: int = 0
    processor_s: float = 0.0
    busy_s: float = 0.0

    @property
    def front(self) -> list[Figures]:
        """Return the confirmed settings that no other beats, from the fastest on."""
        return unbeaten(self.confirmed.values())

    @property
    def choice(self) -> Figures | None:
        """Return what the preference picks; None where every setting had a run that failed."""
        return picked(list(self.confirmed.values()), self.plan.prefer)


@dataclass(slots=True)
class _Asked:
    """A setting whose runs are on their way."""

    setting: Setting
    proposal: Proposal | None
    search: Search | None
    chunks: list[Pending | tuple[Judged, ...]]


class Sweep:
    """Conducts a plan. `advance` is called with the runs that are done; it may raise InterruptedSweepError."""

    def __init__(self, plan: Plan, crew: Crew, file: SweepFile, advance: Callable[[int], None]) -> None:
        self._plan, self._crew, self._file, self._advance = plan, crew, file, advance
        self._texts: dict[int, str] = {}
        self._swept = Swept(plan)
        self._waiting: deque[_Asked] = deque()

    def run(self) -> Swept:
        """Make every run that is not known yet, in order, and return what came of it. CrewError, OSError."""
        try:
            self._search()
            self._confirm()
        except BaseException:
            for asked in self._waiting:
                for each in asked.chunks:
                    if not isinstance(each, tuple):
                        each.cancel()
            raise
        return self._swept

    def _search(self) -> None:
        budget = self._plan.budget
        proposals = self._proposals()
        runs = range(budget.runs)
        left = budget.settings
        while left or self._waiting:
            while left and len(self._waiting) <= (BATCHES_ON_THE_WAY - 1) * BATCH:
                for _ in range(min(BATCH, left)):
                    setting, proposal, search = next(proposals)
                    self._ask(setting, proposal, search, runs)
                    left -= 1
            for _ in range(min(BATCH, len(self._waiting))):
                self._take(self._swept.searched)

    def _proposals(self) -> Iterator[tuple[Setting, Proposal | None, Search | None]]:
        """The method as it stands, then a setting of each rule in turn."""
        plan, draft = self._plan, self._plan.draft
        seeds = seeds_of(plan.seed, plan.rules)
        each_rule = -(-plan.budget.settings // len(plan.rules))
        searches = {rule: Search(rule, draft.scale, seeds[rule], each_rule) for rule in plan.rules}
        own = draft.own()
        self._texts[0] = draft.text
        with tempfile.TemporaryDirectory(prefix="titrator-tune-") as folder:
            if own.rule not in plan.rules:
                yield own, None, None
            else:
                searches[own.rule].begin_at(draft.begin(own.rule))
                yield own, searches[own.rule].ask(), searches[own.rule]
            for rule in plan.rules:
                if rule != own.rule:
                    searches[rule].begin_at(draft.begin(rule))
            number = 0
            while True:
                rule = plan.rules[number % len(plan.rules)]
                number += 1
                yield self._sound(searches[rule], number, Path(folder))

    def _sound(self, search: Search, number: int, folder: Path) -> tuple[Setting, Proposal, Search]:
        """The next proposal that makes a method which passes all checks."""
        draft = self._plan.draft
        for _ in range(ATTEMPTS):
            proposal = search.ask()
            setting = draft.setting(number, search.rule, proposal.values)
            try:
                _, self._texts[number] = draft.loaded(setting, folder)
            except FileProblem as error:
                search.tell(proposal, None, 1)
                self._swept.refused += 1
                problem = error
                continue
            return setting, proposal, search
        raise problem

    def _confirm(self) -> None:
        budget = self._plan.budget
        runs = range(budget.runs, budget.runs + budget.confirming)
        chosen = finalists(list(self._swept.searched.values()), budget.finalists)
        for number in chosen:
            self._ask(self._swept.settings[number], None, None, runs)
        while self._waiting:
            self._take(self._swept.confirmed)

    def _ask(self, setting: Setting, proposal: Proposal | None, search: Search | None, runs: Sequence[int]) -> None:
        number = setting.number
        self._swept.settings[number] = setting
        chunks: list[Pending | tuple[Judged, ...]] = []
        for start in range(runs[0], runs[-1] + 1, CHUNK):
            some = tuple(range(start, min(start + CHUNK, runs[-1] + 1)))
            known = tuple(self._file.known[number, run] for run in some if (number, run) in self._file.known)
            if len(known) == len(some):
                chunks.append(known)
            else:
                chunks.append(self._crew.submit(Chunk(number, self._texts[number], some)))
        self._waiting.append(_Asked(setting, proposal, search, chunks))

    def _take(self, into: dict[int, Figures]) -> None:
        """Wait for the runs of the setting that was asked for first, keep them, and answer its search."""
        asked = self._waiting[0]
        runs: list[Judged] = []
        for chunk in asked.chunks:
            told = chunk if isinstance(chunk, tuple) else self._kept(chunk.result())
            runs += told
            self._advance(len(told))
        self._waiting.popleft()
        figures = Figures.of(runs)
        into[asked.setting.number] = figures
        if asked.search is not None and asked.proposal is not None:
            asked.search.tell(asked.proposal, figures.objectives, len(figures.failures))

    def _kept(self, done: Done) -> tuple[Judged, ...]:
        swept = self._swept
        self._file.add(done.judged)
        swept.made += len(done.judged)
        swept.processor_s += done.processor_s
        swept.busy_s += done.busy_s
        return done.judged


def describe(plan: Plan) -> dict[str, Any]:
    """Return what a plan is made from, apart from the files: for the first line of the results."""
    return {
        "runs": plan.budget.total,
        "rules": list(plan.rules),
        "prefer": plan.prefer,
        "seed": plan.seed,
    }
