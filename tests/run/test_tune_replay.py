"""Rules on recorded curves (both simulated here): the curve is the record's, and errors are against its points."""

import numpy as np
import pytest
from demonstration import CONFIGS, METHOD, NOW, rehearsal
from test_tune_sweep import Inline

from titrator.bench.rig import load_rig
from titrator.files import InputProblem
from titrator.method import load_method
from titrator.record.run_folder import RunFolder
from titrator.run.rehearsal import Setup, rehearse
from titrator.run.tune import recording as module
from titrator.run.tune.dials import tunable
from titrator.run.tune.recording import recording
from titrator.run.tune.replay import planned, replayed


@pytest.fixture(scope="module")
def iron(tmp_path_factory):
    return rehearsal(5, tmp_path_factory.mktemp("iron")).folder


@pytest.fixture(scope="module")
def acid(tmp_path_factory):
    """Two points on a falling curve."""
    path = CONFIGS / "methods" / "phosphoric_acid.yaml"
    method = load_method(path)
    setup = Setup(method, path, load_rig(method.rehearsal.rig), method.rehearsal.rig, method.rehearsal.cell, 5)
    return rehearse(setup, tmp_path_factory.mktemp("acid"), NOW).folder


@pytest.mark.parametrize("name", ["iron", "acid"])
@pytest.mark.parametrize("fitted", [True, False])
def test_the_curve_goes_through_the_readings_and_never_back(name, fitted, request, monkeypatch):
    folder = request.getfixturevalue(name)
    if not fitted:
        monkeypatch.setattr(module, "_fitted", lambda run: module._readings(run.curve))
    told = recording(folder)
    volume, potential = np.array(told.cell.curve["volume_mL"]), np.array(told.cell.curve["potential_mV"])
    assert np.all(np.diff(volume) > 0.0)
    assert len(set(np.sign(np.diff(potential))) - {0.0}) == 1
    readings = told.run.curve.at_rest().in_order()
    # Noise of a logged reading is 0.1 mV; along the jump a burette error of 1 µL moves it by tens of mV.
    slope = np.abs(np.gradient(np.interp(readings.volume_mL, volume, potential), readings.volume_mL))
    allowed = 1.0 + 0.005 * np.maximum(slope, np.abs(np.gradient(readings.signal, readings.volume_mL)))
    far = np.abs(np.interp(readings.volume_mL, volume, potential) - readings.signal) > allowed
    assert not np.any(far[1:]), readings.volume_mL[far]
    assert volume[0] == 0.0
    assert volume[-1] >= told.method.ends_when.volume_above_mL


def test_behind_the_record_it_goes_on_by_the_logarithm_of_the_excess(iron):
    """Nernst for one electron: RT/F times ln(excess), RT/F = 25.3 mV at 20 °C and 0.95 to 1 of it reached."""
    told = recording(iron).cell
    point_mL = told.true_mL[-1]
    last_mL = float(recording(iron).run.curve.volume_mL[-1])
    at = [1.2 * last_mL, 1.3 * last_mL]
    low, high = np.interp(at, told.curve["volume_mL"], told.curve["potential_mV"])
    slope = (high - low) / np.log((at[1] - point_mL) / (at[0] - point_mL))
    assert 0.9 * 25.26 < slope < 1.05 * 25.26


def test_the_recorded_rule_finds_the_recorded_point_again(iron):
    replay = planned([iron], ["adaptive"], None, 6, 1)
    (told,) = replayed(replay, Inline(replay.outfit, real=True), lambda _: None)
    (figures,) = told.figures
    assert figures.runs == 6
    assert figures.sound
    # The burette errs by 1 µL about each of its places; the fitted curve is exact by construction.
    assert figures.rms_uL < 2.0
    assert figures.duration_s == pytest.approx(told.recording.run.duration_s, rel=0.4)
    assert told.candidates[0].own


def test_each_rule_is_asked_on_each_curve(iron, acid):
    replay = planned([iron, acid], (), None, None, 7)
    crew = Inline(replay.outfit)
    told = replayed(replay, crew, lambda _: None)
    assert [[each.rule for each in candidates] for candidates in replay.candidates] == [list(tunable())] * 2
    assert replay.total == 20 * 2 * len(tunable()) == sum(len(runs) for _, runs in crew.made)
    assert [replay.outfit.cell_of(run) for run in (0, 19, 20, 39)] == [0, 0, 1, 1]
    assert [each.recording.folder for each in told] == [iron.path, acid.path]


def test_a_method_that_is_given_is_judged_beside(iron, tmp_path):
    path = tmp_path / "mine.yaml"
    path.write_text(METHOD.read_text(encoding="utf-8").replace("aim: 25 mV", "aim: 40 mV"), encoding="utf-8")
    replay = planned([iron], ["adaptive"], path, 4, 1)
    given = replay.candidates[0][-1]
    assert given.given
    assert given.values["aim"] == "40 mV"
    assert replay.each == 2


def test_a_method_of_another_reaction_is_refused(iron):
    with pytest.raises(InputProblem, match="of the same reaction"):
        planned([iron], ["adaptive"], CONFIGS / "methods" / "phosphoric_acid.yaml", None, 1)


def test_a_run_without_its_point_is_refused(tmp_path):
    folder: RunFolder = rehearsal(1, tmp_path, ("stall@8 mL",)).folder
    with pytest.raises(InputProblem, match="got 0 of 1"):
        recording(folder)


def test_more_rules_than_runs_are_refused(iron):
    with pytest.raises(InputProblem, match="at least one run of each rule on each curve"):
        planned([iron], ["adaptive", "fixed"], None, 1, 1)
