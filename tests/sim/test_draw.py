"""What is drawn and from which distribution. Seeds 0 to 1999, stated before they were run, none exchanged."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from cells_stated import cell_named, stated_for
from scipy import stats

from sim.cell_file import load_cell
from sim.draw import StatedValues, draw_cell, draw_vessel
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
    cell.surroundings.air = 0.0  # in 1000 s air oxidises some 1e-7 of the iron: 10 mV at the very point
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
    vessel, truth = draw_vessel(cell_file, STATED, seed)
    (end_mL,) = truth.equivalence_points_delivered_mL
    chemistry, contents, added_mL = vessel.chemistry, vessel.contents, 0.0
    for volume_mL in (0.2, 1.0, end_mL - 0.001, end_mL, end_mL + 0.001, end_mL + 0.02, end_mL + 3):
        chemistry.add_titrant(contents, volume_mL - added_mL)
        added_mL = volume_mL
        moved_mV = chemistry.rest(contents)[0] - chemistry.equilibrium_mV(contents)
        assert 0.0 <= moved_mV < 0.05


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


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"analyte_per_titrant": 2.0}, r"consumes 2 mol .* \(1\)"),
        ({"analyte_per_titrant": (1.0, 1.0)}, "consumes 1 and 1 mol"),
        ({"titrant": "permanganate"}, r"a cell of iron\(II\) with permanganate as the method states"),
        ({"analytes": ("tin(II)",)}, r"a cell of tin\(II\) with cerium\(IV\)"),
        ({"medium": "perchloric acid"}, "a cell in perchloric acid .* got sulfuric acid"),
    ],
)
def test_a_cell_of_another_reaction_is_refused(cell_file, changed, message):
    with pytest.raises(FileProblem, match=rf"iron_in_pickling_bath\.yaml:1:1: expected .*{message}"):
        draw_cell(cell_file, replace(STATED, **changed), 1)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"dilution": 0.0}, "dilution: a positive"),
        ({"u_aliquot_mL": -1.0}, "u_aliquot_mL: an uncertainty"),
        ({"analyte_per_titrant": (1.0, 0.0)}, "analyte_per_titrant: a positive"),
        ({"analyte_per_titrant": ()}, "analyte_per_titrant: a positive"),
        ({"medium_mL": -1.0}, "medium_mL: a number of 0 or more"),
    ],
)
def test_figures_that_cannot_be_drawn_from_are_refused(changed, message):
    with pytest.raises(ValueError, match=message):
        replace(STATED, **changed)


def test_a_method_may_seek_the_first_point_only(cell_file):
    """Iodide of a sample that holds chloride too: the truth knows both points."""
    _, truth = draw_vessel(
        cell_named("iodide_and_chloride"),
        stated_for("iodide_and_chloride", analytes=("iodide",), analyte_per_titrant=(1.0,)),
        1,
    )
    assert list(truth.concentrations_mol_per_L) == ["iodide", "chloride"]
    assert len(truth.equivalence_points_delivered_mL) == 2


def test_a_ratio_may_be_rounded_as_a_method_writes_it():
    stated = stated_for("citric_acid", analyte_per_titrant=(0.3333,))
    assert draw_vessel(cell_named("citric_acid"), stated, 1)[1].equivalence_points_delivered_mL


def test_the_real_temperature_of_the_titrant_is_drawn_about_the_stated_one(cell_file, tmp_path):
    text = CELL_FILE.read_text("utf-8")
    assert text.count("titrant: {acid: 1 mol/L}") == 1
    path = tmp_path / "cell.yaml"
    path.write_text(text.replace("titrant: {acid: 1 mol/L}", "titrant: {acid: 1 mol/L, temperature_within: 3 K}"))
    wavering = load_cell(path)
    drawn_C = [draw_vessel(wavering, STATED, seed)[1].drawn["titrant_temperature_C"] for seed in range(300)]
    assert 17.0 <= min(drawn_C) < 17.2
    assert 22.8 < max(drawn_C) <= 23.0
    plain, drawn = (draw_vessel(each, STATED, 8)[1].drawn for each in (cell_file, wavering))
    assert {name: drawn[name] for name in plain} == plain  # and nothing else is drawn otherwise
