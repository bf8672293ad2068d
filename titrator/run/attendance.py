"""Who attends a run: the seam through which signals, the terminal and the desk see it and speak to it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from titrator.control.events import Word
from titrator.control.point import Point
from titrator.control.states import State
from titrator.record.run_folder import RunFolder
from titrator.run.standing import Reply, Said, Standing


def _nothing(*_: object) -> None:
    return None


@dataclass(frozen=True, slots=True)
class Attendance:
    """What is called while a run goes on; by default nobody is there. All of it is called from the driver's loop.

    `begun`: once, with the folder. `word`: between events, for what an operator (or a signal) has to say. `watch`:
    between events, before `word`, and once at the end; None where nobody looks. `observe`: after each change of state,
    and with each logged point. `keep_pace`: with the board's time; may sleep, to let a rehearsal be watched. `nap`:
    how to wait some seconds while nothing is under way.
    """

    begun: Callable[[RunFolder], None] = _nothing
    word: Callable[[], Word | Said | Reply | None] = _nothing
    watch: Callable[[Standing], None] | None = None
    observe: Callable[[State, str, Point | None], None] = _nothing
    keep_pace: Callable[[float], None] = _nothing
    nap: Callable[[float], None] = time.sleep


NOBODY = Attendance()
