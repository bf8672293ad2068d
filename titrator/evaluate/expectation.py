"""What a method lets the evaluation expect of a curve. Everything may be unknown."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from titrator.evaluate.whole_curve import Known

ModelName = Literal["redox", "symmetric", "acid", "complexation", "exchange"]


@dataclass(frozen=True, slots=True)
class Expectation:
    """Weak knowledge that a method and a rig give; None where there is none.

    `points_sought`: number of equivalence points (None: at least one; 0: a blank). `model`: "redox" (any numbers of
    electrons), "symmetric" (1:1 precipitation, strong acid with strong base), "acid" (weak acid or base with a strong
    one, of `sites` protons at one point), "complexation" (an electrode of the ion that is bound), "exchange" (of
    another ion, through a trace of its complex); None lets the models compete. `rising`: whether potentials in mV rise
    with the titrant (pH and pX then fall); None where that is unknown.

    Formal potentials in mV against the method's reference electrode, each with a prior standard deviation: 17 mV is
    ±30 mV taken as rectangular. `slope_mV` is RT/F times the share of it that electrodes reach (0.975), its sd covers
    0.95 to 1. `oxidised_share_sd`: how much of the analyte may have been converted before the titration (moles of
    product per mole of analyte). `analyte_slope_sd_mV`, `titrant_slope_sd_mV`: where electrodes do not follow a slow
    couple, the slope of its branch is its own. `neutral_mV`: a glass electrode at pH 7.

    `sd_volume_mL`: random error of the burette about an absolute target. `sd_signal_floor`: least standard deviation of
    a reading, in the signal's unit. `calibration_half_width`: systematic error of the burette, relative, rectangular
    (0.002 for ±0.2 %). `vessel_mL`: liquid at the start, `titrant_mol_per_L`: of a strong acid or base; None where they
    are not known. `left_out_half_width`: what the model leaves out and no curve tells apart, relative to the volume
    (rectangular).

    `previous_step`, `next_step`: whether another analyte is used up before or behind this point. `then`: what is
    expected of the further points, in order. `known`: the chemistry, for a fit of the whole curve with all its points.
    `by_extrapolation`: the method means to take its result from Gran's lines, as an estimate.
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
    rising: bool | None = None
    analyte_slope_sd_mV: float | None = None
    titrant_slope_sd_mV: float | None = None
    neutral_mV: float | None = None
    neutral_sd_mV: float = 30.0
    sites: int = 1
    vessel_mL: float | None = None
    titrant_mol_per_L: float | None = None
    left_out_half_width: float = 0.0
    previous_step: bool = False
    next_step: bool = False
    then: tuple[Expectation, ...] = ()
    known: Known | None = None
    by_extrapolation: bool = False

    def __post_init__(self) -> None:
        """Refuse what no method could mean; raises ValueError."""
        if self.points_sought is not None and self.points_sought < 0:
            raise ValueError(f"points_sought: 0 or more expected, {self.points_sought} came")
        for name in ("analyte_electrons", "titrant_electrons", "sites"):
            if getattr(self, name) < 1:
                raise ValueError(f"{name}: 1 or more expected, {getattr(self, name)} came")
        for name in (
            "analyte_potential_sd_mV",
            "titrant_potential_sd_mV",
            "slope_mV",
            "slope_sd_mV",
            "analyte_slope_sd_mV",
            "titrant_slope_sd_mV",
            "neutral_sd_mV",
            "vessel_mL",
            "titrant_mol_per_L",
            "oxidised_share_sd",
            "sd_volume_mL",
        ):
            value = getattr(self, name)
            if value is not None and not 0.0 < value < math.inf:
                raise ValueError(f"{name}: a finite number above 0 expected, {value} came")
        for name in ("sd_signal_floor", "calibration_half_width", "left_out_half_width"):
            value = getattr(self, name)
            if value is not None and not 0.0 <= value < math.inf:
                raise ValueError(f"{name}: a finite number >= 0 expected, {value} came")

    @property
    def steps(self) -> tuple[Expectation, ...]:
        """Return what is expected of each point in order: this, then the further ones."""
        return (self, *self.then)

    @property
    def own_slopes(self) -> bool:
        """Return whether the branches have slopes of their own."""
        return self.analyte_slope_sd_mV is not None or self.titrant_slope_sd_mV is not None

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
