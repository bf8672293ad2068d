"""Readings while titrant runs in: the last second of them, in bounded memory."""

from __future__ import annotations

import math
from collections import deque

from titrator.control.point import Passing

SPAN_S = 1.0
FEWEST = 3
MOST = 64


class PassingReadings:
    """Feed readings in order of time; `read` averages the last second of them."""

    def __init__(self) -> None:
        self._kept: deque[tuple[float, float]] = deque(maxlen=MOST)

    def begin(self) -> None:
        """Forget what was read before."""
        self._kept.clear()

    def add(self, t_s: float, potential_mV: float) -> None:
        """One reading."""
        self._kept.append((t_s, potential_mV))

    def read(self, end_s: float, volume_mL: float, speed_mL_per_s: float) -> Passing | None:
        """The average up to `end_s`, when `volume_mL` had been delivered; None where too few were read to tell noise
        from slope."""
        last = [each for each in self._kept if each[0] > end_s - SPAN_S and each[0] <= end_s]
        count = len(last)
        if count < FEWEST:
            return None
        mean_s = sum(t for t, _ in last) / count
        mean_mV = sum(y for _, y in last) / count
        squares = sum((t - mean_s) ** 2 for t, _ in last)
        slope = sum((t - mean_s) * (y - mean_mV) for t, y in last) / squares
        scatter = sum((y - mean_mV - slope * (t - mean_s)) ** 2 for t, y in last) / max(1, count - 2)
        behind_mL = speed_mL_per_s * (end_s - mean_s)
        return Passing(
            end_s, volume_mL - behind_mL, mean_mV, math.sqrt(scatter / count), speed_mL_per_s, volume_mL, count
        )
