"""Checking the electrode's amplifier with a wire, a known voltage and two resistors: what the readings say. Pure."""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

RESISTORS_MOHM: Final = (10.0, 100.0)
TOLD_FROM_SD: Final = 3.0
"""A loss is told from none when it is this many of its standard deviations."""
LEAST_INPUT_MOHM: Final = 1e4
"""A glass electrode of 100 MΩ loses 1 % at such an input (the divider 100/(100 + 10 000)); less spoils pH."""


class Measured(NamedTuple):
    """Readings of one step: how many, their mean and standard deviation in mV."""

    readings: int
    mean_mV: float
    sd_mV: float

    @property
    def u_mV(self) -> float:
        """Standard uncertainty of the mean from the scatter."""
        return self.sd_mV / math.sqrt(max(1, self.readings))


class InputResistance(NamedTuple):
    """Of the input, in MΩ, from the loss over a resistor. `at_least`: no loss was told, and it is this or more."""

    MOhm: float
    at_least: bool
    loss: float


def measured(potentials_mV: Sequence[float]) -> Measured:
    """Mean and standard deviation of readings, which are at least two. ValueError for fewer."""
    count = len(potentials_mV)
    if count < 2:
        raise ValueError(f"expected at least two readings, got {count}")
    mean = math.fsum(potentials_mV) / count
    return Measured(count, mean, math.sqrt(math.fsum((each - mean) ** 2 for each in potentials_mV) / (count - 1)))


def gain_error(shorted: Measured, direct: Measured, voltage_mV: float) -> float:
    """By which part the amplifier tells too much of a known voltage, its offset taken out."""
    return (direct.mean_mV - shorted.mean_mV) / voltage_mV - 1.0


def input_resistance(shorted: Measured, direct: Measured, through: Measured, resistor_MOhm: float) -> InputResistance:
    """From the divider that resistor and input are: through/direct = Rin/(Rin + R), so Rin = R·(1 - loss)/loss.

    The offset of the shorted input is taken out. A loss that the scatter hides gives a lower limit.
    """
    span_mV = direct.mean_mV - shorted.mean_mV
    loss = 1.0 - (through.mean_mV - shorted.mean_mV) / span_mV
    u = math.hypot(through.u_mV, direct.u_mV, shorted.u_mV) / abs(span_mV)
    if loss <= TOLD_FROM_SD * u:
        most = max(loss, 0.0) + TOLD_FROM_SD * max(u, 1e-9)
        return InputResistance(resistor_MOhm * (1.0 - most) / most, at_least=True, loss=loss)
    return InputResistance(resistor_MOhm * (1.0 - loss) / loss, at_least=False, loss=loss)


def hum_mV(quiet: Measured, humming: Measured) -> float:
    """Amplitude of a sine that makes the scatter what it is: √2 times what is left when the noise is taken out."""
    return math.sqrt(2.0 * max(0.0, humming.sd_mV**2 - quiet.sd_mV**2))
