"""Halides with silver at a silver electrode: pAg by `titrator.chemistry.precipitation`, with Davies' coefficients."""

from collections.abc import Mapping
from dataclasses import dataclass

from sim.chemistry.ions import Indicator, IonChemistry, only, titrant_of
from sim.contents import Contents
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.precipitation import silver_potential_mV, silver_system
from titrator.chemistry.system import System
from titrator.chemistry.water import HIGHEST_C, LOWEST_C

FILM_SHARE = 2e-6
"""Silver halide that the electrode brings along, as a share of the halide: it sets the potential before any titrant."""


@dataclass(frozen=True, slots=True)
class SilverElectrode:
    """E = E°(Ag+/Ag) − reference + offset − share·S·pAg."""

    at_pAg_0_mV: float
    slope_mV: float

    def shown(self, y: float, p: float, contents: Contents) -> tuple[float, float]:
        """(potential in mV against the reference, 1)."""
        del y, contents
        return self.at_pAg_0_mV - self.slope_mV * p, 1.0


@dataclass(frozen=True, slots=True)
class SilverPlan:
    """What is put in (mol, and mol/L of titrant, by names of species), the reference against SHE, the electrode."""

    vessel_mol: Mapping[str, float]
    titrant_mol_per_L: Mapping[str, float]
    active_mol_per_L: float
    scale_mol: float
    reference_mV: float
    offset_mV: float
    slope_share: float

    def system(self, temperature_C: float) -> System:
        """The pools that are there, at a temperature (constants held outside 0 to 50 °C)."""
        temperature_C = min(max(temperature_C, LOWEST_C), HIGHEST_C)
        whole = silver_system(temperature_C=temperature_C, activity="davies")
        return only(whole, self.vessel_mol, self.titrant_mol_per_L)

    def build(self, temperature_C: float) -> tuple[System, Indicator]:
        """System and silver electrode at a temperature."""
        at_pAg_0_mV = silver_potential_mV(0.0, temperature_C) - self.reference_mV + self.offset_mV
        slope_mV = self.slope_share * nernst_slope_per_decade_mV(temperature_C)
        return self.system(temperature_C), SilverElectrode(at_pAg_0_mV, slope_mV)


def silver_chemistry(plan: SilverPlan, temperature_C: float) -> IonChemistry:
    """The chemistry at the temperature of the start."""
    titrant = titrant_of(plan.system(temperature_C), plan.titrant_mol_per_L, plan.active_mol_per_L)
    return IonChemistry(plan.build, titrant, plan.scale_mol, temperature_C)
