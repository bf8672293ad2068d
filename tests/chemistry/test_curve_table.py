"""A curve drawn through exact nodes agrees with the direct solution; what it cannot draw is refused."""

import math

import numpy as np
import pytest

from titrator.chemistry import curves
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import CARBONIC, IRON_III, PHOSPHORIC
from titrator.chemistry.couple_table import DICHROMATE
from titrator.chemistry.couples import CERIUM, IRON
from titrator.chemistry.curve_table import CurveTable
from titrator.chemistry.precipitation import CHLORIDE, IODIDE, silver_system
from titrator.chemistry.redox_cell import CellTitration, RedoxCell
from titrator.chemistry.titration import Titration

SODA = {"Na+": 0.1, "OH-": 0.1}
IRON_VESSEL = {"iron(II)": 0.005}
TITRATIONS = {
    "phosphoric acid": Titration(acid_base_system([PHOSPHORIC]), {"H3PO4": 0.0025}, 50.0, SODA),
    "carbonic and hydrochloric acid, Davies": Titration(
        acid_base_system([CARBONIC], activity="davies"), {"H2CO3": 0.001, "H+": 0.002, "Cl-": 0.002}, 50.0, SODA
    ),
    "iron(III) that precipitates": Titration(
        acid_base_system(metals=[IRON_III]), {"Fe+3": 0.0005, "H+": 0.002, "Cl-": 0.0035}, 50.0, SODA
    ),
    "chloride and iodide": Titration(
        silver_system([CHLORIDE, IODIDE]), {"Cl-": 0.004, "I-": 0.002, "Na+": 0.006}, 50.0, {"Ag+": 0.1, "NO3-": 0.1}
    ),
    "iron(II) with cerium(IV)": CellTitration(
        RedoxCell([(IRON, 0.68), (CERIUM, 1.44)]), IRON_VESSEL, 50.0, {"cerium(IV)": 0.1}
    ).titration,
    "iron(II) with dichromate": CellTitration(
        RedoxCell([(IRON, 0.68), (DICHROMATE, 1.33)]), IRON_VESSEL, 50.0, {"dichromate": 1 / 60}
    ).titration,
}


@pytest.mark.parametrize("name", TITRATIONS)
def test_table_equals_the_direct_solution(name):
    titration = TITRATIONS[name]
    table = CurveTable(titration, 100.0, 0.05)
    volumes_mL = np.concatenate([np.linspace(0.05, 100.0, 3001), [50.0, 49.999, 50.001, 60.0 - 1e-6, 60.0]])
    expected = curves.p(titration, volumes_mL)
    found = table.p(volumes_mL)  # not in order: the general way
    close = np.abs(found - expected) <= 1e-6
    np.testing.assert_allclose(curves.volume_mL(titration, found[~close]), volumes_mL[~close], rtol=1e-9)
    np.testing.assert_array_equal(
        table.p(np.sort(volumes_mL)), np.sort(found) if found[0] < found[-2] else -np.sort(-found)
    )


def test_shapes():
    table = CurveTable(TITRATIONS["phosphoric acid"], 100.0)
    assert table.p(50.0).shape == ()
    assert table.p([]).shape == (0,)
    assert table.p([[1.0, 2.0], [3.0, 4.0]]).shape == (2, 2)
    assert table.p(0.0) == pytest.approx(TITRATIONS["phosphoric acid"].p(0.0), abs=1e-9)


@pytest.mark.parametrize("volumes_mL", [[-0.1], [100.1], [math.nan], [1.0, math.nan, 2.0]])
def test_volumes_outside_are_refused(volumes_mL):
    table = CurveTable(TITRATIONS["phosphoric acid"], 100.0)
    with pytest.raises(ValueError, match="volumes from 0 to 100 mL were expected"):
        table.p(volumes_mL)


@pytest.mark.parametrize(("first_mL", "last_mL"), [(-1.0, 10.0), (10.0, 10.0), (0.0, math.inf), (math.nan, 1.0)])
def test_limits_without_a_curve_are_refused(first_mL, last_mL):
    with pytest.raises(ValueError, match="0 <= first < last"):
        CurveTable(TITRATIONS["phosphoric acid"], last_mL, first_mL)


def test_an_infinite_start_is_refused():
    with pytest.raises(ValueError, match="begin at a volume above 0 mL"):
        CurveTable(TITRATIONS["iron(II) with cerium(IV)"], 100.0)
