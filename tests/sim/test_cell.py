"""The simulated cell as a whole: it ends on the curve, lags as stated, repeats itself."""

import itertools
import math

import pytest
from scipy.integrate import solve_ivp

from sim.cell import SimulatedCell
from sim.cell_sections import WhiteNoise
from sim.chemistry.redox import CoupleInCell, RedoxChemistry, RedoxPlan
from sim.chemistry.titrant import Titrant
from sim.contents import Contents
from sim.electrode import Electrode
from sim.noise import noise_sources
from sim.response import ResponseLaw
from sim.stirring import Stirring
from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.couples import CERIUM as CERIUM_COUPLE
from titrator.chemistry.couples import IRON
from titrator.chemistry.redox import RedoxBalance, RedoxTitration

FILL_mL, IRON_mmol, CERIUM = 50.0, 1.7, 0.1
OXIDISED = 0.0005
S_MV = nernst_slope_mV(20.0)
CURVE = RedoxTitration.of_amounts(RedoxBalance(470, 1230, S_MV, oxidised_at_start=OXIDISED), IRON_mmol, CERIUM)
QUIET = ResponseLaw(2.5, 9.5, 100.0, 1.0)


def cell(*, law=QUIET, mixing_s=1.5, background=5e-9, drift=0.0, noise=()):
    plan = RedoxPlan(
        couples=(CoupleInCell(IRON, 470.0, 1.0), CoupleInCell(CERIUM_COUPLE, 1230.0, 0.1)),
        analytes=1,
        oxidant=True,
        slope_share=1.0,
        background_mol_per_L=background,
        titrant=Titrant((0.0, 1e-3 * CERIUM), -1e-3 * CERIUM, 1e-3, 1e-3 * CERIUM),
        electrons_mol=1e-3 * IRON_mmol * (1 - OXIDISED),
    )
    return SimulatedCell(
        Contents(FILL_mL, 20.0, -1e-3 * OXIDISED * IRON_mmol, 0.050, [1e-3 * IRON_mmol, 0.0]),
        RedoxChemistry(plan, 20.0),
        Electrode(law, drift_mV_per_s=drift),
        Stirring(mixing_s),
        noise=noise,
    )


def readings(simulated, dosing, step_s=0.1):
    """Potentials at 10 a second while the delivered volume goes through `dosing`: pairs of (volume in mL, wait in s).

    Volumes are reached at 10 mL/min.
    """
    t_s, delivered_mL, taken = simulated.t_s, simulated.delivered_mL, []
    count = round(t_s / step_s)
    for volume_mL, wait_s in dosing:
        ready = count + max(1, math.ceil((volume_mL - delivered_mL) / (10 / 60 * step_s)))
        start_mL, start = delivered_mL, count
        while count < ready + round(wait_s / step_s):
            count += 1
            delivered_mL = start_mL + (volume_mL - start_mL) * min(1.0, (count - start) / (ready - start))
            taken.append(simulated.sample(count * step_s, delivered_mL))
        delivered_mL = volume_mL
    return taken


@pytest.mark.parametrize("volume_mL", [0.2, 1.0, 8.5, 16.0, 16.9, 16.99, 16.9915, 17.0, 17.1, 20.0, 25.0])
def test_after_a_long_wait_the_electrode_is_on_the_curve(volume_mL):
    """Without background to a millionth of a millivolt; 400 s are 33 of the longest response times (e^-33)."""
    simulated = cell(background=1e-30)
    last_mV = readings(simulated, [(volume_mL, 400)])[-1]
    assert last_mV == pytest.approx(CURVE.potential_mV(volume_mL), abs=1e-6)


def test_the_background_moves_the_curve_by_less_than_0_05_mV_from_0_2_mL_on():
    """Through the jump too, in steps of 1 µL, where the solution is least poised."""
    simulated = cell(law=ResponseLaw(1e-9, 0.0, 100.0, 1.0), mixing_s=0.0)
    end_mL = CURVE.equivalence_mL
    volumes = [0.2, 0.5, 2, 10, *(end_mL + 0.001 * step for step in range(-50, 51)), 20, 25]
    moved = [simulated.sample(float(n + 1), v) - CURVE.potential_mV(v) for n, v in enumerate(volumes)]
    assert all(0.0 <= shift_mV < 0.05 for shift_mV in moved)
    assert max(moved) > 1e-4  # it is there


def test_dilution_and_amounts_follow_the_mixed_volume():
    simulated = cell()
    readings(simulated, [(3.0, 120)])
    assert simulated.stirring.mixed_mL == 3.0
    assert simulated.contents.volume_mL == pytest.approx(53.0, rel=1e-12)
    assert simulated.contents.amounts_mol[1] == pytest.approx(0.3e-3, rel=1e-12)


def test_mixing_lag_halves_with_every_half_life():
    simulated = cell(mixing_s=1.5)
    simulated.advance(1e-9, 2.0)  # all at once
    half_life_s = 1.5 * math.log(2)
    left = []
    for number in range(1, 6):
        simulated.advance(1e-9 + number * half_life_s, 2.0)
        left.append((2.0 - simulated.stirring.mixed_mL) / 2.0)
    assert left == pytest.approx([0.5, 0.25, 0.125, 0.0625, 0.03125], rel=1e-6)


def test_electrode_lag_halves_with_every_half_life():
    """Response 4 s whatever the composition; mixing at once; the first call moves the solution in no time."""
    simulated = cell(law=ResponseLaw(4.0, 0.0, 100.0, 1.0), mixing_s=0.0, background=1e-30)
    start_mV, end_mV = simulated.electrode.potential_mV, CURVE.potential_mV(8.0)
    simulated.advance(1e-9, 8.0)
    left = []
    for number in range(1, 5):
        simulated.advance(1e-9 + number * 4.0 * math.log(2), 8.0)
        left.append((end_mV - simulated.electrode.potential_mV) / (end_mV - start_mV))
    assert left == pytest.approx([0.5, 0.25, 0.125, 0.0625], rel=1e-6)


def test_both_lags_against_scipys_integrator():
    """0.3 mL through the foot of the jump at 10 mL/min: the two differential equations, integrated by scipy.

    The cell takes the potential of rest as a straight line between calls: off by h²/8 of its curvature, which at
    0.01 s is below 0.001 mV here.
    """
    begin_mL, end_mL, speed = 16.0, 16.3, 10 / 60

    def lags(t, state):
        mixed_mL, electrode_mV = state
        delivered_mL = min(end_mL, begin_mL + speed * t)
        rest_mV = CURVE.potential_mV(mixed_mL)
        slope = CURVE.volume_slope_mL_per_mV(rest_mV)
        steepness = CURVE.equivalence_mL / slope / S_MV
        tau_s = 2.5 + 9.5 * steepness / (steepness + 100)
        return [(delivered_mL - mixed_mL) / 1.5, (rest_mV - electrode_mV) / tau_s]

    simulated = cell(background=1e-30)
    readings(simulated, [(begin_mL, 400)])
    origin_s = simulated.t_s
    times = [0.5, 1.0, 1.8, 3.0, 6.0, 12.0, 30.0]
    solved = solve_ivp(
        lags, (0, 30), [begin_mL, CURVE.potential_mV(begin_mL)], t_eval=times, max_step=0.1, rtol=1e-9, atol=1e-9
    )
    found = {}
    for number in range(1, 3001):
        t_s = number / 100
        simulated.advance(origin_s + t_s, min(end_mL, begin_mL + speed * t_s))
        found[t_s] = (simulated.stirring.mixed_mL, simulated.electrode.potential_mV)
    for t_s, mixed_mL, electrode_mV in zip(times, *solved.y, strict=True):
        assert found[t_s][0] == pytest.approx(mixed_mL, abs=1e-5)
        assert found[t_s][1] == pytest.approx(electrode_mV, abs=1e-3)


def test_the_electrode_is_slow_where_the_curve_is_steep():
    simulated = cell(mixing_s=0.0)
    taus = {}
    for number, share in enumerate([0.5, 0.99, 1.0, 1.01, 1.3]):
        simulated.advance(float(number + 1), share * CURVE.equivalence_mL)
        taus[share] = simulated.electrode.tau_s
    # Half-way G = 1/(a·(1 − a)) = 4, so 2.5 + 9.5·4/104 s.
    assert taus[0.5] == pytest.approx(2.5 + 9.5 * 4 / 104, abs=0.01)
    assert taus[1.0] == pytest.approx(12.0, abs=0.01)
    assert taus[0.5] < taus[0.99] < taus[1.0] > taus[1.01] > taus[1.3]


def test_when_mixing_is_over_nothing_moves_but_the_electrode():
    simulated = cell()
    readings(simulated, [(5.0, 60)])
    rest_mV = simulated.rest_mV
    readings(simulated, [(5.0, 60)])
    assert simulated.rest_mV == rest_mV


def test_stopping_to_compute_the_mixing_costs_less_than_a_microvolt_near_the_jump():
    """The cell stops mixing when less than 0.0001 mV is left: compare with mixing that goes on for ever."""
    end_mL = CURVE.equivalence_mL
    for target_mL in (end_mL - 0.01, end_mL - 0.001, end_mL, end_mL + 0.001):
        simulated = cell(background=1e-30)
        readings(simulated, [(target_mL - 0.02, 60), (target_mL, 400)])
        assert simulated.electrode.potential_mV == pytest.approx(CURVE.potential_mV(target_mL), abs=1e-3)


def test_same_seed_same_samples_other_seed_other_noise():
    plain = WhiteNoise.model_validate({"kind": "white", "sd": "0.25 mV"})
    dosing = [(1.0, 5), (2.0, 5)]
    one, again, other = (readings(cell(noise=noise_sources((plain,), seed)), dosing) for seed in (1, 1, 2))
    assert one == again
    assert all(a != b for a, b in zip(one, other, strict=True))
    silent = readings(cell(), dosing)
    assert all(abs(a - b) < 6 * 0.25 for a, b in zip(one, silent, strict=True))


def test_moving_time_without_a_sample_draws_no_noise():
    plain = WhiteNoise.model_validate({"kind": "white", "sd": "0.25 mV"})
    one, other = (cell(noise=noise_sources((plain,), 3)) for _ in range(2))
    other.advance(0.05, 0.0)
    assert one.sample(0.1, 0.0) == other.sample(0.1, 0.0)


def test_drift_is_steady():
    simulated = cell(drift=0.05 / 60)
    taken = readings(simulated, [(0.0, 120)])
    assert taken[-1] - taken[0] == pytest.approx(0.05 / 60 * (len(taken) - 1) * 0.1, abs=1e-9)


def test_a_curve_rises_all_the_way():
    simulated = cell()
    taken = readings(simulated, [(0.5 * number, 1.0) for number in range(1, 51)])
    assert all(later >= earlier for earlier, later in itertools.pairwise(taken))
    assert all(map(math.isfinite, taken))


@pytest.mark.parametrize(("t_s", "delivered_mL"), [(0.5, 2.0), (2.0, 0.5)])
def test_time_and_titrant_do_not_go_backwards(t_s, delivered_mL):
    simulated = cell()
    simulated.sample(1.0, 1.0)
    with pytest.raises(ValueError, match="do not decrease"):
        simulated.sample(t_s, delivered_mL)
