"""Concentrations from a volume; the numbers beside the checks are worked by hand."""

import json
import math
from dataclasses import replace

import pytest

from titrator.chemistry.water import expansion
from titrator.evaluate.budget import budget
from titrator.evaluate.evaluation import EquivalencePoint, Estimate, Evaluation
from titrator.evaluate.measurement import model_of
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.results import ResultInputs, results
from titrator.evaluate.volumes import Burette


def point(volume_mL: float, u_mL: float, dof: float = math.inf) -> EquivalencePoint:
    interval = (volume_mL - 2 * u_mL, volume_mL + 2 * u_mL)
    return EquivalencePoint(volume_mL, u_mL, dof, interval, 860.0, "mV", "model-fit")


INPUTS = ResultInputs(
    name="iron(II)",
    titrant_mol_per_L=Quantity("titrant concentration", 0.1, 0.0002, "mol/L"),
    aliquot_mL=Quantity("aliquot", 10.0, 0.010, "mL"),
    dilution=Quantity("dilution", 10.0, 0.005),
    burette=Burette.within(0.002),
    molar_mass_g_per_mol=55.845,
)


def test_a_bath_by_hand():
    """18.000 mL × 0.1 mol/L × 10 / 10 mL = 1.8 mol/L.

    Relative: titrant 0.0020, aliquot 0.0010, dilution 0.0005, calibration 0.002/√3 = 0.0011547, random 0.0009/18 =
    0.00005: root of 4e-6 + 1e-6 + 0.25e-6 + 1.33333e-6 + 0.0025e-6 = 2.56629e-3, times 1.8 = 4.6193e-3 mol/L.
    """
    molar, mass = results(Evaluation((point(18.0, 0.0009),)), INPUTS)
    assert (molar.name, molar.unit, mass.unit) == ("iron(II)", "mol/L", "g/L")
    assert molar.value == pytest.approx(1.8, abs=1e-12)
    assert molar.u == pytest.approx(4.6193e-3, abs=5e-8)
    assert molar.k == pytest.approx(1.95996, abs=5e-6)
    assert pytest.approx(molar.k * molar.u) == molar.U
    assert molar.interval_95 == pytest.approx((1.8 - molar.U, 1.8 + molar.U))
    assert mass.value == pytest.approx(1.8 * 55.845)
    assert mass.u / mass.value == pytest.approx(molar.u / molar.value)
    names = {line.name for line in molar.budget}
    assert names == {
        "equivalence volume (random)", "burette calibration", "titrant concentration", "aliquot", "dilution",
    }  # fmt: skip
    assert math.fsum(line.share for line in molar.budget) == pytest.approx(1.0)


def test_degrees_of_freedom_by_welch_and_satterthwaite():
    """Only the random part has 5 degrees of freedom: ν = 5 (u_c/u_1)⁴; with equal parts of four, 5 × 16 = 80."""
    product = model_of(Quantity("random", 10.0, 0.01, "1", "t", 5.0))
    for k in range(3):
        product = product * Quantity(f"known {k}", 10.0, 0.01)
    found = budget(product)
    assert found.dof == pytest.approx(80.0)
    assert found.k == pytest.approx(
        1.990, abs=0.0005
    )  # JCGM 100, G.2: 2.00 at 60, 1.98 at 100; tables of t: 1.990 at 80


def test_stoichiometry_and_two_steps():
    """Step 2 takes 12.0 - 5.0 = 7.0 mL; one mole of titrant for half a mole of analyte."""
    inputs = ResultInputs("acid", 0.1, 10.0, analyte_per_titrant=0.5)
    first, second = results(Evaluation((point(5.0, 0.003), point(12.0, 0.004))), inputs)
    assert first.value == pytest.approx(0.025)
    assert second.name == "acid (step 2)"
    assert second.value == pytest.approx(0.035)
    assert second.u == pytest.approx(0.035 * 0.005 / 7.0)


@pytest.mark.parametrize(("unit", "factor"), [("mmol/L", 1000.0), ("g/L", 55.845), ("mg/L", 55845.0)])
def test_the_unit_of_the_method_comes_first(unit, factor):
    inputs = ResultInputs("iron(II)", 0.1, 10.0, molar_mass_g_per_mol=55.845, unit=unit)
    told = results(Evaluation((point(18.0, 0.001),)), inputs)
    assert told[0].unit == unit
    assert told[0].value == pytest.approx(0.18 * factor)
    assert {each.unit for each in told} == {unit, "mol/L", "g/L"}


def test_json_has_no_infinity():
    evaluation = Evaluation((point(18.0, 0.0009),), warnings=("a sentence",))
    text = json.dumps([each.to_json() for each in results(evaluation, INPUTS)], allow_nan=False)
    entry = json.loads(text)[0]
    assert entry["dof"] is None
    assert set(entry) >= {"name", "value", "unit", "u", "dof", "k", "U", "interval_95"}
    whole = json.loads(json.dumps(evaluation.to_json(), allow_nan=False))
    assert set(whole) >= {"equivalence_points", "estimates", "warnings"}
    keys = {"volume_mL", "u_random_mL", "u_mL", "interval_95_mL", "potential_mV", "found_by"}
    assert set(whole["equivalence_points"][0]) >= keys


def test_no_point_no_result():
    assert results(Evaluation(), INPUTS) == []


@pytest.mark.parametrize("wrong", [{"unit": "ppm"}, {"unit": "g/L"}, {"unit": "%", "molar_mass_g_per_mol": 55.845}])
def test_units_that_cannot_be_told(wrong):
    with pytest.raises(ValueError, match="expected"):
        ResultInputs(**{"name": "x", "titrant_mol_per_L": 0.1, "aliquot_mL": 1.0, **wrong})


TIN = replace(INPUTS, name="tin(II)", analyte_per_titrant=0.5, molar_mass_g_per_mol=118.71)


def test_each_step_has_its_own_name_ratio_and_mass_in_the_order_of_the_units():
    """Tin at 6.0 mL: 6.0 × 0.1 × 0.5 × 10/10 = 0.3 mol/L; iron over 14.0 - 6.0 = 8.0 mL: 0.8 mol/L."""
    found = results(Evaluation((point(6.0, 0.003), point(14.0, 0.004))), [TIN, INPUTS])
    assert [(each.name, each.unit) for each in found] == [
        ("tin(II)", "mol/L"), ("iron(II)", "mol/L"), ("tin(II)", "g/L"), ("iron(II)", "g/L"),
    ]  # fmt: skip
    assert [each.value for each in found] == pytest.approx([0.3, 0.8, 0.3 * 118.71, 0.8 * 55.845])


def test_the_volume_between_two_points():
    """Random parts, each a line: 0.003 mL and 0.004 mL of 8.0 mL; calibration 0.002/√3 of the 8.0 mL between."""
    _, iron, *_ = results(Evaluation((point(6.0, 0.003), point(14.0, 0.004))), [TIN, INPUTS])
    lines = {line.name: line for line in iron.budget}
    assert lines["equivalence volume (random)"].contribution == pytest.approx(0.8 * 0.003 / 8.0)
    assert lines["equivalence volume (random)"].sensitivity < 0.0 < lines["burette calibration"].sensitivity
    assert lines["equivalence volume (random), point 2"].contribution == pytest.approx(0.8 * 0.004 / 8.0)
    assert lines["burette calibration"].contribution == pytest.approx(0.8 * 0.002 / math.sqrt(3.0))


def test_the_method_s_unit_comes_first_for_all_steps():
    both = [replace(each, unit="mg/L") for each in (TIN, INPUTS)]
    units = [each.unit for each in results(Evaluation((point(6.0, 0.003), point(14.0, 0.004))), both)]
    assert units == ["mg/L", "mg/L", "mol/L", "mol/L", "g/L", "g/L"]


def test_points_beyond_the_steps_have_no_result():
    three = Evaluation((point(6.0, 0.003), point(14.0, 0.004), point(16.0, 0.004)))
    assert len(results(three, [TIN, INPUTS])) == 4


def test_titrant_of_another_temperature_than_20_degrees():
    """Water: 997.05 kg/m³ at 25 °C and 998.21 at 20 °C (any handbook): a titrant of 25 °C holds 0.116 % less."""
    assert expansion(20.0) == 1.0
    assert expansion(25.0) == pytest.approx(997.05 / 998.21, abs=1e-5)
    cold, warm = (
        results(Evaluation((point(18.0, 0.0009),)), replace(INPUTS, warmth=expansion(each)))[0] for each in (20.0, 25.0)
    )
    assert warm.value / cold.value == pytest.approx(0.99884, abs=1e-5)
    assert expansion(80.0) == expansion(50.0)  # the tables end there


def test_the_blank_is_taken_off_the_first_point_only():
    """(6.0 - 0.5) mL and (14.0 - 6.0) mL of 0.1 mol/L for 10 mL: 0.55 and 0.8 mol/L at a dilution of 10."""
    blank = Quantity("blank", 0.5, 0.01, "mL")
    inputs = replace(INPUTS, blank_mL=blank, molar_mass_g_per_mol=None)
    first, second = results(Evaluation((point(6.0, 0.003), point(14.0, 0.004))), inputs)
    assert (first.value, second.value) == (pytest.approx(0.55), pytest.approx(0.8))
    assert "blank" in {line.name for line in first.budget}
    assert "blank" not in {line.name for line in second.budget}


def test_no_result_of_a_volume_below_the_blank():
    assert results(Evaluation((point(0.4, 0.003),)), replace(INPUTS, blank_mL=0.5)) == []


def test_a_weighed_sample():
    """By hand: 20 mL of 0.1 mol/L take 2 mmol of iron, 0.11169 g; 0.5 g of sample hold 22.338 %, u(m)/m 0.001.

    Made up to 100 mL of which the vessel holds 10 mL, ten times as much.
    """
    mass = Quantity("mass of the sample", 0.5, 0.0005, "g")
    whole = ResultInputs("iron", 0.1, 50.0, molar_mass_g_per_mol=55.845, unit="%", sample_g=mass)
    fraction, amount = results(Evaluation((point(20.0, 0.0),)), whole)
    assert (fraction.value, fraction.unit) == (pytest.approx(22.338), "%")
    assert fraction.u == pytest.approx(0.022338)
    assert (amount.value, amount.unit, amount.u) == (pytest.approx(2.0), "mmol", pytest.approx(0.0, abs=1e-12))
    part = replace(whole, aliquot_mL=10.0, made_up_to_mL=100.0, unit="mg/g")
    assert results(Evaluation((point(20.0, 0.0),)), part)[0].value == pytest.approx(2233.8)


def test_what_the_user_declares_is_a_line():
    """0.5 % of sampling and 0.3 % of repeatability beside 0.2566 %: root of 0.25 + 0.09 + 0.0658 = 0.637 %."""
    found = results(Evaluation((point(18.0, 0.0009),)), replace(INPUTS, sampling=0.005, repeatability=0.003))[0]
    assert found.u / found.value == pytest.approx(0.00637, abs=5e-6)
    assert {"sampling", "repeatability"} <= {line.name for line in found.budget}


def test_results_of_an_estimate_are_marked():
    estimate = Estimate(18.0, 0.01, (17.98, 18.02), "gran", "it was not bracketed")
    (found, *_) = results(Evaluation(estimates=(estimate,)), INPUTS, from_estimates=True)
    assert found.value == pytest.approx(1.8)
    assert found.to_json()["from_estimate"] is True
    assert results(Evaluation(estimates=(estimate,)), INPUTS) == []


def test_one_rectangular_source_gives_the_interval_and_the_formula_the_value():
    """Burette ±1 %, 84 % of u²: 95 % of the rectangle is ±0.95 %, widened by the rest; k u would be ±1.22 %."""
    molar, mass = results(Evaluation((point(18.0, 0.0009),)), replace(INPUTS, burette=Burette.within(0.01)))
    assert (molar.interval_from, mass.interval_from) == ("Monte Carlo", "Monte Carlo")
    assert molar.value == pytest.approx(1.8, abs=1e-12)
    assert 0.0095 * 1.8 < molar.U < 0.0110 * 1.8 < 1.96 * molar.u
    assert (
        pytest.approx(molar.k * molar.u) == molar.U == pytest.approx((molar.interval_95[1] - molar.interval_95[0]) / 2)
    )
    assert "one rectangular source, burette calibration" in molar.warning
    assert molar.to_json()["monte_carlo"]["seed"] == 1
    assert [55.845 * each for each in molar.interval_95] == pytest.approx(mass.interval_95)
