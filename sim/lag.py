"""First-order lag, exact for an input that goes in straight lines."""

import math


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
