"""How far the steepest place of a curve lies from its equivalence point, in volume and in signal, as computed for it.

Only where both branches approach alike (1:1, equal slopes, no dilution) do they coincide. The inflection is where dV/dE
is least between the branches on either side of the point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.models import CurveModel
from titrator.evaluate.redox_model import RedoxModel
from titrator.evaluate.whole_curve_redox import RedoxCurve

GRID = 2000
"""Places at which dV/dE is looked at first."""


@dataclass(frozen=True, slots=True)
class Inflection:
    """Equivalence point and inflection of one jump; `signal` as read, volumes in mL.

    The differences are inflection less equivalence point.
    """

    equivalence_volume_mL: float
    equivalence_signal: float
    inflection_volume_mL: float
    inflection_signal: float

    @property
    def volume_difference_mL(self) -> float:
        """How far behind the equivalence point the curve is steepest, in mL."""
        return self.inflection_volume_mL - self.equivalence_volume_mL

    @property
    def signal_difference(self) -> float:
        """How far the signal is on there, in its unit."""
        return self.inflection_signal - self.equivalence_signal


def inflection_of(
    model: CurveModel, x: FloatArray, signal: tuple[float, float], *, volume_mL: float | None = None, sign: int = 1
) -> Inflection | None:
    """Inflection beside the equivalence point at `volume_mL` (the model's first, if not told).

    `signal` are the ends of the jump (rising signal) that belong to this point; `sign` is that of the signal as read.
    None where the curve does not pass the point between these ends, or is steepest at one of them.
    """
    at = float(x[0]) if volume_mL is None else volume_mL
    low, high = signal
    grid = np.linspace(low, high, GRID)

    def beyond(where: FloatArray) -> FloatArray:
        if isinstance(model, RedoxCurve):
            return model.beyond_mL(where, x, at)
        if isinstance(model, RedoxModel) and not model.next_step:
            return model.beyond_mL(where, x)
        return np.asarray(model.volume_mL(where, x) - at, dtype=np.float64)

    volume = beyond(grid)
    if not (volume[0] < 0.0 < volume[-1]):
        return None
    step = (high - low) / GRID
    equivalence = float(brentq(lambda where: float(beyond(np.array([where]))[0]), low, high, xtol=1e-9))
    slope = np.diff(volume)
    k = int(np.argmin(slope))
    if k in (0, len(slope) - 1):
        return None

    def flatness(where: float) -> float:
        pair = beyond(np.array([where - 0.5 * step, where + 0.5 * step]))
        return float(np.log(max(pair[1] - pair[0], 1e-300)))

    span = (grid[k - 1], grid[k + 2])
    found = minimize_scalar(flatness, bounds=span, method="bounded", options={"xatol": 1e-6 * (high - low)})
    where = float(found.x)
    return Inflection(at, sign * equivalence, at + float(beyond(np.array([where]))[0]), sign * where)
