"""Gran's lines on curves of exact balances: each kind, both branches, and what must not be called a line."""

from dataclasses import replace

import numpy as np
import pytest
from titration_curves import measured, redox_mV, strong_acid_ph, weak_acid_ph

from titrator.evaluate.curve import Curve
from titrator.evaluate.gran import GranSettings, as_estimate, gran_lines, meeting

VE_mL = 10.07
VOLUME = np.arange(0.3, 15.0, 0.3)
VESSEL = GranSettings(vessel_mL=50.0)


def redox(volume):
    return redox_mV(volume, equivalence_mL=VE_mL, slope_mV=25.0)


def weak(volume):
    return weak_acid_ph(volume, equivalence_mL=VE_mL)


def strong(volume):
    return strong_acid_ph(volume, equivalence_mL=VE_mL)


KINDS = {
    "redox": (redox, "mV", GranSettings(slope=25.1), 0.3),
    "weak": (weak, "pH", VESSEL, 0.01),
    "strong": (strong, "pH", VESSEL, 0.01),
}


def lines_of(kind, *, seed=1, sign=1, volume=VOLUME, jump_mL=VE_mL):
    shape, unit, known, sd = KINDS[kind]
    signal = sign * measured(shape, volume, seed, 0.003, sd)
    known = replace(known, sd_volume_mL=0.003)
    curve = Curve(volume, signal, unit)
    return gran_lines(curve, kind, known, sd_signal=np.full(len(volume), sd), jump_mL=jump_mL)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("kind", list(KINDS))
def test_both_lines_meet_at_the_equivalence_point(kind, sign):
    """Rising and falling curves; the balance is exact, so that 10.07 mL is known."""
    lines = lines_of(kind, sign=sign)
    assert [line.side for line in lines] == ["before", "behind"]
    for line in lines:
        assert line.reason == ""
        assert line.interval_95_mL[0] < VE_mL < line.interval_95_mL[1]
        assert line.dof == len(line.rows) - 2
        assert line.u_mL < 0.06
    volume_mL, u_mL = meeting(lines)
    assert volume_mL == pytest.approx(VE_mL, abs=4.0 * u_mL)
    assert u_mL < 0.03


@pytest.mark.parametrize("kind", list(KINDS))
def test_intervals_cover(kind):
    """60 seeds each: intervals hold the truth at least as often as they say, and are not twice too wide."""
    found = [line for seed in range(60) for line in lines_of(kind, seed=seed) if line.volume_mL is not None]
    assert len(found) >= 100
    inside = [line.interval_95_mL[0] <= VE_mL <= line.interval_95_mL[1] for line in found]
    assert np.mean(inside) >= 0.93
    for side in ("before", "behind"):
        error = np.array([line.volume_mL - VE_mL for line in found if line.side == side])
        u = np.array([line.u_mL for line in found if line.side == side])
        assert np.sqrt(np.mean(error**2)) > 0.5 * np.sqrt(np.mean(u**2))


@pytest.mark.parametrize("kind", ["redox", "weak"])
def test_a_titration_stopped_early_gives_an_estimate_from_one_branch(kind):
    lines = lines_of(kind, volume=VOLUME[VOLUME < 8.5], jump_mL=None)
    assert [line.side for line in lines] == ["before"]
    line = lines[0]
    assert line.interval_95_mL[0] < VE_mL < line.interval_95_mL[1]
    assert line.volume_mL > 8.5, "beyond the last reading: nothing brackets it"
    estimate = as_estimate(line, "extrapolated: stopped early")
    assert estimate.found_by == "gran-before"
    assert estimate.reason.startswith("extrapolated")
    assert "one branch" in meeting(lines)


def test_a_slope_that_is_off_is_found_where_it_is_not_called_exact():
    """Slope 25.0 mV: taken as 26.0 ± 0.8 the line still finds it; called exact, the whole branch is no line."""
    curve = Curve(VOLUME, measured(redox, VOLUME, 3, 0.0, 0.05), "mV")
    sd = np.full(len(VOLUME), 0.05)
    weakly = gran_lines(curve, "redox", GranSettings(slope=26.0, u_slope=0.8), sd_signal=sd, jump_mL=VE_mL)[0]
    assert weakly.slope_found == pytest.approx(25.0, abs=0.1)
    assert weakly.volume_mL == pytest.approx(VE_mL, abs=4.0 * weakly.u_mL)
    exact = gran_lines(curve, "redox", GranSettings(slope=26.0, u_slope=0.0), sd_signal=sd, jump_mL=VE_mL)[0]
    assert exact.reason or len(exact.rows) < len(weakly.rows)


def test_two_electrons_of_the_analyte():
    def tin(volume):
        return redox_mV(volume, equivalence_mL=VE_mL, analyte_mV=139.0, titrant_mV=1280.0, analyte_z=2)

    curve = Curve(VOLUME, measured(tin, VOLUME, 5, 0.003, 0.2), "mV")
    known = GranSettings(slope=25.26, electrons=(2, 1), sd_volume_mL=0.003)
    for line in gran_lines(curve, "redox", known, sd_signal=np.full(len(VOLUME), 0.2), jump_mL=VE_mL):
        assert line.volume_mL == pytest.approx(VE_mL, abs=4.0 * line.u_mL)


def test_a_weak_acid_is_no_strong_one():
    """The function of the wrong kind is bent: no line, or one that does not meet the other."""
    curve = Curve(VOLUME, measured(weak, VOLUME, 2, 0.003, 0.01), "pH")
    known = GranSettings(vessel_mL=50.0, sd_volume_mL=0.003)
    lines = gran_lines(curve, "strong", known, sd_signal=np.full(len(VOLUME), 0.01), jump_mL=VE_mL)
    assert isinstance(meeting(lines), str)


def test_without_the_volume_in_the_vessel_a_diluted_branch_has_no_line():
    curve = Curve(VOLUME, measured(strong, VOLUME, 2, 0.003, 0.01), "pH")
    lines = gran_lines(curve, "strong", sd_signal=np.full(len(VOLUME), 0.01), jump_mL=VE_mL)
    assert all("volume in the vessel" in line.reason for line in lines)
    assert "volume in the vessel" in meeting(lines)


def test_a_burette_that_does_not_start_at_zero():
    shifted = VOLUME + 12.5
    curve = Curve(shifted, measured(weak, VOLUME, 6, 0.003, 0.01), "pH")
    known = GranSettings(vessel_mL=50.0, start_mL=12.5, sd_volume_mL=0.003)
    for line in gran_lines(curve, "weak", known, sd_signal=np.full(len(VOLUME), 0.01), jump_mL=VE_mL + 12.5):
        assert line.volume_mL == pytest.approx(VE_mL + 12.5, abs=4.0 * line.u_mL)


@pytest.mark.parametrize("count", [0, 1, 3])
def test_too_few_readings_are_told(count):
    curve = Curve(VOLUME[:count], VOLUME[:count], "mV")
    (line,) = gran_lines(curve, "redox", sd_signal=np.ones(count))
    assert line.volume_mL is None
    assert f"{count} are there" in line.reason
    assert as_estimate(line, "none") is None


def test_noise_makes_no_line_that_looks_good():
    """Flat noise of 5 mV, 40 seeds: no interval narrower than a tenth of the curve."""
    for seed in range(40):
        rng = np.random.default_rng(seed)
        curve = Curve(VOLUME, 400.0 + rng.normal(0.0, 5.0, len(VOLUME)), "mV")
        for line in gran_lines(curve, "redox", sd_signal=np.full(len(VOLUME), 5.0), jump_mL=7.0):
            if line.volume_mL is not None:
                assert line.interval_95_mL[1] - line.interval_95_mL[0] > 1.5
