"""Silver and EDTA curves against USGS PHREEQC: same constants, Davies in both where constants are thermodynamic."""

import numpy as np
import pytest

from titrator.chemistry.activity import Davies
from titrator.chemistry.complexation import edta_system, pM
from titrator.chemistry.precipitation import CHLORIDE, IODIDE, silver_system
from titrator.chemistry.titration import Titration
from titrator.chemistry.water import debye_huckel_A_molal

CLOSE = [10.0**-k for k in range(-1, 5)]


def volumes(equivalence_mL, last_mL):
    close = [v + sign * step for v in equivalence_mL for step in CLOSE for sign in (-1, 1)]
    return sorted({*np.arange(1.0, last_mL, 2.0).tolist(), *equivalence_mL, *close})


@pytest.mark.parametrize("formal", [False, True])
@pytest.mark.parametrize("mixed", [False, True])
def test_chloride_and_iodide(phreeqc, formal, mixed):
    """0.5 mV of a silver electrode is 0.0085 in pAg: 0.002 holds outside the jumps; volumes to 1e-4·Ve inside."""
    oracle = phreeqc(formal=formal)
    iodide = 0.05 if mixed else 0.0
    oracle.solutions(f"pH 7 charge\nNa {0.08 + iodide}\nCl 0.08\nIod {iodide or 1e-30}", "pH 7 charge\nAg 0.1\nN 0.1", '-LA("Ag+")', 50.0)  # fmt: skip # noqa: E501
    solids = "AgCl(s) 0 0" + ("\nAgI(s) 0 0" if mixed else "")
    system = silver_system([CHLORIDE, IODIDE], activity="none" if formal else Davies(debye_huckel_A_molal(25.0)))
    recipe = {"Cl-": 0.004, "I-": 0.05 * iodide, "Na+": 0.004 + 0.05 * iodide}
    titration = Titration(system, recipe, 50.0, {"Ag+": 0.1, "NO3-": 0.1})
    ends = [25.0, 65.0] if mixed else [40.0]
    volumes_mL = volumes(ends, 90.0)
    for volume_mL, (other,) in zip(volumes_mL, oracle.mixtures(volumes_mL, solids), strict=True):
        if abs(titration.p(volume_mL) - other) > 0.002:
            nearest = min(ends, key=lambda v: abs(v - volume_mL))
            assert abs(nearest - volume_mL) < 0.02 * nearest
            assert abs(titration.volume_mL(other) - volume_mL) <= 1e-4 * nearest


def test_calcium_and_magnesium_with_edta(phreeqc):
    """Both metals at once, conditional constants at pH 10 (0.299·K) as formal ones."""
    log_K = {"Ca": 10.65 - 0.524, "Mg": 8.79 - 0.524}
    oracle = phreeqc(formal=True, CAY=log_K["Ca"], MGY=log_K["Mg"])
    oracle.solutions(
        "pH 7 charge\nCl 0.016\nCa 0.005\nMg 0.003", "pH 7 charge\nNa 0.04\nEdta 0.01", '-LA("Ca+2"), -LA("Mg+2")', 50.0
    )
    titration = Titration(edta_system(log_K), {"Ca": 0.00025, "Mg": 0.00015}, 50.0, {"EDTA": 0.01})
    volumes_mL = volumes([40.0], 70.0)
    for volume_mL, (pCa, pMg) in zip(volumes_mL, oracle.mixtures(volumes_mL), strict=True):
        for metal, other in (("Ca", pCa), ("Mg", pMg)):
            assert abs(pM(titration, volume_mL, metal) - other) <= 0.005
