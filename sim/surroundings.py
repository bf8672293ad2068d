"""What the room does to the vessel: it dries out, warms or cools, and air reaches the solution."""

import math

from sim.contents import Chemistry, Contents

_HOUR_S = 3600.0
_MINUTE_S = 60.0
_LEAST_LEFT = 0.05
"""Evaporation ends when so little of the liquid at the start is left: electrode and tip stand dry long before."""
_COLDEST_C, _WARMEST_C = 1.0, 90.0


class Surroundings:
    """Evaporation in mL/h, the room's temperature with the time constant of the exchange, warming, the share of air.

    `warming_C_per_min` is a steady source (a warm stirrer motor); `exchange_s` inf: the vessel keeps its temperature.
    `air` multiplies what the chemistry lets air do: 0 under a perfect cover. Liquid water counts as 1 g/mL here.
    """

    def __init__(
        self,
        *,
        evaporation_mL_per_h: float = 0.0,
        room_C: float = 20.0,
        exchange_s: float = math.inf,
        warming_C_per_min: float = 0.0,
        air: float = 1.0,
    ) -> None:
        self.evaporation_mL_per_h = evaporation_mL_per_h
        self.room_C = room_C
        self.exchange_s = exchange_s
        self.warming_C_per_min = warming_C_per_min
        self.air = air
        self.evaporated_mL = 0.0
        self._least_mL: float | None = None

    def act(self, contents: Contents, chemistry: Chemistry, passed_s: float) -> bool:
        """Let the room act on the contents for a time; whether anything changed."""
        changed = False
        if self.air:
            changed = chemistry.age(contents, passed_s * self.air)
        if self.evaporation_mL_per_h:
            self._dry(contents, passed_s)
            changed = True
        if self.warming_C_per_min or self.exchange_s != math.inf:
            self._warm(contents, passed_s)
            changed = True
        return changed

    def _dry(self, contents: Contents, passed_s: float) -> None:
        if self._least_mL is None:
            self._least_mL = _LEAST_LEFT * contents.volume_mL
        lost_mL = min(self.evaporation_mL_per_h * passed_s / _HOUR_S, max(contents.volume_mL - self._least_mL, 0.0))
        contents.volume_mL -= lost_mL
        self.evaporated_mL += lost_mL

    def _warm(self, contents: Contents, passed_s: float) -> None:
        """Newton's law of cooling with a steady source, exact for a step."""
        heating_C_per_s = self.warming_C_per_min / _MINUTE_S
        if self.exchange_s == math.inf:
            warmed_C = contents.temperature_C + heating_C_per_s * passed_s
        else:
            level_C = self.room_C + heating_C_per_s * self.exchange_s
            warmed_C = level_C + (contents.temperature_C - level_C) * math.exp(-passed_s / self.exchange_s)
        contents.temperature_C = min(max(warmed_C, _COLDEST_C), _WARMEST_C)
