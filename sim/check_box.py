"""A box of known sources in place of the cell, with which a simulated amplifier is checked."""

import math
from collections.abc import Callable
from random import Random

from sim.amplifier_input import AmplifierInput

_NOISE_MV = 0.05
_OFFSET_MV = 0.3
_INPUT_MOHM = 2.0e5
_HUM_MV = 0.8
"""Offset, input resistance and hum of the simulated amplifier. Invented: a usual one for glass electrodes."""


class CheckBox:
    """Shorted, the voltage, the same through 10 and through 100 MΩ, and the voltage with stirrer and motor on.

    A person turns its switch who is asked to, from step to step; here each new session of the board is a step.
    """

    def __init__(self, voltage_mV: float, session: Callable[[], int], seed: int) -> None:
        """`session` tells the board's session in force."""
        self._random = Random(f"{seed}/check box")
        self._session = session
        self._seen = 0
        self._step = -1
        inputs = [
            (0.0, 0.0, 0.0),
            (voltage_mV, 0.0, 0.0),
            (voltage_mV, 10.0, 0.0),
            (voltage_mV, 100.0, 0.0),
            (voltage_mV, 0.0, _HUM_MV),
        ]
        self._inputs = [
            (mV, AmplifierInput.drawn(self._random, source_MOhm=MOhm, input_MOhm=_INPUT_MOHM, hum_mV=hum_mV))
            for mV, MOhm, hum_mV in inputs
        ]

    def sample(self, t_s: float, delivered_mL: float) -> float:
        """Potential in mV at the amplifier; what was delivered means nothing here."""
        assert math.isfinite(delivered_mL)
        session = self._session()
        if session != self._seen:
            self._seen = session
            self._step = (self._step + 1) % len(self._inputs)
        potential_mV, put_in = self._inputs[max(0, self._step)]
        noise_mV = self._random.gauss(0.0, _NOISE_MV)
        return _OFFSET_MV + potential_mV * put_in.gain + put_in.humming_mV(t_s) + noise_mV
