"""The whole-curve models against the balances of titrator.chemistry (computed by us, apart from the models)."""

from random import Random

import numpy as np
import pytest
from whole_cases import CASES, Case

from titrator.evaluate.whole_curve import Known
from titrator.evaluate.whole_fit import whole_curve

EXACT_mL = 1e-6
ACTIVITY_mL = 5e-5
"""Where the ionic strength follows from V by a few rounds: a twentieth of a microlitre."""
HYDROXIDE_mL = 0.02
"""Behind the point of free acid, where iron(II) hydroxide precipitates at almost constant pH: 10 µL are 0.0001 pH."""


def volumes_mL(case: Case) -> np.ndarray:
    near = np.array([-0.1, -0.01, -0.001, 0.0, 0.001, 0.01, 0.1])
    each = [point + near for point in case.points_mL]
    return np.sort(np.concatenate([np.linspace(0.05, 1.5 * case.points_mL[-1], 120), *each]))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_volume_is_that_of_the_chemistry(case: Case):
    """V of the chemistry's potential at V is V again, from before the jump to half as much behind the last point."""
    model = whole_curve(case.known)
    assert len(model.parameters) == len(case.truth)
    volume = volumes_mL(case)
    found = model.volume_mL(case.known.sign * case.signal(volume), case.truth)
    behind = volume > case.points_mL[0] + 0.05
    rounds = case.known.reaction.family in ("acid-base", "precipitation")
    allowed = np.where(behind & case.known.metal, HYDROXIDE_mL, ACTIVITY_mL if rounds else EXACT_mL)
    assert np.all(np.abs(found - volume) <= allowed)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_volume_rises_with_the_signal_and_is_finite_everywhere(case: Case):
    """Also for parameters far from any truth: 30 draws of up to 5 prior standard deviations, from a stated seed."""
    model = whole_curve(case.known)
    volume = volumes_mL(case)
    measured = case.known.sign * case.signal(volume)
    wide = np.linspace(measured.min() - 3000.0, measured.max() + 3000.0, 800)
    inside = np.linspace(measured.min(), measured.max(), 400)
    lines = model.lines(case.known, measured)
    random = Random(f"whole curve/{case.name}")
    with np.errstate(all="raise", under="ignore"):
        assert np.all(np.diff(model.volume_mL(inside, case.truth)) > -1e-9)
        for _ in range(30):
            x = case.truth.copy()
            for k, line in enumerate(lines, start=len(case.points_mL)):
                moved = x[k] + random.uniform(-5.0, 5.0) * line.prior_sd
                x[k] = min(max(moved, line.lower), line.upper)
            assert np.all(np.isfinite(model.volume_mL(wide, x)))


def test_what_no_method_could_mean_is_refused():
    known = CASES[0].known
    for wrong in ({"points": 2}, {"vessel_mL": 0.0}, {"titrant_mol_per_L": float("nan")}, {"couples": ()}):
        told = {"points": 1, "vessel_mL": 50.0, "titrant_mol_per_L": 0.1, "couples": known.couples, **wrong}
        with pytest.raises(ValueError, match="expected"):
            Known(known.reaction, **told)
