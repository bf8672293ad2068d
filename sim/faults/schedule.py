"""When the faults of a simulated world strike."""

from collections.abc import Iterable
from typing import Any

from sim.faults.fault import PlannedFault
from sim.faults.parts import Parts


class Schedule:
    """Asked before each reading and each motion; every fault strikes once, at the first question when it is due.

    Volumes are what is truly delivered, times those of the board. Faults due at once strike in the order of the words.
    """

    def __init__(self, planned: Iterable[PlannedFault], parts: Parts) -> None:
        """Nothing strikes before the first question."""
        self._planned = tuple(planned)
        self._pending = list(range(len(self._planned)))
        self._parts = parts
        self._struck: dict[int, tuple[float, float]] = {}
        self._plan()

    def _plan(self) -> None:
        waiting = [self._planned[number] for number in self._pending]
        self._next_s = min((each.at_s for each in waiting if each.at_s is not None), default=float("inf"))
        self._next_mL = min((each.at_mL for each in waiting if each.at_mL is not None), default=float("inf"))

    def ask(self, now_us: int, delivered_mL: float) -> None:
        """Let strike what is due now, with the cell taken to this moment as it was until now."""
        now_s = now_us * 1e-6
        if now_s < self._next_s and delivered_mL < self._next_mL:
            return
        parts = self._parts
        parts.now_us = now_us
        parts.cell.advance(now_s, delivered_mL)
        for number in tuple(self._pending):
            planned = self._planned[number]
            due = planned.at_mL <= delivered_mL if planned.at_mL is not None else (planned.at_s or 0.0) <= now_s
            if due:
                planned.fault.strike(parts, planned.size)
                self._struck[number] = now_s, delivered_mL
                self._pending.remove(number)
        self._plan()

    def told(self) -> list[dict[str, Any]]:
        """For the truth: each fault as asked for, and when it struck (None: not yet)."""
        return [
            {
                "name": planned.fault.name,
                "size": None if planned.fault.size is None else planned.size,
                "unit": None if planned.fault.size is None else planned.fault.size.unit,
                "due_mL": planned.at_mL,
                "due_s": planned.at_s,
                "struck_mL": struck[1] if (struck := self._struck.get(number)) else None,
                "struck_s": struck[0] if struck else None,
            }
            for number, planned in enumerate(self._planned)
        ]
