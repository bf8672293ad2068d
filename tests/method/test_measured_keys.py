"""How titrant and sample are measured: the keys, what they come to (by hand), and wrong ones told with their place."""

import math
from pathlib import Path

import pytest

from titrator.files import FileProblem
from titrator.method import load_method

GOOD = (Path(__file__).parent / "good.yaml").read_text("utf-8")
STATED = "concentration: {value: 0.1000 mol/L, u: 0.0002 mol/L}"
ALIQUOT = "aliquot: {value: 10.00 mL, u: 0.010 mL}"
DILUTION = "dilution: {value: 10, u: 0.005}"
PREPARED = """prepared:
    substance: KHC8H4O4
    mass: {value: 2.0422 g, linearity: 0.3 mg}
    flask: {value: 100 mL, tolerance: 0.1 mL, filling: 0.03 mL}"""
STANDARDISED = """standardised:
    standard: Na2C2O4
    mass: {value: 0.1340 g, half_width: 0.0002 g}
    purity: {value: 0.9995, half_width: 0.0005}
    standard_per_titrant: 0.5
    volume: {value: 20.00 mL, u: 0.005 mL}
    blank: {value: 0.01 mL, half_width: 0.01 mL}"""
STEPS = """dilutions:
    - portion: {value: 10 mL, tolerance: 0.02 mL}
      made_up_to: {value: 100 mL, tolerance: 0.1 mL}"""


def loaded(tmp_path: Path, *edits: tuple[str, str]):
    text = GOOD
    for was, now in edits:
        assert text.count(was) == 1, was
        text = text.replace(was, now)
    path = tmp_path / "method.yaml"
    path.write_text(text, "utf-8")
    return load_method(path)


def refused(tmp_path: Path, *edits: tuple[str, str]) -> str:
    with pytest.raises(FileProblem) as raised:
        loaded(tmp_path, *edits)
    return str(raised.value)


def test_prepared(tmp_path):
    """2.0422 g of M 204.222 g/mol in 100 mL: 0.1000 mol/L. Relative: 0.3 mg √(2/3)/2.0422 g, (0.1/√6, 0.03)/100."""
    concentration = loaded(tmp_path, (STATED, PREPARED)).titrant.concentration
    assert concentration.value_mol_per_L == pytest.approx(2.0422 / 204.222 * 10.0, rel=1e-5)
    weights = {8: 0.002, 5: 0.0002, 4: 0.001, 1: 0.0001}  # C, H, O, K: bounds of the standard atomic weights of 2021
    molar = math.sqrt(sum((count * half) ** 2 / 3 for count, half in weights.items()))
    relative = math.hypot(0.0003 * math.sqrt(2 / 3) / 2.0422, 0.1 / math.sqrt(6) / 100, 0.03 / 100, molar / 204.222)
    assert concentration.u_mol_per_L / concentration.value_mol_per_L == pytest.approx(relative, rel=1e-4)


def test_standardised(tmp_path):
    """134.0 mg of oxalate (M 133.998 g/mol) × 0.9995 / 0.5 in 19.99 mL."""
    concentration = loaded(tmp_path, (STATED, STANDARDISED)).titrant.concentration
    assert concentration.value_mol_per_L == pytest.approx(134.0 / 133.998 * 0.9995 / 0.5 / 19.99, rel=2e-5)
    parts = (0.0002 / 0.134 / math.sqrt(3), 0.0005 / 0.9995 / math.sqrt(3), 0.005 / 19.99, 0.01 / 19.99 / math.sqrt(3))
    assert concentration.u_mol_per_L / concentration.value_mol_per_L == pytest.approx(math.hypot(*parts), rel=1e-3)


def test_a_warm_titrant(tmp_path):
    """By hand: an expansion of 0.00025 1/K over 4 K makes a volume at 20 °C 0.1 % less, so the concentration more."""
    own = STANDARDISED + "\n    temperature: {value: 24 °C, u: 1 °C}\n  expansion: 0.00025 1/K"
    warm = loaded(tmp_path, (STATED, own)).titrant.concentration
    cold = loaded(tmp_path, (STATED, STANDARDISED)).titrant.concentration
    assert warm.value_mol_per_L / cold.value_mol_per_L == pytest.approx(1.001)
    titrant = loaded(
        tmp_path, ("temperature: 20 °C\nsample", "temperature: {value: 21 °C, half_width: 2 °C}\nsample")
    ).titrant
    assert (titrant.temperature_C, titrant.warmth.u_C) == (21.0, pytest.approx(2.0 / math.sqrt(3)))


def test_dilutions_and_glassware(tmp_path):
    sample = loaded(
        tmp_path, (DILUTION, STEPS), (ALIQUOT, "aliquot: {value: 10.00 mL, tolerance: 0.02 mL, filling: 0.006 mL}")
    ).sample
    assert (sample.aliquot.value_mL, sample.aliquot.u_mL) == (
        10.0,
        pytest.approx(math.hypot(0.02 / math.sqrt(6), 0.006)),
    )
    relative = math.hypot(0.02 / math.sqrt(6) / 10, 0.1 / math.sqrt(6) / 100)
    assert (sample.dilution.value, sample.dilution.u) == (10.0, pytest.approx(10.0 * relative))


WEIGHED = f"{ALIQUOT}\n  mass: {{value: 1.25 g, linearity: 0.2 mg}}"


def test_a_weighed_sample(tmp_path):
    method = loaded(
        tmp_path, (f"{ALIQUOT}\n  {DILUTION}", f"{WEIGHED}\n  made_up_to: {{value: 100 mL, tolerance: 0.1 mL}}"),
        ("unit: mol/L", "unit: g/100 g"),
    )  # fmt: skip
    assert method.sample.mass.value_g == 1.25
    assert method.sample.mass.u_g == pytest.approx(0.0002 * math.sqrt(2 / 3))
    assert method.result.unit == "g/100 g"


@pytest.mark.parametrize(
    ("edits", "told"),
    [
        (
            [(STATED, f"{STATED}\n  {PREPARED}")],
            "10:3: expected one of concentration, prepared, standardised, got concentr",
        ),
        ([(STATED + "\n", "")], "expected one of the keys concentration, prepared and standardised, got none of them"),
        (
            [(STATED, PREPARED.replace("KHC8H4O4", "KHX8"))],
            "expected a formula such as KHC8H4O4 (or the key molar_mass), got",
        ),
        ([(STATED, PREPARED.replace("KHC8H4O4", "Xe2"))], "the table of atomic weights has no Xe"),
        (
            [(STATED, PREPARED.replace("2.0422 g", "2.0422 mL"))],
            'expected a mass such as "0.3888 g", got "2.0422 mL" (mL is',
        ),
        (
            [(STATED, PREPARED.replace("linearity: 0.3 mg", ""))],
            "expected the key u (standard uncertainty), half_width",
        ),
        ([(STATED, STANDARDISED.replace("0.9995,", "99.95,"))], "expected a mass fraction of at most 1, got 99.95"),
        (
            [(STATED, STANDARDISED.replace("0.01 mL, half", "21 mL, half"))],
            "expected less than the 20 mL of volume, got 21 mL",
        ),
        ([(DILUTION, f"{DILUTION}\n  {STEPS}")], "expected one of dilution and dilutions, got both"),
        ([(DILUTION, STEPS.replace("100 mL", "5 mL"))], "expected at least the 10 mL of portion, got 5 mL"),
        (
            [(ALIQUOT, ALIQUOT.replace("u: 0.010 mL", "u: 0.010 mL, filling: 0.01 mL"))],
            "expected filling beside tolerance",
        ),
        ([(ALIQUOT, ALIQUOT.replace("u:", "tolerance: 0.02 mL, u:"))], "got u and tolerance"),
        ([(f"{ALIQUOT}\n  {DILUTION}", WEIGHED)], "expected %, g/100 g, mg/g or mmol of a weighed sample"),
        (
            [(ALIQUOT, WEIGHED), ("unit: mol/L", 'unit: "%"')],
            "expected no dilution of a weighed sample without made_up_to",
        ),
        ([("unit: mol/L", 'unit: "%"')], "expected mol/L, mmol/L, g/L, mg/L or mmol without sample.mass, got %"),
        (
            [(DILUTION, f"{DILUTION}\n  certified: {{value: 1.7 mol/L, u: 0.01 mol/L}}")],
            "certified for the kind standard only",
        ),
        (
            [(DILUTION, f"{DILUTION}\n  made_up_to: {{value: 100 mL, u: 0.1 mL}}")],
            "expected the key made_up_to beside mass",
        ),
        ([(DILUTION, f"{DILUTION}\n  sampling: 0.5")], 'expected a percentage such as "0.2 %", got 0.5'),
        (
            [("temperature: 20 °C\nsample", "temperature: {value: 21 °C, u: -2 °C}\nsample")],
            "expected at least 0 °C, got -2 °C",
        ),
        (
            [("temperature: 20 °C\nsample", "temperature: 20 °C\n  expansion: 0.0002\nsample")],
            "expected a cubic expansion such as",
        ),
        ([("equivalence_points: 1", "equivalence_points: 1\n  by: gran")], "expected jump or extrapolation"),
        (
            [(ALIQUOT, "aliquot: {value: 10 mL, tolerance: 0.03 mL, vessel: A}"),
             (DILUTION, STEPS.replace("tolerance: 0.02 mL", "tolerance: 0.02 mL, vessel: A"))],
            "expected one volume and tolerance under one name (10 mL, 0.03 mL), got 10 mL, 0.02 mL for A",
        ),
    ],
)  # fmt: skip
def test_wrong_keys(tmp_path, edits, told):
    said = refused(tmp_path, *edits)
    assert told in said
    assert said.count("\n") == 0


def test_a_certified_control(tmp_path):
    sample = loaded(
        tmp_path,
        ("kind: unknown", "kind: standard"),
        (DILUTION, f"{DILUTION}\n  certified: {{value: 1.7 mol/L, u: 0.01 mol/L}}"),
    ).sample
    assert (sample.certified.value_mol_per_L, sample.certified.u_mol_per_L) == (1.7, 0.01)
