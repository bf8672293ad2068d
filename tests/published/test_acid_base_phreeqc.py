"""Whole curves against USGS PHREEQC, an independent code: same constants, Davies in both, compared by moles added.

What still differs between the two: PHREEQC counts per kg of water and keeps the water that neutralisation makes (0.1 %
of the vessel), lowers the activity of water by 0.017 per mol of solutes, and puts the permittivity so that A = 0.5100;
here the litre stands for the kilogram, the activity of water is 1 and A = 0.5098 on that scale. Together 0.002 in pH.
"""

import numpy as np
import pytest

from titrator.chemistry import curves
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, CARBONIC, CITRIC, IRON_II, IRON_III, PHOSPHORIC
from titrator.chemistry.activity import Davies
from titrator.chemistry.titration import Titration
from titrator.chemistry.water import debye_huckel_A_molal

SODA = "pH 13 charge\nNa 0.1"

# (acid here, vessel here in mol for 50 mL, vessel there, charge of the vessel's pH line)
CASES = {
    "acetic acid": (ACETIC, {"CH3COOH": 0.005}, "pH 3 charge\nAcetate 0.1", [50.0]),
    "phosphoric acid": (PHOSPHORIC, {"H3PO4": 0.005}, "pH 2 charge\nP 0.1", [50.0, 100.0]),
    "citric acid": (CITRIC, {"H3Cit": 0.002}, "pH 2 charge\nCitrate 0.04", [60.0]),
    "carbonic acid": (CARBONIC, {"H2CO3": 0.002}, "pH 4 charge\nC(4) 0.04", [20.0, 40.0]),
    "hydrochloric acid": (CARBONIC, {"H+": 0.005, "Cl-": 0.005}, "pH 1 charge\nCl 0.1", [50.0]),
}


def davies_molal():
    """Davies with A per kg of water, since the litre stands for the kilogram in this comparison."""
    return Davies(debye_huckel_A_molal(25.0))


def volumes(equivalence_mL):
    """A whole curve: even steps, and steps that close in on each equivalence point."""
    close = [v + sign * 10.0**-k for v in equivalence_mL for k in range(-1, 5) for sign in (-1, 1)]
    return sorted({*np.arange(0.0, 150.1, 2.5).tolist(), *(v for v in close if v > 0)})


def agree(titration, volumes_mL, found_pH, equivalence_mL):
    """pH within 0.002, or in the jump the volume of that pH within 1e-4 of the equivalence volume."""
    ours = curves.p(titration, volumes_mL)
    for volume_mL, pH, (other, *_) in zip(volumes_mL, ours, found_pH, strict=True):
        if abs(pH - other) > 0.002:
            nearest = min(equivalence_mL, key=lambda v: abs(v - volume_mL))
            assert abs(nearest - volume_mL) < 0.02 * nearest, f"{volume_mL} mL lies outside the jump: {pH} and {other}"
            assert abs(titration.volume_mL(other) - volume_mL) <= 1e-4 * nearest


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("formal", [False, True])
def test_whole_curve(phreeqc, name, formal):
    acid, recipe, vessel, equivalence_mL = CASES[name]
    oracle = phreeqc(formal=formal)
    oracle.solutions(vessel, SODA, '-LA("H+")', 50.0)
    volumes_mL = volumes(equivalence_mL)
    system = acid_base_system([acid], activity="none" if formal else davies_molal())
    titration = Titration(system, recipe, 50.0, {"Na+": 0.1, "OH-": 0.1})
    agree(titration, volumes_mL, oracle.mixtures(volumes_mL), equivalence_mL)


def test_carbonate_in_the_base(phreeqc):
    """Hydrochloric acid with 0.1 mol/L soda of which 2 % has become carbonate; in a closed vessel."""
    oracle = phreeqc()
    oracle.solutions("pH 1 charge\nCl 0.1", "pH 13 charge\nNa 0.1\nC(4) 0.002", '-LA("H+")', 50.0)
    titration = Titration(
        acid_base_system([CARBONIC], activity=davies_molal()),
        {"H+": 0.005, "Cl-": 0.005},
        50.0,
        {"Na+": 0.1, "OH-": 0.096, "CO3-2": 0.002},
    )
    volumes_mL = volumes([50.0, 51.0])
    agree(titration, volumes_mL, oracle.mixtures(volumes_mL), [50.0, 51.0])


def test_carbonate_with_acid(phreeqc):
    """Sodium carbonate with hydrochloric acid, both points; the vessel is closed, so no CO2 leaves."""
    oracle = phreeqc()
    oracle.solutions("pH 11 charge\nNa 0.1\nC(4) 0.05", "pH 1 charge\nCl 0.1", '-LA("H+")', 50.0)
    titration = Titration(
        acid_base_system([CARBONIC], activity=davies_molal()),
        {"Na+": 0.005, "CO3-2": 0.0025},
        50.0,
        {"H+": 0.1, "Cl-": 0.1},
    )
    volumes_mL = volumes([25.0, 50.0])
    agree(titration, volumes_mL, oracle.mixtures(volumes_mL), [25.0, 50.0])


def test_free_acid_beside_hydrolysing_iron(phreeqc):
    """A pickling bath, diluted: free acid, then iron(III) and iron(II) come down as hydroxides; solids included."""
    oracle = phreeqc()
    asked = '-LA("H+"), EQUI("Ferrihydrite"), EQUI("Fe(OH)2(s)")'
    oracle.solutions("pH 1 charge\nCl 0.155\nFe(+3) 0.005\nFe(+2) 0.02\npe 10", SODA, asked, 50.0)
    system = acid_base_system(metals=[IRON_III, IRON_II], activity=davies_molal())
    chloride = 0.155 * 0.05
    free = chloride - 3 * 0.005 * 0.05 - 2 * 0.02 * 0.05
    titration = Titration(
        system,
        {"Cl-": chloride, "H+": free, "Fe+3": 0.005 * 0.05, "Fe+2": 0.02 * 0.05},
        50.0,
        {"Na+": 0.1, "OH-": 0.1},
    )
    volumes_mL = np.arange(0.0, 120.0, 1.5).tolist()
    rows = oracle.mixtures(volumes_mL, "Ferrihydrite 0 0\nFe(OH)2(s) 0 0")
    agree(titration, volumes_mL, rows, [free / 1e-4, (free + 0.00075) / 1e-4, chloride / 1e-4])
    solid_III = []
    for volume_mL in volumes_mL:
        found = titration.equilibrium(volume_mL)
        held = system.species_mol(titration.state(volume_mL), found.y, found.g)
        solid_III.append(held["Fe+3 hydroxide(s)"])
    np.testing.assert_allclose(solid_III, [row[1] for row in rows], atol=2e-6)
