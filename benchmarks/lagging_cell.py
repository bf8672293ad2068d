"""A simulated electrode whose every reading stays behind its end by an amount that its drift does not show."""

from collections.abc import Callable
from random import Random

Sample = Callable[[float, float], float]


def lagging(sample: Sample, mean_mV: float, *, rises: bool, seed: int) -> Sample:
    """Read through `sample`, behind by a draw of each addition's own between 0 and twice `mean_mV`."""
    random = Random(f"{seed}/lag left")
    toward = -1.0 if rises else 1.0
    delivered, behind_mV = 0.0, 0.0

    def read(t_s: float, delivered_mL: float) -> float:
        nonlocal delivered, behind_mV
        if delivered_mL != delivered:
            delivered, behind_mV = delivered_mL, toward * random.uniform(0.0, 2.0 * mean_mV)
        return sample(t_s, delivered_mL) + behind_mV

    return read
