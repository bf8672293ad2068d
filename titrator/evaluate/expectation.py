"""What a method lets the evaluation expect of a curve. Everything may be unknown."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

ModelName = Literal["redox", "symmetric", "acid"]


@dataclass(frozen=True, slots=True)
class Expectation:
    """Weak knowledge that a method and a rig give; None where there is none.

    `points_sought`: number of equivalence points (None: at least one; 0: a blank). `model`: "redox" (any numbers of
    electrons), "symmetric" (1:1 precipitation, strong acid with strong base), "acid" (weak acid or base with a strong
    one); None lets the models compete. Formal potentials in mV against the method's reference electrode, each with a
    prior standard deviation: 17 mV is ±30 mV taken as rectangular. `slope_mV` is RT/F times the share of it that
    electrodes reach (0.975), its sd covers 0.95 to 1. `oxidised_share_sd`: how much of the analyte may have been
    converted before the titration (moles of product per mole of analyte). `sd_volume_mL`: random error of the burette
    about an absolute target. `sd_signal_floor`: least standard deviation of a reading, in the signal's unit.
    `calibration_half_width`: systematic error of the burette, relative, rectangular (0.002 for ±0.2 %).
    """

    points_sought: int | None = None
    model: ModelName | None = None
    analyte_potential_mV: float | None = None
    analyte_potential_sd_mV: float = 17.0
    titrant_potential_mV: float | None = None
    titrant_potential_sd_mV: float = 17.0
    analyte_electrons: int = 1
    titrant_electrons: int = 1
    slope_mV: float | None = None
    slope_sd_mV: float | None = None
    oxidised_share_sd: float = 0.02
    sd_volume_mL: float | None = None
    sd_signal_floor: float | None = None
    calibration_half_width: float | None = None

    def __post_init__(self) -> None:
        """Refuse what no method could mean; raises ValueError."""
        if self.points_sought is not None and self.points_sought < 0:
            raise ValueError(f"points_sought: 0 or more expected, {self.points_sought} came")
        for name in ("analyte_electrons", "titrant_electrons"):
            if getattr(self, name) < 1:
                raise ValueError(f"{name}: 1 or more expected, {getattr(self, name)} came")
        for name in (
            "analyte_potential_sd_mV",
            "titrant_potential_sd_mV",
            "slope_mV",
            "slope_sd_mV",
            "oxidised_share_sd",
            "sd_volume_mL",
        ):
            value = getattr(self, name)
            if value is not None and not 0.0 < value < math.inf:
                raise ValueError(f"{name}: a finite number above 0 expected, {value} came")
        for name in ("sd_signal_floor", "calibration_half_width"):
            value = getattr(self, name)
            if value is not None and not 0.0 <= value < math.inf:
                raise ValueError(f"{name}: a finite number >= 0 expected, {value} came")

    @classmethod
    def of_redox(
        cls,
        *,
        analyte_potential_mV: float,
        titrant_potential_mV: float,
        nernst_slope_mV: float,
        analyte_electrons: int = 1,
        titrant_electrons: int = 1,
        points_sought: int = 1,
        sd_volume_mL: float | None = None,
        calibration_half_width: float | None = None,
    ) -> Expectation:
        """Return the expectation of a redox method: RT/F in mV is taken as reached to 0.95 to 1 (rectangular)."""
        return cls(
            points_sought=points_sought,
            model="redox",
            analyte_potential_mV=analyte_potential_mV,
            titrant_potential_mV=titrant_potential_mV,
            analyte_electrons=analyte_electrons,
            titrant_electrons=titrant_electrons,
            slope_mV=0.975 * nernst_slope_mV,
            slope_sd_mV=0.025 / math.sqrt(3.0) * nernst_slope_mV,
            sd_volume_mL=sd_volume_mL,
            calibration_half_width=calibration_half_width,
        )
