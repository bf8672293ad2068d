"""Fits of whole curves, all points at once. Simulated: titrator.chemistry's curves, errors from stated seeds."""

from random import Random

import numpy as np
import pytest
from whole_cases import CASES, Case, Drawn, case

from titrator.evaluate.inflection import inflection_of
from titrator.evaluate.model_fit import Fit, FitData
from titrator.evaluate.whole_fit import fit_whole, points, whole_curve, whole_start

SD_mL, SD_mV = 0.001, 0.25


def volumes_mL(points_mL: tuple[float, ...]) -> np.ndarray:
    fine = [point + np.arange(-0.09, 0.1, 0.02) for point in points_mL]
    beside = [point + np.array([-0.4, -0.2, 0.2, 0.4]) for point in points_mL]
    return np.unique(np.concatenate([np.arange(0.5, points_mL[-1] + 3.0), *fine, *beside]))


def measured(made: Case, stream: str, sd_mL: float = SD_mL) -> FitData:
    random = Random(stream)
    volume = volumes_mL(made.points_mL)
    signal = made.signal(volume + [random.gauss(0.0, sd_mL) for _ in volume])
    signal = made.known.sign * (signal + [random.gauss(0.0, SD_mV) for _ in volume])
    size = len(volume)
    return FitData(volume, signal, np.full(size, SD_mL), np.full(size, SD_mV), np.zeros(size))


def fitted(made: Case, data: FitData) -> Fit:
    found = fit_whole(made.known, data, [point + 0.01 for point in made.points_mL])
    assert not isinstance(found, str), found
    return found[0]


@pytest.mark.parametrize("made", CASES, ids=lambda made: made.name)
def test_every_reaction_with_all_its_points_in_one_fit(made: Case):
    """Seeds 1 to 3: every point within 4 u of the amounts' truth, and u below 20 µL."""
    for seed in range(1, 4):
        stream = f"whole fit/{made.name}/{seed}"
        drawn = case(made.known.reaction, made.points_mL, drawn=Drawn(Random(stream + "/constants"), 0.96))
        told = points(fitted(drawn, measured(drawn, stream)), len(made.points_mL))
        for one, truth_mL in zip(told.each, made.points_mL, strict=True):
            assert abs(one.equivalence_volume_mL - truth_mL) <= 4.0 * one.u_mL, seed
            assert one.u_mL < 0.02, seed


def test_the_constants_found_are_those_of_the_curve():
    """Tin and iron with cerium: potentials within 4 of their standard uncertainties (some mV at most)."""
    drawn = case(CASES[4].known.reaction, drawn=Drawn(Random("constants"), 0.98))
    found = fitted(drawn, measured(drawn, "constants/noise"))
    for k in (3, 4):
        u = np.sqrt(found.covariance[k, k]) * max(1.0, found.scale)
        assert abs(found.x[k] - drawn.truth[k]) <= 4.0 * u
        assert u < 5.0


def test_a_strayed_reading_moves_the_points_little():
    """One reading at the foot of each jump 30 mV off: less than 2 µL, and the readings are named."""
    made = CASES[4]
    data = measured(made, "stray")
    clean = points(fitted(made, data), 2).volume_mL
    rows = [int(np.argmin(np.abs(data.volume_mL - (point - 0.2)))) for point in made.points_mL]
    data.signal[rows] += 30.0
    found = fitted(made, data)
    assert np.all(np.abs(points(found, 2).volume_mL - clean) < 0.002)
    slow, sound = rows  # on the branch of tin, which is slow, a reading counts for little and 30 mV are no wonder
    assert found.weight[sound] < 0.5
    assert found.weight[slow] == np.min(found.weight[:sound])
    assert found.weight[slow] < 1.0


def test_a_burette_worse_than_stated_widens_the_interval():
    made = CASES[0]
    stated = [fitted(made, measured(made, f"stated/{k}")).half_interval_mL for k in range(9)]
    worse = [fitted(made, measured(made, f"stated/{k}", 3.0 * SD_mL)).half_interval_mL for k in range(9)]
    assert np.median(worse) > 1.8 * np.median(stated)


def test_the_volume_between_two_points_knows_their_covariance():
    """By hand from the covariance: u² of a difference is the sum of the variances less twice the covariance."""
    told = points(fitted(CASES[4], measured(CASES[4], "difference")), 2)
    (a, c), (_, b) = told.covariance
    assert told.u_difference_mL(1, 0) == pytest.approx(np.sqrt(a + b - 2.0 * c))
    assert told.each[1].u_mL == pytest.approx(np.sqrt(b))


def test_a_curve_that_ends_before_a_point_gives_no_volume_of_it():
    made = CASES[4]
    data = measured(made, "short")
    rows = data.volume_mL < made.points_mL[1] - 2.0
    short = FitData(*(getattr(data, name)[rows] for name in FitData.__dataclass_fields__))
    found = fit_whole(made.known, short, [made.points_mL[0], float(short.volume_mL[-1]) - 0.1])
    assert isinstance(found, str) or points(found[0], 2).each[1].u_mL > 0.01


def test_guesses_are_asked_for_each_point():
    with pytest.raises(ValueError, match="2 guesses"):
        whole_start(CASES[4].known, np.arange(5.0), np.arange(5.0), [3.0])


@pytest.mark.parametrize("which", [(1, 1, 5), (3, 2, 1)])
def test_the_inflection_of_unequal_electrons(which: tuple[int, int, int]):
    """dV/dE is least where zA² e1 = zT² e2, the point where e1 = e2: apart by 2 ln(zA/zT) s/(zA + zT) (calculus).

    In volume they differ by Ve times the exponentials there, less than a picolitre for a jump of 0.5 V.
    """
    number, analyte, titrant = which
    made = CASES[number]
    ends = made.signal(np.array([4.0, 9.0]))
    found = inflection_of(whole_curve(made.known), made.truth, (float(ends[0]), float(ends[1])))
    assert found is not None
    expected_mV = 2.0 * np.log(analyte / titrant) * 0.975 * 25.692579 / (analyte + titrant)
    assert found.signal_difference == pytest.approx(expected_mV, abs=0.01)
    assert abs(found.volume_difference_mL) < 1e-6


def test_the_inflection_of_equal_electrons_is_the_equivalence_point():
    made = CASES[0]
    ends = made.signal(np.array([4.0, 9.0]))
    found = inflection_of(whole_curve(made.known), made.truth, (float(ends[0]), float(ends[1])))
    assert found is not None
    assert abs(found.signal_difference) < 0.01
