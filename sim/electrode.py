"""First-order lags, exact for an input that goes in straight lines, and the response time of an electrode."""

import math
from dataclasses import dataclass


def lagged(value: float, start: float, end: float, ratio: float) -> float:
    """Output of a first-order lag after a step of time, while its input went straight from `start` to `end`.

    `ratio` is the step over the time constant (inf for no lag: the output is then `end`). Exact, whatever the step:
    y(h) = u1 − (u1 − u0)·(1 − e^(−r))/r + (y0 − u0)·e^(−r), the solution of τ·dy/dt = u − y.
    """
    if ratio == 0.0:
        return value
    if ratio == math.inf:
        return end
    decay = math.exp(-ratio)
    if start == end:
        return end + (value - end) * decay
    return end - (end - start) * -math.expm1(-ratio) / ratio + (value - start) * decay


@dataclass(frozen=True, slots=True)
class ResponseLaw:
    """Response time by how well the solution is poised: τ = response + slowing·w, w = G^p/(G^p + half^p).

    G = Ve·|dE/dV|/s is the steepness of the curve. An invented law for the demonstration: a metal electrode answers
    slowly where little of one form of each couple is left to exchange electrons.
    """

    response_s: float
    slowing_s: float
    half_at: float
    power: float

    def tau_s(self, poise: float) -> float:
        """Time constant in s at the poise 1/G (0: vertical curve, all of the slowing)."""
        return self.response_s + self.slowing_s / (1.0 + math.pow(self.half_at * poise, self.power))
