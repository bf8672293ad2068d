"""A rig used by hand, against the simulated board served in real time, twenty times as fast."""

import json
from contextlib import contextmanager

import pytest
from served import LONG_S, begun, quick_method, rig_file, titrator, truth_of

from sim import check_box

SPEED = 20


@contextmanager
def served(folder, *more, small=False):
    """A board; its rig file."""
    method = quick_method(folder)
    rig = rig_file(folder, "socket://127.0.0.1:4717", fast=True, small=small)
    words = ["rig", "serve", "--method", method, "--rig", rig, "--speed", SPEED, "--json", "--port", 0, *more]
    server = begun(*words, "--truth", folder / "truth.json", cwd=folder, stderr=None)
    try:
        assert server.stdout is not None
        yield rig_file(folder, json.loads(server.stdout.readline())["address"], fast=True, small=small)
    finally:
        server.terminate()
        server.communicate(timeout=LONG_S)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    with served(folder, small=True) as rig:
        yield folder, rig


def told(folder, *words):
    done = titrator("rig", *words, "--json", cwd=folder)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_burette_is_filled_then_delivers_what_it_is_told(small):
    folder, rig = small
    refused = titrator("rig", "move", rig, 0.5, cwd=folder)  # nobody answers whether the tip is over waste
    assert (refused.returncode, "nothing was moved" in refused.stderr or "Abort" in refused.stderr) == (1, True)
    filled = told(folder, "home", rig)
    assert filled["position"] - filled["home"] == 16  # the backlash is taken up
    moved = told(folder, "move", rig, 0.5, "--over-waste")
    assert (moved["reason"], moved["position"]) == ("arrived", filled["position"] + 800)
    assert moved["delivered_mL"] == pytest.approx(0.5)
    again = told(folder, "home", rig)
    assert again["home"] == filled["home"]
    too_much = titrator("rig", "move", rig, 4, "--over-waste", cwd=folder)
    assert (too_much.returncode, "titrator rig home" in too_much.stderr) == (1, True)


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("move", "RIG", "nan", "--over-waste"), 2, "expected a finite number, got nan"),
        (("move", "RIG", "inf", "--over-waste"), 2, "expected a finite number, got inf"),
        (("move", "RIG", "1e12", "--over-waste"), 1, "at most the stroke of the burette, 4 mL, got 1e+12 mL"),
        (("read", "RIG", "--seconds", "nan"), 2, "expected a finite number"),
        (("watch", "RIG", "--seconds", "nan"), 2, "expected a finite number"),
        (("amplifier", "RIG", "--voltage", "nan", "--yes"), 2, "expected a finite number"),
        (("amplifier", "RIG", "--voltage", "0", "--yes"), 2, "expected a voltage other than 0 mV"),
        (("amplifier", "RIG", "--voltage", "5000", "--yes", "--seconds", "1"), 1, "is the voltage connected"),
        (("list", "--wait", "nan"), 2, "expected a finite number"),
    ],
)
def test_wrong_numbers_get_a_message_and_never_a_traceback(small, words, status, said):
    folder, rig = small
    done = titrator("rig", *(rig if word == "RIG" else word for word in words), cwd=folder)
    assert done.returncode == status
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_reading_and_watching(small):
    folder, rig = small
    read = told(folder, "read", rig, "--seconds", 5)
    assert read["readings"] >= 50
    assert read["missed"] == read["at_an_end_of_the_range"] == 0
    assert 0.0 < read["sd_mV"] < 5.0
    counted = told(folder, "watch", rig, "--seconds", 3)
    assert counted["damaged_frames"] == counted["damaged_at_the_board"] == 0
    assert counted["answers"] == counted["requests"] - counted["repeats"] > 0


def test_the_amplifier_is_checked_step_by_step(tmp_path):
    with served(tmp_path, "--check-box", 500) as rig:
        found = told(tmp_path, "amplifier", rig, "--voltage", 500, "--yes", "--over-waste", "--seconds", 20)
    # What the simulated amplifier is made of (invented there), found again from its readings.
    assert found["offset_mV"] == pytest.approx(0.3, abs=0.05)
    assert found["noise_mV"] == pytest.approx(0.06, abs=0.03)
    assert abs(found["gain_error"]) < 1e-4
    assert found["input"]["10"]["MOhm"] > 1e5  # over 10 MΩ hardly anything is lost
    assert found["input"]["100"]["MOhm"] == pytest.approx(check_box._INPUT_MOHM, rel=0.3)
    assert found["hum_mV"] == pytest.approx(check_box._HUM_MV, rel=0.2)
    assert found["hum_with_motor"]
    assert found["good_for_glass"]
    # The motor ran through the whole of the last step: 20 s at 10 mL/min of a stroke of 25 mL, in steps of 0.625 µL.
    assert truth_of(tmp_path)["steps"] == pytest.approx(20.0 / 6.0 / 0.000625, rel=0.01)


def test_a_motor_that_cannot_run_yet_is_told_in_the_first_step(small):
    folder, rig = small
    words = ("--voltage", 500, "--yes", "--over-waste", "--seconds", 30)
    assert told(folder, "home", rig)["position"] > 0
    assert told(folder, "move", rig, 3.5, "--over-waste")["reason"] == "arrived"
    done = titrator("rig", "amplifier", rig, *words, cwd=folder)
    assert (done.returncode, "titrator rig home" in done.stderr) == (1, True)


def test_a_check_that_is_broken_off_says_so(small):
    folder, rig = small
    done = titrator("rig", "amplifier", rig, "--voltage", 500, cwd=folder)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
