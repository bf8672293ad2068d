"""Concentrations from a volume; the numbers beside the checks are worked by hand."""

import json
import math

import pytest

from titrator.evaluate.evaluation import EquivalencePoint, Evaluation
from titrator.evaluate.propagation import Input, product_of_powers
from titrator.evaluate.results import ResultInputs, results


def point(volume_mL: float, u_mL: float, dof: float = math.inf) -> EquivalencePoint:
    interval = (volume_mL - 2 * u_mL, volume_mL + 2 * u_mL)
    return EquivalencePoint(volume_mL, u_mL, dof, interval, 860.0, "mV", "model-fit")


INPUTS = ResultInputs(
    name="iron(II)",
    titrant_mol_per_L=0.1,
    u_titrant_mol_per_L=0.0002,
    aliquot_mL=10.0,
    u_aliquot_mL=0.010,
    dilution=10.0,
    u_dilution=0.005,
    calibration_half_width=0.002,
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
    parts = [Input("random", 10.0, 0.01, dof=5.0), *(Input(f"known {k}", 10.0, 0.01) for k in range(3))]
    found = product_of_powers(parts)
    assert found.dof == pytest.approx(80.0)
    assert found.k == pytest.approx(
        1.990, abs=0.0005
    )  # JCGM 100, G.2: 2.00 at 60, 1.98 at 100; tables of t: 1.990 at 80


def test_stoichiometry_and_two_steps():
    """Step 2 takes 12.0 - 5.0 = 7.0 mL; one mole of titrant for half a mole of analyte."""
    inputs = ResultInputs("acid", 0.1, 0.0, 10.0, 0.0, analyte_per_titrant=0.5)
    first, second = results(Evaluation((point(5.0, 0.003), point(12.0, 0.004))), inputs)
    assert first.value == pytest.approx(0.025)
    assert second.name == "acid (step 2)"
    assert second.value == pytest.approx(0.035)
    assert second.u == pytest.approx(0.035 * 0.005 / 7.0)


@pytest.mark.parametrize(("unit", "factor"), [("mmol/L", 1000.0), ("g/L", 55.845), ("mg/L", 55845.0)])
def test_the_unit_of_the_method_comes_first(unit, factor):
    inputs = ResultInputs("iron(II)", 0.1, 0.0002, 10.0, 0.01, molar_mass_g_per_mol=55.845, unit=unit)
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


@pytest.mark.parametrize("wrong", [{"unit": "ppm"}, {"unit": "g/L", "molar_mass_g_per_mol": None}])
def test_units_that_cannot_be_told(wrong):
    with pytest.raises(ValueError, match="expected"):
        ResultInputs(**{"name": "x", "titrant_mol_per_L": 0.1, "u_titrant_mol_per_L": 0.0, "aliquot_mL": 1.0,
                        "u_aliquot_mL": 0.0, **wrong})  # fmt: skip


@pytest.mark.parametrize("wrong", [(0.0, 0.1), (math.nan, 0.1), (1.0, -0.1), (1.0, math.inf)])
def test_inputs_without_a_relative_uncertainty_are_refused(wrong):
    with pytest.raises(ValueError, match="expected"):
        Input("x", *wrong)
