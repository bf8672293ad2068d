"""A base with carbonate: how strong it is at each point, against hand calculation.

The hand calculation is the charge balance of sodium, hydroxide and carbonate: of a base whose alkalinity is c, a share
s of it carbonate, 1 L holds c(1 - s) of OH- and cs/2 of CO3(2-). Up to carbonic acid it takes up c(1 - s) + 2 cs/2 = c,
up to hydrogen carbonate c(1 - s) + cs/2 = c(1 - s/2). Titrated with hydrogen phthalate it is found as the latter.
"""

from pathlib import Path

import pytest
from method_of_example import method_with

from titrator.evaluate.evaluation import EquivalencePoint, Evaluation, FitParameter, FittedModel
from titrator.evaluate.measurement import model_of
from titrator.method import load_method
from titrator.run.evaluation import results_of
from titrator.run.strength import strengths

METHODS = Path(__file__).parents[2] / "configs" / "methods"
PHOSPHORIC = load_method(METHODS / "phosphoric_acid.yaml")
STANDARDISED = """
  temperature: 20 °C
  standardised:
    standard: {standard}
    mass: {{value: 0.3000 g, u: 0.0001 g}}
    purity: {{value: 1, u: 0}}
    standard_per_titrant: 1
    volume: {{value: {mL} mL, u: 0.002 mL}}
"""
WEIGHED = """
  temperature: 20 °C
  prepared:
    substance: NaOH
    mass: {value: 4.000 g, u: 0.001 g}
    purity: {value: 1, u: 0}
    flask: {value: 1000 mL, u: 0.1 mL}
"""


def point(volume_mL: float) -> EquivalencePoint:
    return EquivalencePoint(
        volume_mL, 0.0005, 20.0, (volume_mL - 0.001, volume_mL + 0.001), 0.0, "mV", "model-fit", 0.0005
    )


def found(*volumes_mL: float, share: float, u: float) -> Evaluation:
    fit = FittedModel("whole acid-base", 1, (FitParameter("carbonate_share", share, u),), 1.0, ())
    return Evaluation(tuple(map(point, volumes_mL)), fits=(fit,))


def test_both_points_of_phosphoric_acid():
    """By hand, s = 0.4 %, 6.000 and 14.000 mL of 0.1000 mol/L, 10 mL of a bath diluted ten times.

    First point: 0.1000/0.998 · 6 mL = 0.601202 mmol, c = 0.601202 mol/L. Both: 0.1000 · 14 = 1.4 mmol; the second step
    is the rest, 0.798798 mol/L.
    """
    told, missing = results_of(PHOSPHORIC, found(6.0, 14.0, share=0.004, u=0.0002), None)
    assert missing == []
    acid, phosphate = (each for each in told if each.unit == "mol/L")
    assert acid.value == pytest.approx(0.6012024, abs=1e-7)
    assert phosphate.value == pytest.approx(0.7987976, abs=1e-7)


def test_the_share_is_a_line_of_the_budget():
    """By hand: dc1/ds = c1/2/(1 - s/2), u = 0.601202/2/0.998 · 0.0002 = 6.024e-5; of the second step the negative."""
    told, _ = results_of(PHOSPHORIC, found(6.0, 14.0, share=0.004, u=0.0002), None)
    for each, sensitivity in zip((each for each in told if each.unit == "mol/L"), (0.3012, -0.3012), strict=True):
        (line,) = (line for line in each.budget if line.name == "carbonate in the titrant")
        assert (line.value, line.u) == (0.004, 0.0002)
        assert line.sensitivity == pytest.approx(sensitivity, abs=1e-4)
        assert line.share == pytest.approx((6.024e-5 / each.u) ** 2, rel=1e-3)


def test_an_alkaline_point_needs_no_share():
    """Acetic acid is titrated to the pH of phthalate: the same protons count, whatever the share."""
    acetic = load_method(METHODS / "acetic_acid.yaml")
    assert strengths(acetic, found(14.0, share=0.004, u=0.0002)) == [1.0]
    told, _ = results_of(acetic, found(14.0, share=0.004, u=0.0002), None)
    assert told[0].value == pytest.approx(1.4)
    assert "carbonate in the titrant" not in [line.name for line in told[0].budget]


@pytest.mark.parametrize("name", ["carbonate_with_acid", "iron_in_pickling_bath", "chloride_in_rinse_water"])
def test_other_titrants_hold_no_carbonate(name):
    assert strengths(load_method(METHODS / f"{name}.yaml"), Evaluation()) == []


@pytest.mark.parametrize("evaluation", [Evaluation(), found(6.0, 14.0, share=0.002, u=0.0045)])
def test_what_no_curve_shows_is_known_as_before(evaluation):
    """0 ± 0.5 % of the alkalinity: the strength at an acid point is 1, u 0.25 %."""
    first, second = strengths(PHOSPHORIC, evaluation, "run 1")
    assert second == 1.0
    (share,) = model_of(first).quantities
    assert (share.name, share.value, share.u) == ("carbonate in the titrant", 0.0, 0.005)
    assert model_of(first).value == 1.0


def test_what_a_run_finds_is_its_own():
    (share,) = model_of(strengths(PHOSPHORIC, found(6.0, 14.0, share=0.002, u=0.0002), "run 1")[0]).quantities
    assert share.name == "carbonate in the titrant, run 1"


@pytest.mark.parametrize(
    ("titrant", "strength"),
    [
        (STANDARDISED.format(standard="KHC8H4O4", mL=14.69), 1.0),
        (STANDARDISED.format(standard="NH2SO3H", mL=30.90), 0.998),
        (WEIGHED, 0.998),
    ],
    ids=["phthalate", "sulfamic acid", "weighed"],
)
def test_where_the_concentration_is_from(tmp_path, titrant, strength):
    """By hand: a strong acid, or the balance, finds c; acetic acid is titrated by c(1 - s/2) = 0.998 c of it."""
    method = method_with(tmp_path, {"titrant": titrant})
    (told,) = strengths(method, found(14.0, share=0.004, u=0.0002))
    assert model_of(told).value == pytest.approx(strength, abs=1e-12)
