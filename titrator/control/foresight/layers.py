"""Which of several solids a reading lies on, while the curve is only known by readings.

Where each solid after the first sets in, the curve has a corner, behind which no derivative sees. Readings come in
order of volume, though: the first ones lie on the first branch, those from some volume on on the next. Each such
parting is a smooth fit, there are no more of them than readings, and only the newest corner is in question.
"""

from __future__ import annotations

from dataclasses import dataclass, field

NEWEST = 8
"""So many of the newest readings may turn out to be the first one behind a corner."""


@dataclass(slots=True)
class Layers:
    """`solids`: how many of them the law has, one after the other. `corners_mL`: from there on a reading lies on the
    next branch; `newest_mL`: the last reading that was assigned to one."""

    solids: int
    corners_mL: list[float] = field(default_factory=list)
    newest_mL: float = 0.0

    def at(self, volume_mL: float) -> int:
        """How many solids there are at a reading; 0 where the law knows of one at most."""
        if self.solids == 1:
            return 0
        return 1 + sum([volume_mL >= each for each in self.corners_mL])

    def unassigned(self, volumes_mL: list[float]) -> bool:
        """Whether a reading came that was not assigned yet; it counts as assigned from now on."""
        newest_mL = max(volumes_mL, default=0.0)
        if self.solids == 1 or newest_mL <= self.newest_mL:
            return False
        self.newest_mL = newest_mL
        return True

    def with_newest(self) -> list[list[float]]:
        """The corners as they are, and with the newest reading as the first one of another layer."""
        return self._possible([[*self.corners_mL, self.newest_mL]])

    def moved(self, volumes_mL: list[float]) -> list[list[float]]:
        """The corners as they are, with the last one elsewhere, and with another one."""
        begun_mL = self.corners_mL[-2] if len(self.corners_mL) > 1 else 0.0
        newest = sorted([each for each in volumes_mL if each > begun_mL])[-NEWEST:]
        elsewhere = [[*self.corners_mL[:-1], each] for each in newest] if self.corners_mL else []
        behind_mL = self.corners_mL[-1] if self.corners_mL else 0.0
        return self._possible([*elsewhere, *[[*self.corners_mL, each] for each in newest if each > behind_mL]])

    def _possible(self, others: list[list[float]]) -> list[list[float]]:
        return [self.corners_mL, *[each for each in others if len(each) < self.solids]]
