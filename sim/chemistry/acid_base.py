"""Acid-base titrations at a glass electrode: pH by `titrator.chemistry.acid_base`, with Davies' coefficients."""

from collections.abc import Mapping
from dataclasses import dataclass

from sim.chemistry.ions import Indicator, IonChemistry, only, titrant_of
from sim.contents import Contents
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, AMMONIUM, CARBONIC, CITRIC, METALS, PHOSPHORIC
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.system import System
from titrator.chemistry.water import HIGHEST_C, LOWEST_C

ACIDS_KNOWN = (ACETIC, CITRIC, PHOSPHORIC, CARBONIC, AMMONIUM)
"""Acids of the reactions known, carbonic acid of the base among them."""


@dataclass(frozen=True, slots=True)
class GlassElectrode:
    """E = E7 − share·S·(pH − 7), S = ln(10)·RT/F; pH is that of the activity."""

    at_pH_7_mV: float
    slope_mV: float

    def shown(self, y: float, p: float, contents: Contents) -> tuple[float, float]:
        """(potential in mV against the reference, 1)."""
        del y, contents
        return self.at_pH_7_mV - self.slope_mV * (p - 7.0), 1.0


@dataclass(frozen=True, slots=True)
class AcidBasePlan:
    """What is put in (mol, and mol/L of titrant, by names of species) and the electrode's two figures."""

    vessel_mol: Mapping[str, float]
    titrant_mol_per_L: Mapping[str, float]
    active_mol_per_L: float
    scale_mol: float
    at_pH_7_mV: float
    slope_share: float

    def system(self, temperature_C: float) -> System:
        """The pools that are there, at a temperature (constants held outside 0 to 50 °C)."""
        temperature_C = min(max(temperature_C, LOWEST_C), HIGHEST_C)
        whole = acid_base_system(ACIDS_KNOWN, METALS, temperature_C=temperature_C, activity="davies")
        return only(whole, self.vessel_mol, self.titrant_mol_per_L)

    def build(self, temperature_C: float) -> tuple[System, Indicator]:
        """System and glass electrode at a temperature."""
        slope_mV = self.slope_share * nernst_slope_per_decade_mV(temperature_C)
        return self.system(temperature_C), GlassElectrode(self.at_pH_7_mV, slope_mV)


def acid_base_chemistry(plan: AcidBasePlan, temperature_C: float) -> IonChemistry:
    """The chemistry at the temperature of the start."""
    titrant = titrant_of(plan.system(temperature_C), plan.titrant_mol_per_L, plan.active_mol_per_L)
    return IonChemistry(plan.build, titrant, plan.scale_mol, temperature_C)
