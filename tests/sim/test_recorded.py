"""A recorded curve as a cell: what stands in the vessel long enough shows the curve (numpy's interpolation beside)."""

import numpy as np
import pytest

from sim.cell import SimulatedCell
from sim.contents import Contents
from sim.recorded import RecordedChemistry, RecordedCurve, recorded_world
from sim.world import Hardware

HARDWARE = Hardware(0.000625, 25.0, 1000, 0.001, 0.0, 0.1, (-2000.0, 2000.0))


def curve(**changes):
    told = {"volume_mL": (0.0, 5.0, 9.9, 10.1, 20.0), "potential_mV": (250.0, 400.0, 500.0, 900.0, 1000.0)}
    lags = {
        "scale_mL": 10.0,
        "response_s": 2.0,
        "mixing_s": 1.0,
        "noise_mV": 0.0,
        "fill_mL": 50.0,
        "temperature_C": 20.0,
    }
    return RecordedCurve(**{**told, **lags, **changes})


@pytest.mark.parametrize("volume_mL", [0.0, 1.0, 5.0, 7.3, 9.9, 9.95, 10.0, 10.1, 15.0, 20.0, 24.0])
def test_at_rest_it_shows_the_curve(volume_mL):
    told = curve()
    chemistry, contents = RecordedChemistry(told), Contents(50.0, 20.0)
    chemistry.add_titrant(contents, volume_mL)
    assert chemistry.rest(contents)[0] == pytest.approx(np.interp(volume_mL, told.volume_mL, told.potential_mV))
    assert contents.volume_mL == pytest.approx(50.0 + volume_mL)


def test_an_addition_comes_with_both_lags():
    """Two first-order lags after each other, by hand: x(t) = 1 - (a·exp(-t/a) - b·exp(-t/b))/(a - b)."""
    world = recorded_world(curve(), HARDWARE, 1)
    cell = world.board.cell
    assert isinstance(cell, SimulatedCell)
    cell.sample(0.0, 0.0)
    start = cell.sample(1.0, 0.0)
    assert start == pytest.approx(250.0)
    cell.sample(1.001, 2.0)
    for number in range(1, 200):
        t_s = 0.05 * number
        shown = cell.sample(1.001 + t_s, 2.0)
        share = 1.0 - (2.0 * np.exp(-t_s / 2.0) - 1.0 * np.exp(-t_s / 1.0)) / (2.0 - 1.0)
        assert shown == pytest.approx(250.0 + 60.0 * share, abs=0.15)


def test_its_burette_errs_at_random_only_and_it_knows_no_points():
    truth = recorded_world(curve(), HARDWARE, 1).truth()
    assert truth["drawn"] == {"burette_calibration": 0.0}
    assert "equivalence_points_mL" not in truth


@pytest.mark.parametrize(
    "changes",
    [
        {"volume_mL": (0.0,), "potential_mV": (1.0,)},
        {"volume_mL": (0.0, 1.0, 1.0), "potential_mV": (1.0, 2.0, 3.0)},
        {"volume_mL": (0.0, 1.0), "potential_mV": (1.0, 2.0, 3.0)},
        {"volume_mL": (0.0, float("nan")), "potential_mV": (1.0, 2.0)},
    ],
)
def test_what_is_no_curve_is_refused(changes):
    with pytest.raises(ValueError, match="rising volumes"):
        curve(**changes)
