"""What the amplifier's input makes of an electrode: a divider of resistances, and mains hum."""

import math
from dataclasses import dataclass
from random import Random

MAINS_HZ = 50.0
_WANDERS_HZ = 0.05
"""The mains' frequency is held within some hundredths of a hertz (common knowledge): readings taken at a whole divisor
of it see a slow beat, not a constant."""
_HUM_DOUBLES_AT_MOHM = 100.0
"""Stray capacitance to the mains drives its current through the source and the input in parallel, so hum rises in
proportion to their resistance: twice as much at 100 MΩ as at none (the figure is invented)."""
_OPEN_HUM_MV = 150.0
_OPEN_CLIMB_MV_PER_S = 40.0
"""An open input: its bias current charges a cable of some 50 pF, at a few pA (order of magnitude, from memory)."""


@dataclass(slots=True)
class AmplifierInput:
    """Resistance of the electrode and of the input in MΩ, amplitude and phase of the hum at the input.

    `hum_mV` is the amplitude that the readings see with an electrode of no resistance (platinum); the frequency lies
    beside 50 Hz as drawn.
    """

    source_MOhm: float = 0.0
    input_MOhm: float = math.inf
    hum_mV: float = 0.0
    hum_Hz: float = MAINS_HZ
    phase: float = 0.0

    @classmethod
    def drawn(cls, random: Random, *, source_MOhm: float, input_MOhm: float, hum_mV: float) -> "AmplifierInput":
        """With frequency and phase of the mains drawn."""
        return cls(
            source_MOhm,
            input_MOhm,
            hum_mV,
            MAINS_HZ + random.uniform(-_WANDERS_HZ, _WANDERS_HZ),
            random.uniform(0.0, 2.0 * math.pi),
        )

    @property
    def gain(self) -> float:
        """Share of the electrode's potential that the input sees: Rin/(Rin + Rs)."""
        if self.input_MOhm == math.inf:
            return 1.0
        total = self.input_MOhm + self.source_MOhm
        return self.input_MOhm / total if total > 0.0 else 0.0

    @property
    def amplitude_mV(self) -> float:
        """Amplitude of the hum with the resistance that is there: source and input in parallel pick it up."""
        return self.hum_mV * (1.0 + self.source_MOhm * self.gain / _HUM_DOUBLES_AT_MOHM)

    def humming_mV(self, t_s: float) -> float:
        """Hum at a time."""
        return self.amplitude_mV * math.sin(2.0 * math.pi * self.hum_Hz * t_s + self.phase)

    def open_mV(self, left_mV: float, open_for_s: float, t_s: float) -> float:
        """What an open input shows, `open_for_s` after it was left at `left_mV`: it climbs to its rail, humming."""
        hum_mV = _OPEN_HUM_MV * math.sin(2.0 * math.pi * self.hum_Hz * t_s + self.phase)
        return left_mV + _OPEN_CLIMB_MV_PER_S * open_for_s + hum_mV
