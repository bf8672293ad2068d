"""What is drawn and from which distribution. Seeds 0 to 1999, stated before they were run, none exchanged."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from scipy import stats

from sim.cell_file import load_cell
from sim.draw import StatedValues, draw_cell
from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.redox import RedoxBalance, RedoxTitration
from titrator.files.problems import FileProblem

CELL_FILE = Path(__file__).parents[2] / "configs" / "cells" / "iron_in_pickling_bath.yaml"
STATED = StatedValues(
    titrant_mol_per_L=0.1000,
    u_titrant_mol_per_L=0.0002,
    aliquot_mL=10.00,
    u_aliquot_mL=0.010,
    dilution=10.0,
    u_dilution=0.005,
    analyte_per_titrant=1.0,
    fill_mL=50.0,
    temperature_C=20.0,
    reference_potential_V=0.210,
)
SEEDS = range(2000)


@pytest.fixture(scope="module")
def cell_file():
    return load_cell(CELL_FILE)


@pytest.fixture(scope="module")
def truths(cell_file):
    return [draw_cell(cell_file, STATED, seed)[1] for seed in SEEDS]


@pytest.mark.parametrize(
    ("name", "distribution"),
    [
        ("titrant_mol_per_L", stats.norm(0.1000, 0.0002)),
        ("aliquot_mL", stats.norm(10.00, 0.010)),
        ("dilution", stats.norm(10.0, 0.005)),
        ("sample_mol_per_L", stats.uniform(1.2, 1.0)),
        ("oxidised_at_start", stats.uniform(0.0002, 0.0008)),
        ("analyte_formal_mV", stats.uniform(650, 60)),
        ("titrant_formal_mV", stats.uniform(1410, 60)),
        ("slope_share", stats.uniform(0.95, 0.05)),
    ],
)
def test_draws_follow_the_stated_distribution(truths, name, distribution):
    """Kolmogorov and Smirnov's test by scipy. A right draw fails at 0.001 once in a thousand; the seeds are fixed."""
    assert stats.kstest([truth.drawn[name] for truth in truths], distribution.cdf).pvalue > 0.001


def test_draws_are_independent(truths):
    """Correlations of 2000 independent pairs err by 1/√2000 = 0.022: none of 28 pairs beyond 4 of these."""
    names = list(truths[0].drawn)
    columns = [[truth.drawn[name] for truth in truths] for name in names]
    for index, one in enumerate(columns):
        for other in columns[index + 1 :]:
            assert abs(stats.pearsonr(one, other).statistic) < 4 / math.sqrt(len(SEEDS))


def test_truth_by_hand(cell_file):
    """c(bath)·aliquot/dilution over c(titrant): what a chemist would compute from the true values."""
    _, truth = draw_cell(cell_file, STATED, 11)
    drawn = truth.drawn
    volume_mL = drawn["sample_mol_per_L"] * drawn["aliquot_mL"] / drawn["dilution"] / drawn["titrant_mol_per_L"]
    assert truth.equivalence_points_delivered_mL == (pytest.approx(volume_mL, rel=1e-14),)
    assert truth.concentrations_mol_per_L == {"iron(II)": drawn["sample_mol_per_L"]}


@pytest.mark.parametrize("seed", range(20))
def test_the_cell_has_its_jump_at_the_true_volume(cell_file, seed):
    """The cell's own potential of rest against the curve computed from the truth, at 98 % and at equivalence."""
    cell, truth = draw_cell(cell_file, STATED, seed)
    drawn, (end_mL,) = truth.drawn, truth.equivalence_points_delivered_mL
    balance = RedoxBalance(
        drawn["analyte_formal_mV"] - 210,
        drawn["titrant_formal_mV"] - 210,
        drawn["slope_share"] * nernst_slope_mV(20),
        oxidised_at_start=drawn["oxidised_at_start"],
    )
    curve = RedoxTitration(balance, end_mL / balance.equivalence_degree)
    for t_s, share in ((400.0, 0.98), (800.0, 1.0)):
        cell.advance(t_s, share * end_mL)
        # 400 s after a delivery in a straight line: mixing trails by 1.5 s of that flow; wait as long again.
        cell.advance(t_s + 200.0, share * end_mL)
        # The background may move it by 0.05 mV; mixing counts as over within 0.0001 mV.
        assert abs(cell.rest_mV - curve.potential_mV(share * end_mL)) <= 0.05


@pytest.mark.parametrize("seed", range(200))
def test_background_is_below_0_05_mV_from_0_2_mL_on_in_every_draw(cell_file, seed):
    cell, truth = draw_cell(cell_file, STATED, seed)
    (end_mL,) = truth.equivalence_points_delivered_mL
    constants, solution = cell.constants, cell.solution
    for volume_mL in (0.2, 1.0, end_mL - 0.001, end_mL, end_mL + 0.001, end_mL + 0.02, end_mL + 3):
        solution.titrant_mmol = truth.drawn["titrant_mol_per_L"] * volume_mL
        solution.volume_mL = 50.0 + volume_mL
        plain_mV = constants.balance(solution).potential_mV(solution.titrant_mmol / solution.analyte_mmol)
        assert 0.0 <= constants.potential_mV(solution) - plain_mV < 0.05


def test_one_more_uncertainty_changes_no_other_draw(cell_file):
    _, plain = draw_cell(cell_file, STATED, 5)
    _, exact = draw_cell(cell_file, replace(STATED, u_aliquot_mL=0.0, u_dilution=0.0), 5)
    assert exact.drawn["aliquot_mL"] == 10.0
    assert exact.drawn["dilution"] == 10.0
    for name in plain.drawn.keys() - {"aliquot_mL", "dilution"}:
        assert plain.drawn[name] == exact.drawn[name]


def test_same_seed_same_cell_and_noise(cell_file):
    def taken(seed):
        cell, truth = draw_cell(cell_file, STATED, seed)
        return [cell.sample(0.1 * number, 0.01 * number) for number in range(200)], truth

    assert taken(3) == taken(3)
    assert taken(3)[0] != taken(4)[0]


def test_a_large_uncertainty_never_draws_a_titrant_of_nothing(cell_file):
    wild = replace(STATED, u_titrant_mol_per_L=0.2, u_aliquot_mL=20.0)
    for seed in range(100):
        _, truth = draw_cell(cell_file, wild, seed)
        assert truth.drawn["titrant_mol_per_L"] > 0
        assert truth.drawn["aliquot_mL"] > 0


def test_a_blank_has_no_equivalence_point_and_finite_potentials(cell_file):
    cell, truth = draw_cell(cell_file, replace(STATED, blank=True), 1)
    assert truth.equivalence_points_delivered_mL == ()
    assert truth.concentrations_mol_per_L == {"iron(II)": 0.0}
    assert all(math.isfinite(cell.sample(0.1 * number, 0.001 * number)) for number in range(500))


def test_a_cell_of_another_stoichiometry_is_refused(cell_file):
    with pytest.raises(FileProblem, match=r"iron_in_pickling_bath\.yaml:1:1: .*consumes 2 mol .* \(1\)"):
        draw_cell(cell_file, replace(STATED, analyte_per_titrant=2.0), 1)


@pytest.mark.parametrize(
    ("changed", "message"),
    [({"dilution": 0.0}, "dilution: a positive"), ({"u_aliquot_mL": -1.0}, "u_aliquot_mL: an uncertainty")],
)
def test_figures_that_cannot_be_drawn_from_are_refused(changed, message):
    with pytest.raises(ValueError, match=message):
        replace(STATED, **changed)
