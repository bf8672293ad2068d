"""A run as it goes, in plain lines: for a pipe, a log file, or a terminal that cannot move its cursor."""

from __future__ import annotations

from typing import TextIO

from titrator.control.point import Point
from titrator.control.states import TERMINAL, State
from titrator.report.sentence import about, forecast_mV, sentence
from titrator.run.standing import Standing

QUIET_S = 60.0
"""After so long without a line one more says what the run waits for."""
_PASSING = frozenset({State.DOSING, State.SETTLING, State.DECIDING})
"""States that every point goes through: the point itself tells enough."""


class PlainView:
    """Writes one line for each thing that happens, led by the minutes and seconds of the run's own time."""

    def __init__(self, stream: TextIO, run: str) -> None:
        self._stream: TextIO | None = stream
        self._run = run
        self._t_s = 0.0
        self._told_s = 0.0
        self._began_s: float | None = None
        self._jump_mL: float | None = None
        self._asked: int | None = None

    def show(self, now: Standing) -> None:
        """Say it when a question is open, when a jump is foreseen, and when nothing was said for long."""
        if self._began_s is None:
            self._began_s = self._told_s = now.t_s
        self._t_s = now.t_s
        question = now.question.number if now.question is not None else None
        if question is not None and question != self._asked:
            self.note(f"{sentence(now, self._run)} Answer with: titrator answer {self._run} yes|no")
        self._asked = question
        if now.state in TERMINAL:
            return
        foreseen = now.foreseen
        if foreseen is not None and foreseen.jump_mL is not None and self._jump_mL is None:
            self._jump_mL = foreseen.jump_mL
            self.note(f"jump foreseen near {foreseen.jump_mL:.1f} mL, end in {about(foreseen.left_s)}")
        if now.t_s - self._told_s >= QUIET_S:
            self.note(sentence(now, self._run))

    def observe(self, state: State, why: str, point: Point | None) -> None:
        """A line for each point, and for each state that is not part of every point."""
        if point is not None:
            self._t_s = max(self._t_s, point.t_s)
            end_mV, waited = forecast_mV(point), f"after {point.waited_s:.1f} s"
            settled = f"settled {waited}" if point.settled else f"not settled {waited}"
            self.note(
                f"point {point.number}: {point.volume_mL:.4f} mL, {point.potential_mV:.1f} mV"
                + (f", {settled}" if end_mV is None else f" {waited}, its end forecast at {end_mV:.1f} mV")
            )
        elif state not in _PASSING:
            self.note(f"{state.value}: {why}")

    def note(self, line: str) -> None:
        """Write a line at once; when nobody can read it any more, fall silent."""
        if self._stream is None:
            return
        self._told_s = self._t_s
        minutes, seconds = divmod(int(self._t_s - (self._began_s or 0.0)), 60)
        try:
            print(f"{minutes:4d}:{seconds:02d}  {line}", file=self._stream, flush=True)
        except (OSError, ValueError):
            self._stream = None

    def close(self) -> None:
        """Nothing is left to be done."""
