"""Noise of a reading at the amplifier's input: white or with a memory, each kind from a random stream of its own."""

import math
from collections.abc import Callable
from random import Random

from sim.cell_sections import CorrelatedNoise, WhiteNoise

NoiseSource = Callable[[float], float]
"""Noise in mV of the reading at a time in s; called with times that do not decrease."""


def white(sd_mV: float, random: Random) -> NoiseSource:
    """Independent normal errors of standard deviation `sd_mV`."""
    gauss = random.gauss

    def at(_t_s: float) -> float:
        return gauss(0.0, sd_mV)

    return at


def correlated(sd_mV: float, memory_s: float, random: Random) -> NoiseSource:
    """Normal errors of standard deviation `sd_mV` whose correlation over a time h is exp(−h/memory_s).

    Exact for the Ornstein-Uhlenbeck process: AR(1) at even spacing; stationary from the first reading.
    """
    gauss = random.gauss
    value_mV = gauss(0.0, sd_mV)
    last_s: float | None = None

    def at(t_s: float) -> float:
        nonlocal value_mV, last_s
        if last_s is not None:
            kept = math.exp(-(t_s - last_s) / memory_s)
            value_mV = kept * value_mV + gauss(0.0, sd_mV * math.sqrt(1.0 - kept * kept))
        last_s = t_s
        return value_mV

    return at


def noise_sources(kinds: tuple[WhiteNoise | CorrelatedNoise, ...], seed: int) -> tuple[NoiseSource, ...]:
    """The sources that a cell file lists; number k draws from the stream "{seed}/noise {k}"."""
    sources: list[NoiseSource] = []
    for number, kind in enumerate(kinds):
        random = Random(f"{seed}/noise {number}")
        if isinstance(kind, WhiteNoise):
            sources.append(white(kind.sd_mV, random))
        else:
            sources.append(correlated(kind.sd_mV, kind.memory_s, random))
    return tuple(sources)
