"""Eurachem/CITAC guide CG4 (2012), A1, A2 and A3, by the keys of a method file; degrees of freedom of JCGM 100.

Inputs and results of A2 and A3 as retold in the documentation of the GTC package (sections A2.4 and A3.4) and printed
in the tables of the guide's 2000 edition; A1 from memory. Component by component: test_quam_chain.py.
"""

import math

import pytest
from GTC import tb, ureal
from method_of_example import method_with

from titrator.evaluate.budget import budget
from titrator.evaluate.evaluation import EquivalencePoint, Evaluation
from titrator.evaluate.measurement import model_of
from titrator.evaluate.propagation import coverage_factor, effective_dof
from titrator.evaluate.results import results
from titrator.run.chain import burette_of, result_inputs, titrant_mol_per_L

PHTHALATE = """
  standardised:
    standard: KHC8H4O4
    mass: {value: 0.3888 g, linearity: 0.15 mg}
    purity: {value: 1, half_width: 0.0005}
    molar_mass: {value: 204.2212 g/mol, u: 0.0038 g/mol}
    standard_per_titrant: 1
    volume: {value: 18.64 mL, u: 0 mL}
    burette: {tolerance: 0.03 mL}
"""


def point(volume_mL: float, u_mL: float, dof: float = math.inf) -> Evaluation:
    interval = (volume_mL - 2 * u_mL, volume_mL + 2 * u_mL)
    return Evaluation((EquivalencePoint(volume_mL, u_mL, dof, interval, 0.0, "mV", "model-fit"),))


def test_example_a2_by_method_keys(tmp_path):
    """Guide: c(NaOH) 0.10214 mol/L, u 0.00010; unrounded 0.1021362 and 0.00010050 (by hand).

    ±3 K at 95 % are u 1.5306 K, which with 0.006 mL of 18.64 mL (rounded in the guide) is an expansion of 2.103e-4.
    """
    own = f"""{PHTHALATE}    temperature: {{value: 20 °C, u: 1.530612 °C}}
    repeatability: 0.05 %
  temperature: 20 °C
  expansion: 0.000210300 1/K"""
    titrant = method_with(tmp_path, {"titrant": own}).titrant
    found = budget(titrant_mol_per_L(titrant, burette_of(None)))
    for value, u in ((found.value, found.u), titrant.concentration):
        assert value == pytest.approx(0.10214, abs=0.5e-5)
        assert value == pytest.approx(0.1021362, abs=0.5e-7)
        assert u == pytest.approx(0.00010, abs=0.5e-5)
        assert u == pytest.approx(0.00010050, abs=0.5e-7)
    shares = {line.name: line.contribution for line in found.budget}
    assert shares["tolerance of the burette of the standardisation"] == pytest.approx(6.7e-5, abs=0.05e-5)
    assert shares["repeatability of the standardisation"] == pytest.approx(5.1e-5, abs=0.05e-5)
    assert shares["temperature of the standardisation"] == pytest.approx(3.3e-5, abs=0.05e-5)


@pytest.mark.parametrize(
    ("repeatability", "printed_u", "u"), [("0.1 %", 0.00018, 0.00018434), ("0.0577350 %", 0.00016, 0.00016471)]
)
def test_example_a3_by_method_keys(tmp_path, repeatability, printed_u, u):
    """Guide: 0.10139 mol/L, u 0.00018; with three titrations (A3.6) u 0.00016. Unrounded 0.1013872 (by hand).

    The guide takes the three volumes as independent, each with its own ±4 K; the aliquot's effect of warmth, 15 mL ×
    2.1e-4 × 4/√3, is its filling here. The volume of the acid carries its burette's ±0.03 mL (triangular) as scatter.
    """
    warm = "{value: 20 °C, half_width: 4 °C}"
    edits = {
        "reaction": " {analyte: hydrochloric acid, titrant: hydroxide, analyte_per_titrant: 1}",
        "titrant": f"{PHTHALATE}    temperature: {warm}\n  temperature: {warm}\n  expansion: 0.00021 1/K",
        "sample": "\n  kind: unknown\n  aliquot: {value: 15 mL, tolerance: 0.02 mL, filling: 0.0072746 mL}",
        "medium": " {acid: none, volume: 30 mL, temperature: 20 °C}",
        "electrode": """
  indicator: glass
  reference: silver/silver chloride
  filling: 3 mol/L KCl
  start_window: [200 mV, 450 mV]
  answers_within: 2 mL""",
        "result": f" {{name: hydrochloric acid, unit: mol/L, molar_mass: 36.46 g/mol, repeatability: {repeatability}}}",
        "cautions": "\n  substances:\n    - {name: sodium hydroxide, concentration: 0.1022 mol/L}\n"
        "    - {name: hydrochloric acid, concentration: 1 mol/L}",
    }
    method = method_with(tmp_path, edits)
    found = results(point(14.89, 0.03 / math.sqrt(6.0)), result_inputs(method, None))[0]
    assert found.value == pytest.approx(0.10139, abs=0.5e-5)
    assert found.value == pytest.approx(0.1013872, abs=0.5e-7)
    assert found.u == pytest.approx(printed_u, abs=0.5e-5)
    assert found.u == pytest.approx(u, abs=0.5e-6)


def test_example_a1_by_method_keys(tmp_path):
    """Guide, A1 (from memory): 100.28 mg of cadmium, u 0.05 mg, 0.9999 ± 0.0001, made up to 100 mL: 1002.7 mg/L.

    u(V): tolerance 0.1 mL (triangular), filling 0.02 mL, ±4 K (0.05 mL): 0.07 mL; the result's u 0.9 mg/L, unrounded
    0.835 (by hand).
    """
    own = """
  prepared:
    substance: Cd
    mass: {value: 100.28 mg, u: 0.05 mg}
    purity: {value: 0.9999, half_width: 0.0001}
    molar_mass: {value: 112.414 g/mol, u: 0.0000001 g/mol}
    flask: {value: 100 mL, tolerance: 0.1 mL, filling: 0.02 mL}
    temperature: {value: 20 °C, half_width: 4 °C}
  temperature: 20 °C
  expansion: 0.00022 1/K"""
    titrant = method_with(tmp_path, {"titrant": own, "find": " {equivalence_points: 1}", **WEAK}).titrant
    found = budget(titrant_mol_per_L(titrant, burette_of(None)))
    for value, u in ((found.value, found.u), titrant.concentration):
        assert 112414.0 * value == pytest.approx(1002.7, abs=0.05)
        assert 112414.0 * u == pytest.approx(0.835, abs=0.005)


WEAK = {
    "sample": "\n  kind: unknown\n  aliquot: {value: 10 mL, u: 0.01 mL}",
    "cautions": "\n  substances:\n    - {name: sodium hydroxide, concentration: 0.1 mol/L}\n"
    "    - {name: acetic acid, concentration: 1.8 mol/L}",
}


def test_what_standardisation_and_sample_share_as_gtc(tmp_path):
    """One burette, one temperature, one pipette for dilution and aliquot, a blank: as GTC's own propagation."""
    edits = {
        "titrant": """
  standardised:
    standard: KHC8H4O4
    mass: {value: 0.4084 g, u: 0.0001 g}
    purity: {value: 0.9995, half_width: 0.0005}
    molar_mass: {value: 204.22 g/mol, u: 0.004 g/mol}
    standard_per_titrant: 1
    volume: {value: 20.00 mL, u: 0.01 mL}
  temperature: {value: 22 °C, half_width: 2 °C}
  expansion: 0.00021 1/K""",
        "sample": """
  kind: unknown
  aliquot: {value: 10 mL, tolerance: 0.02 mL, filling: 0.006 mL, vessel: pipette}
  dilutions:
    - portion: {value: 10 mL, tolerance: 0.02 mL, filling: 0.006 mL, vessel: pipette}
      made_up_to: {value: 100 mL, tolerance: 0.1 mL, filling: 0.02 mL}
  blank: {value: 0.05 mL, u: 0.01 mL}
  sampling: 0.2 %""",
    }
    method = method_with(tmp_path, edits)
    found = results(point(14.0, 0.005, 9.0), result_inputs(method, {"calibration_half_width": 0.002}))[0]

    burette, warm = ureal(1.0, tb.uniform(0.002)), ureal(22.0, tb.uniform(2.0))
    thin = 1.0 / (1.0 + 0.00021 * 2.0) * (1.0 - 0.00021 / (1.0 + 0.00021 * 2.0) * (warm - 22.0))
    standard = 1000.0 * ureal(0.4084, 0.0001) * ureal(0.9995, tb.uniform(0.0005)) / ureal(204.22, 0.004)
    c = standard / (ureal(20.0, 0.01) * burette * thin)
    mark = ureal(0.0, tb.triangular(0.02))
    portion, aliquot = (10.0 + mark + ureal(0.0, 0.006) for _ in range(2))
    flask = 100.0 + ureal(0.0, tb.triangular(0.1)) + ureal(0.0, 0.02)
    taken = (ureal(14.0, 0.005, 9) - ureal(0.05, 0.01)) * burette * thin
    wanted = c * taken / aliquot * flask / portion * ureal(1.0, 0.002)
    assert found.value == pytest.approx(wanted.x, rel=1e-12)
    assert found.u == pytest.approx(wanted.u, rel=1e-7)
    assert found.dof == pytest.approx(wanted.df, rel=1e-5)
    shares = {line.name: line.share for line in found.budget}
    assert shares["burette calibration"] == pytest.approx(0.0, abs=1e-12)
    assert shares["temperature of the titrant"] == pytest.approx(0.0, abs=1e-12)
    # What the method tells of the titrant alone is without what cancels.
    assert method.titrant.concentration.u_mol_per_L / method.titrant.concentration.value_mol_per_L == pytest.approx(
        math.sqrt((0.0001 / 0.4084) ** 2 + (0.0005 / 0.9995) ** 2 / 3 + (0.004 / 204.22) ** 2 + 0.0005**2)
    )


def test_the_two_routes_to_the_titrant_agree(tmp_path):
    """What the method computes for plans and checks, and what the evaluation's chain comes to."""
    for own in (
        PHTHALATE
        + "    temperature: {value: 25 °C, u: 1 °C}\n    blank: {value: 0.02 mL, u: 0.01 mL}\n  temperature: 23 °C",
        """
  prepared:
    substance: NaOH
    mass: {value: 2.0 g, half_width: 0.002 g}
    per_substance: 1
    flask: {value: 500 mL, tolerance: 0.25 mL}
    temperature: {value: 24 °C, half_width: 1 °C}
  temperature: 20 °C""",
    ):
        titrant = method_with(tmp_path, {"titrant": own}).titrant
        chain = budget(model_of(titrant_mol_per_L(titrant, burette_of(None))))
        assert titrant.concentration.value_mol_per_L == pytest.approx(chain.value, rel=1e-12)
        assert titrant.concentration.u_mol_per_L == pytest.approx(chain.u, rel=2e-3)


def test_effective_degrees_of_freedom_of_the_end_gauge():
    """JCGM 100, H.1.6 (end-gauge calibration): components in nm with their degrees of freedom; the guide: 16.7."""
    components = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    assert effective_dof(components) == pytest.approx(16.7, abs=0.1)


@pytest.mark.parametrize(("dof", "k"), [(1, 12.71), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01), (math.inf, 1.960)])
def test_coverage_factors(dof, k):
    """JCGM 100, Table G.2, column 95 %."""
    assert coverage_factor(dof) == pytest.approx(k, abs=0.005)
