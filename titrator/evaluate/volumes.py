"""Volumes of glassware and burettes as models: what belongs to the vessel, what to one filling, what to the warmth.

All volumes are told as what the liquid takes at 20 °C, so that amounts per volume may be multiplied and divided
whatever the temperatures were. The calibration of a vessel is one source for all its fillings; the scatter of a
filling is a source for each; the temperature is one source for all that was at the same temperature.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from titrator.chemistry.water import BOROSILICATE_PER_K, CALIBRATED_AT_C
from titrator.evaluate.measurement import Model, model_of
from titrator.evaluate.propagation import Distribution
from titrator.evaluate.quantity import Quantity

WATER_PER_K = 2.1e-4
"""Cubic expansion of water and dilute solutions near 20 °C. Source: Eurachem/CITAC CG4 (2012), A2."""


@dataclass(frozen=True, slots=True)
class Warmth:
    """The temperature of a liquid in its vessel, and the cubic expansion of both in 1/K.

    Pass the same `temperature` where liquids were equally warm: its part then cancels between them.
    """

    temperature: Quantity
    liquid_per_K: float = WATER_PER_K
    vessel_per_K: float = BOROSILICATE_PER_K

    def factor(self) -> Model:
        """Return the volume at 20 °C over the nominal volume (vessel wider, liquid thinner when warm)."""
        above = model_of(self.temperature) - CALIBRATED_AT_C
        return ((1.0 + self.vessel_per_K * above) / (1.0 + self.liquid_per_K * above)).in_unit("1")


def _warmed(volume: Model, warmth: Warmth | None) -> Model:
    """Return the volume at 20 °C."""
    return (volume if warmth is None else volume * warmth.factor()).in_unit("mL")


@dataclass(frozen=True, slots=True)
class Glassware:
    """A pipette or flask: nominal volume in mL, the error of its mark, the standard deviation of one filling in mL.

    `error` in mL is one source for all fillings: value 0, or what a certificate states.
    """

    name: str
    nominal_mL: float
    error: Quantity
    filling_u_mL: float = 0.0
    filling_dof: float = math.inf

    def __post_init__(self) -> None:
        """Refuse a vessel without a volume; raises ValueError."""
        if not (math.isfinite(self.nominal_mL) and self.nominal_mL > 0.0):
            raise ValueError(f"{self.name}: a volume above 0 mL expected, {self.nominal_mL!r} came")

    @classmethod
    def within(
        cls,
        name: str,
        nominal_mL: float,
        tolerance_mL: float,
        shape: Distribution = "triangular",
        filling_u_mL: float = 0.0,
    ) -> Glassware:
        """Return glassware by its tolerance: triangular, as values near the mark are the likelier (CG4, A2)."""
        error = Quantity.bounded(f"{name}, calibration", 0.0, tolerance_mL, "mL", shape)
        return cls(name, nominal_mL, error, filling_u_mL)

    def filled(self, filling: str = "", warmth: Warmth | None = None) -> Model:
        """Return the volume of one filling in mL at 20 °C; name each filling, as its scatter is its own."""
        volume = self.nominal_mL + model_of(self.error)
        if self.filling_u_mL > 0.0:
            called = f"{self.name}, filling {filling}" if filling else f"{self.name}, filling"
            dof = self.filling_dof
            volume = volume + Quantity(
                called, 0.0, self.filling_u_mL, "mL", "t" if math.isfinite(dof) else "normal", dof
            )  # fmt: skip
        return _warmed(volume, warmth)


@dataclass(frozen=True, slots=True)
class Burette:
    """A burette: what its calibration leaves open, as a `factor` (value 1), as a `shift` in mL (value 0), or both.

    A shift common to all readings cancels when a blank is taken off; a factor cancels between standardisation and
    sample. Both do so by being one source.
    """

    factor: Quantity | None = None
    shift: Quantity | None = None

    @classmethod
    def within(cls, half_width: float, name: str = "burette calibration") -> Burette:
        """Return a burette by its relative limits (0.002 for ±0.2 %), rectangular."""
        return cls(factor=Quantity.bounded(name, 1.0, half_width))

    def delivered(self, indicated: Quantity | float, warmth: Warmth | None = None) -> Model:
        """Return the volume delivered in mL at 20 °C; `indicated` carries the random part, one name for each run.

        `warmth` is that of the titrant in the burette.
        """
        volume = model_of(indicated)
        if self.shift is not None:
            volume = volume + self.shift
        if self.factor is not None:
            volume = volume * self.factor
        return _warmed(volume, warmth)
