"""A run as it goes, on a terminal: a sentence to act on, then volume, potential, state and forecast, kept up to date.

Points scroll by above it, so that what was measured stays readable. Nothing here may harm the run: when the terminal is
gone, the view falls silent.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from titrator.control.point import Point
from titrator.control.states import TERMINAL, State
from titrator.report.sentence import about, forecast_mV, sentence
from titrator.run.standing import Standing

NARROW = 60
"""Columns below which words are left out rather than wrapped."""
_BAR_MOST = 48


class LiveView:
    """Shows a run on a terminal. `limit_mL`: the most that the method allows. `run`: how its commands name it.

    `clock` tells the wall-clock time for the expected end; None where the run does not keep real time.
    """

    def __init__(
        self, console: Console, limit_mL: float, run: str, clock: Callable[[], datetime.datetime] | None
    ) -> None:
        self._console = console
        self._limit_mL = limit_mL
        self._run = run
        self._clock = clock
        # Without a thread of its own: it is drawn when the run's loop comes round.
        self._live: Live | None = Live(
            console=console, auto_refresh=False, redirect_stdout=False, redirect_stderr=False
        )
        self._asked: int | None = None

    def show(self, now: Standing) -> None:
        """Draw how the run stands; while a question is open the terminal is left to it."""
        if self._live is None:
            return
        try:
            question = now.question.number if now.question is not None and now.state not in TERMINAL else None
            if question is not None:
                if question != self._asked:
                    self._live.stop()
                    self._console.print(Text(sentence(now, self._run), style="bold"))
                    self._console.print(f"Type yes or no (or elsewhere: titrator answer {self._run} yes|no)")
                self._asked = question
                return
            self._asked = None
            self._live.start()
            self._live.update(self.draw(now), refresh=True)
        except (OSError, ValueError):
            self._live = None  # the terminal is gone

    def observe(self, _state: State, _why: str, point: Point | None) -> None:
        """Let a logged point scroll by."""
        if point is not None:
            self.note(_point_line(point, self._console.width))

    def note(self, line: str) -> None:
        """Let a line scroll by above the picture."""
        if self._live is None:
            return
        try:
            self._console.print(Text(line))
        except (OSError, ValueError):
            self._live = None

    def close(self) -> None:
        """Leave the last picture standing."""
        if self._live is None:
            return
        try:
            self._live.stop()
        except (OSError, ValueError):
            self._live = None

    def draw(self, now: Standing) -> RenderableType:
        """The picture of a moment."""
        narrow = self._console.width < NARROW
        lead = Text(sentence(now, self._run), style="bold")
        if now.state in TERMINAL:
            return Group(Text(), lead, Text())
        table = Table.grid(padding=(0, 2, 0, 0))
        table.add_column(style="dim", no_wrap=True)
        table.add_column(overflow="fold")
        table.add_row("volume", f"{now.volume_mL:.4f} mL of at most {self._limit_mL:g} mL")
        table.add_row("", self._bar(now))
        table.add_row("potential", _potential(now))
        table.add_row("state", _state(now, narrow=narrow))
        table.add_row("forecast", self._forecast(now, narrow=narrow))
        if now.state is not State.HELD:  # then the sentence tells the words
            between = "\n" if narrow else ", "
            table.add_row("words", f"titrator hold {self._run}{between}titrator stop {self._run}")
        return Group(Text(), lead, Text(), table)

    def _bar(self, now: Standing) -> Text:
        """Volume so far on the way to the limit, with the place of the jump foreseen."""
        width = max(10, min(_BAR_MOST, self._console.width - 14))
        plain = not (self._console.encoding or "").lower().startswith("utf")
        full, rest, jump = ("=", ".", "^") if plain else ("━", "┄", "◇")
        filled = min(width, round(width * now.volume_mL / self._limit_mL))
        bar = Text(full * filled, style="blue") + Text(rest * (width - filled), style="dim")
        if now.foreseen is not None and now.foreseen.jump_mL is not None:
            at = min(width - 1, round(width * now.foreseen.jump_mL / self._limit_mL))
            bar = bar[:at] + Text(jump, style="yellow") + bar[at + 1 :]
        return bar

    def _forecast(self, now: Standing, *, narrow: bool) -> str:
        """Where the jump and the end are expected, as far as they are."""
        if now.foreseen is None:
            return "unknown, no jump in sight yet"
        jump_mL = now.foreseen.jump_mL
        place = "jump passed" if jump_mL is None else f"jump near {jump_mL:.1f} mL"
        clock = ""
        if self._clock is not None:
            clock = f" (at {self._clock() + datetime.timedelta(seconds=now.foreseen.left_s):%H:%M})"
        between = "\n" if narrow else " "
        return f"{place},{between}end in {about(now.foreseen.left_s)}{clock}"


def _potential(now: Standing) -> str:
    if now.potential_mV is None:
        return "no reading yet"
    drift = "" if now.drift_mV_per_s is None else f", drift {now.drift_mV_per_s:+.3f} mV/s"
    return f"{now.potential_mV:.1f} mV{drift}"


def _state(now: Standing, *, narrow: bool) -> str:
    since_s = max(0.0, now.t_s - now.since_s)
    since = f"{since_s:.0f} s" if since_s < 120.0 else f"{since_s / 60.0:.0f} min"
    told = f"{now.state.value} for {since}"
    if now.hold is not None:
        return f"{told}, from {now.hold.came_from.value}"
    return f"{told}, {now.points} point{'s' * (now.points != 1)}{'' if narrow else ' so far'}"


def _point_line(point: Point, width: int) -> str:
    end_mV = forecast_mV(point)
    if width < NARROW:
        shown_mV = point.potential_mV if end_mV is None else end_mV
        line = f"{point.number:3d} {point.volume_mL:8.4f} mL {shown_mV:7.1f} mV {point.waited_s:3.0f} s"
        return f"{line} moving" if not point.settled else line if end_mV is None else f"{line} est."
    line = f"point {point.number:3d}   {point.volume_mL:8.4f} mL   {point.potential_mV:7.1f} mV   "
    if end_mV is not None:
        return f"{line}end forecast at {end_mV:.1f} mV in {point.waited_s:.1f} s"
    return f"{line}{'settled' if point.settled else 'not settled'} in {point.waited_s:.1f} s"
