"""Metals with EDTA in a buffer, followed by an electrode for the metal or, by a trace of its complex, for copper.

Conditional constants by `titrator.chemistry.complexation`, at the pH of the buffer and its free ammonia at the start.
Both are held: idealised, as the page of the chemistry says. The constants do not change with temperature.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from sim.chemistry.ions import Indicator, IonChemistry, titrant_of
from sim.contents import Contents
from titrator.chemistry.complexation import edta_system
from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.system import System


@dataclass(frozen=True, slots=True)
class IonElectrode:
    """E = E0 + share·(RT/2F)·ln([M2+] + detection) for the metal in pool `index`; EDTA is the master.

    `K` is the conditional constant, `free_share` what of the metal outside the complex is the free ion.
    """

    at_1_mol_per_L_mV: float
    slope_mV: float
    index: int
    K: float
    free_share: float
    detection_mol_per_L: float

    def shown(self, y: float, p: float, contents: Contents) -> tuple[float, float]:
        """(potential in mV against the reference, its slope in ln of free EDTA in units of RT/F)."""
        del p
        bound = self.K * math.exp(min(max(y, -300.0), 300.0))
        free = 1000.0 * contents.amounts_mol[self.index] / contents.volume_mL * self.free_share / (1.0 + bound)
        seen = free + self.detection_mol_per_L
        if seen <= 0.0:
            return -math.inf, 0.0
        slope = 0.5 * bound / (1.0 + bound) * free / seen
        return self.at_1_mol_per_L_mV + 0.5 * self.slope_mV * math.log(seen), slope


@dataclass(frozen=True, slots=True)
class EdtaPlan:
    """What is put in, the conditional log10 K of each metal, which of them the electrode follows, and its figures."""

    vessel_mol: Mapping[str, float]
    active_mol_per_L: float
    scale_mol: float
    log_K: Mapping[str, float]
    follows: str
    free_share: float
    at_1_mol_per_L_mV: float
    slope_share: float
    detection_mol_per_L: float

    def system(self) -> System:
        """EDTA as the master, a pool for each metal."""
        return edta_system(dict(self.log_K))

    def build(self, temperature_C: float) -> tuple[System, Indicator]:
        """System and ion electrode at a temperature."""
        electrode = IonElectrode(
            self.at_1_mol_per_L_mV,
            self.slope_share * nernst_slope_mV(temperature_C),
            list(self.log_K).index(self.follows),
            math.pow(10.0, self.log_K[self.follows]),
            self.free_share,
            self.detection_mol_per_L,
        )
        return self.system(), electrode


def edta_chemistry(plan: EdtaPlan, temperature_C: float) -> IonChemistry:
    """The chemistry at the temperature of the start."""
    titrant = titrant_of(plan.system(), {"EDTA": plan.active_mol_per_L}, plan.active_mol_per_L)
    return IonChemistry(plan.build, titrant, plan.scale_mol, temperature_C)
