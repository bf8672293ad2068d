"""A refill or a priming as the driver carries it out: each step in the journal before it, each outcome after it."""

from __future__ import annotations

from titrator.bench.bench import Bench
from titrator.bench.events import MotionEnded
from titrator.bench.refill import Outcome, Procedure, Step, carry_out, outcome_told, told
from titrator.record.journal import Journal


class Errand:
    """One procedure of the bench under way. `kind` is `refill` or `priming`, the first word of its lines."""

    def __init__(self, kind: str, number: int, procedure: Procedure, bench: Bench, journal: Journal) -> None:
        self.kind = kind
        self.number = number
        """First identifier of its motions: what the controller knows it by."""
        self.done = False
        self._procedure = procedure
        self._bench = bench
        self._journal = journal

    def begin(self, t_s: float) -> None:
        """Take the first step. Raises BenchError and JournalError, as `hear` does."""
        self._take(next(self._procedure), t_s)

    def hear(self, outcome: Outcome) -> None:
        """Record what came of the step under way and take the next one, until `done`."""
        self.record(outcome)
        try:
            step = self._procedure.send(outcome)
        except StopIteration:
            self.done = True
            return
        self._take(step, outcome.t_s)

    def record(self, outcome: Outcome) -> None:
        """Into the journal; also for what comes after the errand was broken off."""
        fields = outcome_told(outcome)
        moved = isinstance(outcome, MotionEnded)
        volume = {"volume_mL": outcome.volume_mL} if isinstance(outcome, MotionEnded) else {}
        self._journal.write(f"{self.kind}_outcome", outcome.t_s, {**fields, **volume}, durable=moved)

    def _take(self, step: Step, t_s: float) -> None:
        self._journal.write(f"{self.kind}_intent", t_s, told(step), durable=True)
        carry_out(self._bench, step)
