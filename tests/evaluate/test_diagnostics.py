"""What a curve says of electrode, medium and titrant: curves made with a known wrongness, and none without one.

Curves are exact balances solved by bisection (titration_curves.py); what is wrong with them is put in by hand.
"""

import json
import math

import numpy as np
import pytest
from titration_curves import measured, redox_mV, volumes_about, weak_acid_ph

from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.expectation import Expectation

VE_mL = 12.34
NERNST_mV = 25.26
IRON = Expectation.of_redox(
    analyte_potential_mV=470.0, titrant_potential_mV=1230.0, nernst_slope_mV=NERNST_mV, sd_volume_mL=0.001
)
ACETIC = Expectation(
    points_sought=1, model="acid", slope_mV=0.975 * NERNST_mV, slope_sd_mV=0.36, neutral_mV=0.0, sd_volume_mL=0.001,
    vessel_mL=50.0, titrant_mol_per_L=0.1, rising=False,
)  # fmt: skip
VOLUME = volumes_about(VE_mL)
SD_mV = 0.1


def iron(*, seed=1, volume=VOLUME, added_mV=0.0, **made):
    """An iron curve with what is wrong with it."""
    values = {"slope_mV": 0.975 * NERNST_mV, **made}
    signal = measured(lambda v: redox_mV(v, equivalence_mL=VE_mL, **values), volume, seed, 0.001, SD_mV)
    return Curve(volume, signal + added_mV, "mV", np.full(len(volume), SD_mV))


def kinds(evaluation):
    return [each.kind for each in evaluation.diagnostics]


@pytest.mark.parametrize("seed", range(10))
def test_nothing_is_said_where_all_is_well(seed):
    evaluation = find_equivalence_points(iron(seed=seed), IRON)
    assert len(evaluation.equivalence_points) == 1
    assert evaluation.diagnostics == ()
    assert evaluation.to_json()["diagnostics"] == []


@pytest.mark.parametrize("seed", range(3))
def test_a_slope_of_45_mV_at_platinum(seed):
    """45 mV per decade, 19.5 mV for a factor e, where 58 are expected at 20 °C."""
    evaluation = find_equivalence_points(iron(seed=seed, slope_mV=45.0 / math.log(10.0)), IRON)
    (point,) = evaluation.equivalence_points
    assert point.volume_mL == pytest.approx(VE_mL, abs=0.01)
    slopes = [each for each in evaluation.diagnostics if each.kind == "slope"]
    assert len(slopes) == 1
    sentence = slopes[0].sentence
    assert "45 mV per decade" in sentence or "44.9 mV" in sentence or "45.1 mV" in sentence
    order = [sentence.index(word) for word in ("not settled", "number of electrons", "fouled", "mixed potential")]
    assert order == sorted(order), "causes in likely order"
    assert json.loads(json.dumps(evaluation.to_json()))["diagnostics"][0]["kind"] == "slope"


def test_all_potentials_off_alike_point_to_the_reference():
    """80 mV on every reading."""
    evaluation = find_equivalence_points(iron(added_mV=80.0), IRON)
    (only,) = evaluation.diagnostics
    assert only.kind == "potential"
    assert "+80 mV" in only.sentence
    assert "alike" in only.sentence
    assert "another reference electrode" in only.sentence
    (point,) = evaluation.equivalence_points
    assert point.volume_mL == pytest.approx(VE_mL, abs=0.005)


def test_one_potential_off_points_to_the_medium():
    """The analyte's potential 80 mV too high: phosphate or missing acid moves one couple and not the other."""
    evaluation = find_equivalence_points(iron(analyte_mV=550.0), IRON)
    (only,) = evaluation.diagnostics
    assert only.kind == "potential"
    assert only.sentence.startswith("analyte potential found 550 mV where 470 mV")
    assert only.sentence.index("missing acid") < only.sentence.index("another reference")


def test_a_signal_that_goes_back_behind_the_jump():
    """Behind the point 2 mV are lost with every further reading: titrant is used up while one waits."""
    volume = np.concatenate([VOLUME, VOLUME[-1] + np.arange(1.0, 6.0)])
    behind = np.clip(np.arange(len(volume)) - (len(VOLUME) - 2), 0, None)
    signal = iron(volume=volume).signal - 12.0 * behind
    evaluation = find_equivalence_points(Curve(volume, signal, "mV", np.full(len(volume), SD_mV)), IRON)
    drifts = [each for each in evaluation.diagnostics if each.kind == "drift"]
    assert len(drifts) == 1
    assert "something consumes titrant" in drifts[0].sentence


def test_the_same_from_the_settling_of_each_reading():
    """Readings behind the jump whose own settling curves run down: each says that it has yet to lose 3 mV."""
    curve = iron()
    behind = curve.volume_mL > VE_mL + 0.05
    lacking = np.where(behind, -3.0, 0.0)
    told = Curve(
        curve.volume_mL, curve.signal, "mV", curve.sd_signal, None, np.full(len(VOLUME), 4.0), lacking,
        np.full(len(VOLUME), 0.2),
    )  # fmt: skip
    assert "drift" in kinds(find_equivalence_points(told, IRON))


def test_readings_not_settled_on_the_jump():
    curve = iron()
    near = np.abs(curve.volume_mL - VE_mL) < 0.05
    told = Curve(
        curve.volume_mL, curve.signal, "mV", curve.sd_signal, ~near, np.where(near, 3.0, 0.1)
    )  # fmt: skip
    findings = [each for each in find_equivalence_points(told, IRON).diagnostics if each.kind == "not settled"]
    assert len(findings) == 1
    assert "longest_wait" in findings[0].sentence


def glass(slope_mV_per_pH: float) -> Curve:
    def shape(volume):
        return -slope_mV_per_pH * (weak_acid_ph(volume, equivalence_mL=VE_mL) - 7.0)

    signal = measured(shape, VOLUME, 4, 0.001, SD_mV)
    return Curve(VOLUME, signal, "mV", np.full(len(VOLUME), SD_mV))


def test_a_tired_glass_electrode():
    """47 mV per pH: the advice is that of glass, not of platinum. 56.5 mV, 97 %, is well."""
    assert find_equivalence_points(glass(56.7), ACETIC).diagnostics == ()
    slopes = [each for each in find_equivalence_points(glass(47.0), ACETIC).diagnostics if each.kind == "slope"]
    assert len(slopes) == 1
    assert "glass electrode" in slopes[0].sentence
    assert "calibrate" in slopes[0].sentence
    assert "platinum" not in slopes[0].sentence


def test_a_rival_model_is_named_by_its_family():
    """Nobody stated a model: that a redox curve is the nearest does not make the reaction one."""
    volume = np.linspace(0.3, 20.0, 40)
    two = np.array([weak_acid_ph(v, equivalence_mL=9.0) for v in volume]) * -58.0 + 15.0 * np.sin(volume)
    evaluation = find_equivalence_points(Curve(volume, -two, "mV", np.full(40, 0.2)))
    told = [text for text in evaluation.warnings if "does not describe the curve" in text]
    assert told
    assert "says nothing of the reaction" in told[0]


def test_unequal_electrons_say_both_differences():
    """Two electrons of tin against one of cerium: 2 ln(2) s/3 = 11.4 mV for s = 24.6 mV (by hand, from the balance)."""
    tin = Expectation.of_redox(
        analyte_potential_mV=139.0, titrant_potential_mV=1280.0, nernst_slope_mV=NERNST_mV, analyte_electrons=2,
        sd_volume_mL=0.001,
    )  # fmt: skip
    slope = 0.975 * NERNST_mV
    signal = measured(
        lambda v: redox_mV(v, equivalence_mL=VE_mL, analyte_mV=139.0, titrant_mV=1280.0, analyte_z=2, slope_mV=slope),
        VOLUME, 6, 0.001, SD_mV,
    )  # fmt: skip
    evaluation = find_equivalence_points(Curve(VOLUME, signal, "mV", np.full(len(VOLUME), SD_mV)), tin)
    (told,) = evaluation.to_json()["inflections"]
    assert told["signal_difference"] == pytest.approx(2.0 * math.log(2.0) * slope / 3.0, abs=0.3)
    assert abs(told["volume_difference_mL"]) < 1e-4
    assert "mV from the equivalence point" in told["sentence"]
    assert find_equivalence_points(iron(), IRON).inflections == ()
