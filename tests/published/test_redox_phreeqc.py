"""Redox curves against USGS PHREEQC; the water couples are out of reach there (the titrants lie above them).

Formal potentials: activity coefficients 1 in both, E within 0.5 mV or the volume within 1e-4·Ve inside the jump. What
is left of a difference is PHREEQC's water, made or used by the reactions, and its activity of water.
"""

import numpy as np
import pytest

from titrator.chemistry.activity import Davies
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.couple_table import DICHROMATE, PERMANGANATE
from titrator.chemistry.couples import CERIUM, IRON
from titrator.chemistry.pools import Master, Pool, Species
from titrator.chemistry.redox_cell import AcidLevel, CellTitration, RedoxCell
from titrator.chemistry.system import System, spectator
from titrator.chemistry.titration import Titration
from titrator.chemistry.water import debye_huckel_A_molal

S_mV = nernst_slope_per_decade_mV(25.0)
OUT_OF_REACH = {"OXYGEN": -300.0, "HYDROGEN": -300.0, "HYDROLYSIS": -30.0}
VOLUMES_mL = sorted({*np.arange(1.0, 100.0, 3.0).tolist(), *(50.0 + s * 10.0**-k for k in range(5) for s in (-1, 1)), 50.0})  # fmt: skip # noqa: E501


def agree(found_mV, titration_mL, other_mV, tolerance_mV):
    """Potentials within the tolerance, or in the jump volumes within 1e-4 of the equivalence volume."""
    for volume_mL, ours, other in zip(VOLUMES_mL, found_mV, other_mV, strict=True):
        if abs(ours - other) > tolerance_mV:
            assert abs(volume_mL - 50.0) < 0.5, f"{volume_mL} mL lies outside the jump: {ours} and {other} mV"
            assert abs(titration_mL(other) - volume_mL) <= 1e-4 * 50.0


def test_iron_with_cerium(phreeqc):
    oracle = phreeqc(formal=True, FE=-680 / S_mV, CE=-1440 / S_mV, **OUT_OF_REACH)
    vessel = "pH 0\npe 9\nCl 1.2 charge\nFe(+2) 0.1\nFe(+3) 1e-9"
    oracle.solutions(vessel, "pH 0\npe 26\nCl 1.5 charge\nCe(+4) 0.1\nCe(+3) 1e-12", '-LA("e-")', 50.0)
    cell = RedoxCell([(IRON, 0.68), (CERIUM, 1.44)])
    titration = CellTitration(cell, {"iron(II)": 0.005}, 50.0, {"cerium(IV)": 0.1})
    others = [S_mV * pe for (pe,) in oracle.mixtures(VOLUMES_mL)]
    agree([titration.potential_mV(v) for v in VOLUMES_mL], titration.volume_mL, others, 0.2)


@pytest.mark.parametrize("oxidant", ["permanganate", "dichromate"])
def test_iron_with_oxidants_that_use_up_acid(phreeqc, oxidant):
    """Acid counted here by stoichiometry, in PHREEQC by its balance of hydrogen; E depends on it by 95 or 138 mV/pH."""
    oracle = phreeqc(formal=True, FE=-680 / S_mV, **OUT_OF_REACH)
    vessel = "pH 0\npe 9\nCl 1.2 charge\nFe(+2) 0.1\nFe(+3) 1e-9"
    if oxidant == "permanganate":
        couple, strength, potential_V, there = PERMANGANATE, 0.02, 1.51, "pH 7\npe 20\nNa 0.02 charge\nMn(+7) 0.02"
    else:
        couple, strength, potential_V, there = DICHROMATE, 1 / 60, 1.33, f"pH 7\npe 18\nNa 0.03 charge\nCr(+6) {1 / 30}"
    oracle.solutions(vessel, there, '-LA("e-"), -LA("H+")', 50.0)
    acid = AcidLevel(vessel_mol=0.05, per_electron=couple.protons / couple.electrons)
    cell = RedoxCell([(IRON, 0.68), (couple, potential_V)])
    titration = CellTitration(cell, {"iron(II)": 0.005}, 50.0, {oxidant: strength}, acid=acid)
    rows = oracle.mixtures(VOLUMES_mL)

    def volume_mL(potential_mV):
        """At the pH of the equivalence point, which hardly changes inside the jump."""
        held = CellTitration(cell, {"iron(II)": 0.005}, 50.0, {oxidant: strength}, acid=titration.pH(50.0))
        return held.volume_mL(potential_mV)

    for volume, (_, pH) in zip(VOLUMES_mL, rows, strict=True):
        assert abs(titration.pH(volume) - pH) <= 0.004
    agree([titration.potential_mV(v) for v in VOLUMES_mL], volume_mL, [S_mV * pe for pe, _ in rows], 0.5)


def test_thermodynamic_iron_with_davies(phreeqc):
    """Electrons as the master with activity coefficients: Fe3+/Fe2+ at its standard 0.771 V, I below 0.5 mol/L."""
    oracle = phreeqc(CE=-1440 / S_mV, **OUT_OF_REACH)
    asked = '-LA("e-"), MU'
    oracle.solutions("pH 2\npe 9\nCl 0.1 charge\nFe(+2) 0.02\nFe(+3) 1e-9", "pH 2\npe 26\nCl 0.1 charge\nCe(+4) 0.02\nCe(+3) 1e-12", asked, 50.0)  # fmt: skip # noqa: E501
    iron = Pool("iron", (Species("Fe+2", 0, 0.0, 2), Species("Fe+3", -1, -771 / S_mV, 3)), 2)
    cerium = Pool("cerium", (Species("Ce+3", 0, 0.0, 3), Species("Ce+4", -1, -1440 / S_mV, 4)), 3)
    system = System(Master("electrons", 0, ()), [iron, cerium, spectator("Cl-", -1), spectator("H+", 1)], Davies(debye_huckel_A_molal(25.0)))  # fmt: skip # noqa: E501
    acid = 0.0133  # pH 2 with the activity coefficient of Davies in the vessel; the ionic strength is checked below
    vessel = {"Fe+2": 0.001, "H+": acid * 0.05, "Cl-": 0.002 + acid * 0.05}
    titration = Titration(system, vessel, 50.0, {"Ce+4": 0.02, "H+": acid, "Cl-": 0.08 + acid})
    rows = oracle.mixtures(VOLUMES_mL)
    found = [titration.equilibrium(v) for v in VOLUMES_mL]
    for ours, (_, strength) in zip(found, rows, strict=True):
        assert ours.ionic_strength_mol_per_L == pytest.approx(strength, rel=0.05)
    agree([S_mV * f.p for f in found], lambda mV: titration.volume_mL(mV / S_mV), [S_mV * pe for pe, _ in rows], 0.5)
