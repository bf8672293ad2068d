"""Bounds and floor of the study of rules, against other computations of the same things."""

import importlib
import math
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize

from titrator.evaluate.models import Start

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"
NERNST_MV = 25.2617  # RT/F at 20 °C, from CODATA's R and F
SD_ML, SD_MV, GAP_ML = 0.001, 0.08, 0.004


@pytest.fixture(scope="module")
def study():
    sys.path.insert(0, str(BENCHMARKS))
    before = set(sys.modules)
    yield {name: importlib.import_module(f"rules_{name}") for name in ("bounds", "cases", "floor")}
    sys.path.remove(str(BENCHMARKS))
    for name in [name for name in set(sys.modules) - before if name.startswith("rules")]:
        del sys.modules[name]


class OneToOne:
    """V(E) of a 1:1 redox titration, one electron each: Ve (1 + e2)/(1 + e1), as every textbook has it."""

    name = "one to one"
    parameters = ("equivalence_volume_mL", "analyte_potential", "titrant_potential", "slope")
    signal_parameters = frozenset()

    def volume_mL(self, signal, x):
        ve, first, second, slope = x
        return ve * (1.0 + np.exp((signal - second) / slope)) / (1.0 + np.exp(-(signal - first) / slope))

    def distance_mL(self, signal, x):
        return np.zeros_like(signal)


X = np.array([17.0, 470.0, 1230.0, 0.975 * NERNST_MV])
PRIOR_SD = np.array([np.inf, 17.0, 17.0, 0.0144 * NERNST_MV])


@pytest.fixture(scope="module")
def one_to_one(study):
    start = Start(OneToOne(), X, X - 1e3, X + 1e3, X, PRIOR_SD)
    return study["bounds"].tabulated(start, X, 1, (330.0, 1230.0))


# Of a planning study with a program of its own (computed by us, before this code was written): µL by the number of
# readings, 1 µL and 0.08 mV, gap 4 µL, equivalence volumes of 12 to 22 mL.
LEAST = {6: 0.50, 7: 0.448, 8: 0.409, 9: 0.379, 10: 0.355}
LOCATED = {7: 0.490, 8: 0.436, 9: 0.399, 10: 0.371}


@pytest.mark.parametrize(("count", "bound_uL"), LEAST.items())
def test_least_bound_is_that_of_another_program(study, one_to_one, count, bound_uL):
    found = study["bounds"].least_bound(one_to_one, count, ())
    assert 1000.0 * found.bounds_mL[0] == pytest.approx(bound_uL, abs=0.0015)
    assert len(found.places_mL) == count
    assert np.min(np.diff(found.places_mL)) >= GAP_ML - 1e-9


@pytest.mark.parametrize(("count", "bound_uL"), LOCATED.items())
def test_bound_with_three_located_readings_is_that_of_another_program(study, one_to_one, count, bound_uL):
    found = study["bounds"].least_bound(one_to_one, count)
    assert 1000.0 * found.bounds_mL[0] == pytest.approx(bound_uL, rel=0.015)
    for away_mL in (-1.6, -0.2, -0.025):
        assert np.min(np.abs(found.places_mL - 17.0 - away_mL)) < 1e-9


def analytic_variance(places_mL):
    """Variance of Ve from the analytic derivatives of V(E): nothing of the study's code is used."""
    ve, first, second, slope = X
    signal = np.array([brentq(lambda e, v=v: OneToOne().volume_mL(e, X) - v, 100.0, 1500.0) for v in places_mL])
    e1, e2 = np.exp(-(signal - first) / slope), np.exp((signal - second) / slope)
    volume = ve * (1.0 + e2) / (1.0 + e1)
    of_first, of_second = -volume * e1 / (1.0 + e1) / slope, -volume * e2 / (1.0 + e2) / slope
    along = -of_first - of_second  # dV/dE: only differences of potentials count
    of_slope = (of_first * (signal - first) + of_second * (signal - second)) / slope
    g = np.stack([volume / ve, of_first, of_second, of_slope], axis=1)
    information = (g.T / (SD_ML**2 + (along * SD_MV) ** 2)) @ g + np.diag([0.0, *PRIOR_SD[1:] ** -2.0])
    return np.linalg.inv(information)[0, 0]


def test_least_bound_of_six_is_found_by_a_general_minimiser_too(study, one_to_one):
    """SciPy's SLSQP over continuous places finds nothing lower than the search on its grid, and nearly the same."""
    found = study["bounds"].least_bound(one_to_one, 6, ())
    apart = [{"type": "ineq", "fun": lambda v, k=k: (v[k + 1] - v[k] - GAP_ML) * 1e3} for k in range(5)]
    best = minimize(
        lambda v: 1e6 * analytic_variance(v),
        found.places_mL,
        method="SLSQP",
        bounds=[(0.2, 24.4)] * 6,
        constraints=apart,
        options={"eps": 1e-6},
    )
    least_uL, found_uL = math.sqrt(best.fun), 1000.0 * found.bounds_mL[0]
    assert 1000.0 * math.sqrt(analytic_variance(found.places_mL)) == pytest.approx(found_uL, rel=1e-3)
    assert 0.995 * found_uL <= least_uL <= 1.001 * found_uL


def test_bound_of_given_readings_is_that_of_potentials_at_given_volumes(study, one_to_one):
    """The information of E at given V (derivatives by differences of a root) is that of V at given E."""
    volume_mL = np.array([8.0, 15.4, 16.8, 16.975, 16.99, 17.004, 17.01, 17.05, 19.0])
    sd_mV = np.full(len(volume_mL), SD_MV)

    def potential(v, x):
        return brentq(lambda e: OneToOne().volume_mL(e, x) - v, 100.0, 1500.0, xtol=1e-10)

    def slopes(change):
        rise = [potential(v, X + change) - potential(v, X - change) for v in volume_mL]
        return np.array(rise) / (2.0 * np.max(np.abs(change)))

    g = np.stack([slopes(size * row) for size, row in zip((1e-5, 1e-3, 1e-3, 1e-4), np.eye(4), strict=True)], axis=1)
    along = np.array([(potential(v + 1e-6, X) - potential(v - 1e-6, X)) / 2e-6 for v in volume_mL])
    information = (g.T / (sd_mV**2 + (along * SD_ML) ** 2)) @ g + np.diag([0.0, *PRIOR_SD[1:] ** -2.0])
    expected = math.sqrt(np.linalg.inv(information)[0, 0])
    found = study["bounds"].cramer_rao_mL(one_to_one, volume_mL, sd_mV)
    assert found[0] == pytest.approx(expected, rel=0.01)  # the chord over ± 2 sd in place of the slope: up to 1 %


def test_true_curve_passes_through_the_cell(study):
    case = study["cases"].CASES[0]
    curve = study["bounds"].true_curve(case, 3)
    truth = study["cases"].files(case).drawn(3)[1]
    assert curve.points_mL[0] == pytest.approx(truth.equivalence_points_delivered_mL[0], abs=2e-5)
    assert curve.misfit_mL < 5e-5


def test_two_points_get_their_located_readings_each(study):
    bounds, cases = study["bounds"], study["cases"]
    curve = bounds.true_curve(cases.CASES[7], 1)
    found = bounds.least_bound(curve, 12)
    assert len(found.bounds_mL) == 2
    for point_mL in curve.points_mL:
        for away_mL in (-1.6, -0.2, -0.025):
            assert np.min(np.abs(found.places_mL - point_mL - away_mL)) < 1e-9
    with pytest.raises(ValueError, match="6 places are given"):
        bounds.least_bound(curve, 7)


def test_floor_is_that_of_an_integrated_model(study):
    """The same cell as differential equations, by SciPy: mixing and electrode of first order, the textbook's curve."""
    cases, floor = study["cases"], study["floor"]
    told = cases.files(cases.CASES[0])
    truth = told.drawn(5)[1]
    found = floor.floor_of(told, 5)
    drawn, ve = truth.drawn, truth.equivalence_points_delivered_mL[0]
    slope = drawn["slope_share"] * NERNST_MV
    reference_mV = 210.0  # silver/silver chloride in 3 mol/L KCl, as the method's comments have it
    first, second = drawn["analyte_formal_mV"] - reference_mV, drawn["titrant_formal_mV"] - reference_mV
    share = drawn["oxidised_at_start"]
    share = share / (1.0 - share)

    def of_potential(e):
        oxidised = 1.0 / (1.0 + math.exp(-(e - first) / slope))
        return ve * ((1.0 + share) * oxidised - share) * (1.0 + math.exp((e - second) / slope))

    def at_rest(v):
        return brentq(lambda e: of_potential(e) - v, -200.0, 1800.0, xtol=1e-9)

    def lag_s(v):
        size = 1e-5
        steepness = ve * (at_rest(v + size) - at_rest(v - size)) / (2.0 * size) / slope
        return 2.5 + 9.5 * steepness / (steepness + 100.0)

    speed = 10.0 / 60.0

    def course(goes):
        def rates(t, y):
            delivered = start_mL + speed * t if goes else place_mL
            mixed = max(y[0], 1e-3)
            return [(delivered - y[0]) / 1.5, (at_rest(mixed) - y[1]) / lag_s(mixed)]

        return rates

    state, start_mL, waits = [0.0, at_rest(1e-3)], 0.0, []
    for place in (-0.40, -0.10, -0.03, 0.03, 0.10, 0.20):
        place_mL = ve * (1.0 + place)
        moved = solve_ivp(course(goes=True), (0.0, (place_mL - start_mL) / speed), state, rtol=1e-7, atol=1e-7)
        state, end = moved.y[:, -1], at_rest(place_mL)
        waited = solve_ivp(course(goes=False), (0.0, 120.0), state, rtol=1e-8, atol=1e-8, dense_output=True)
        t_s = brentq(lambda t, s=waited.sol, end=end: abs(s(t)[1] - end) - 0.25, 0.01, 120.0)
        waits.append(t_s)
        state, start_mL = waited.sol(t_s), place_mL
    assert found.waits_s == pytest.approx(waits, abs=0.15)
    assert found.delivery_s == pytest.approx(6.0 * ve)
    assert found.duration_s == pytest.approx(6.0 * ve + sum(waits), abs=0.5)


def test_floor_of_two_points_delivers_once_and_waits_twelve_times(study):
    cases, floor = study["cases"], study["floor"]
    told = cases.files(cases.CASES[7])
    truth = told.drawn(2)[1]
    found = floor.floor_of(told, 2)
    assert len(found.waits_s) == 12
    assert list(found.places_mL) == sorted(found.places_mL)
    assert found.delivery_s == pytest.approx(6.0 * truth.equivalence_points_delivered_mL[1])
