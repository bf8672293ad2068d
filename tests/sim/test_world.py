"""The world behind the transport: virtual time, and the truth told both ways."""

import math
from pathlib import Path

import pytest

from firmware_protocol.frames import frame
from firmware_protocol.messages import AskStatus, Hello, Packet, Role, SetReadings, encode
from sim.world import Hardware, StatedValues, World, build_board, build_world
from titrator.files import FileProblem

CELL = Path(__file__).parents[2] / "configs" / "cells" / "iron_in_pickling_bath.yaml"
HARDWARE = Hardware(
    step_mL=0.000625,
    stroke_mL=25.0,
    least_step_us=3750,
    random_error_mL=0.001,
    calibration_half_width=0.002,
    adc_step_mV=0.1,
    range_mV=(-2000.0, 2000.0),
)
STATED = StatedValues(
    titrant_mol_per_L=0.1,
    u_titrant_mol_per_L=0.0002,
    aliquot_mL=10.0,
    u_aliquot_mL=0.01,
    dilution=10.0,
    u_dilution=0.005,
    analyte_per_titrant=1.0,
    fill_mL=50.0,
    temperature_C=20.0,
    reference_potential_V=0.21,
)


class Still:
    def sample(self, _t_s, _delivered_mL):
        return 0.0


def still_world():
    return World(build_board(Still(), HARDWARE, 1))


def ask(message, session=0):
    return frame(encode(Role.HOST, Packet(1, session, message)))


def test_time_goes_on_to_the_next_bytes_and_no_further():
    world = still_world()
    assert world.read(2.5) == b""
    assert world.now_s() == 2.5
    world.write(ask(AskStatus()))
    assert world.read(60.0) != b""
    assert world.now_s() == pytest.approx(2.503)  # the board's answering time
    assert world.read(0.0) == b""
    assert world.now_s() == pytest.approx(2.503)


def test_the_least_time_out_still_moves_time_on():
    world = still_world()
    world.read(1e-12)
    assert world.now_s() > 0.0


def test_waiting_in_pieces_or_at_once_is_the_same():
    def run(timeout_s):
        world = still_world()
        heard = []
        for message in (Hello(1), SetReadings(100, 5)):
            world.write(ask(message, session=9))
            while not (data := world.read(timeout_s)):
                pass
            heard.append(data)
        while world.now_s() < 3.0:
            if data := world.read(min(timeout_s, 3.0 - world.now_s())):
                heard.append(data)
        return heard

    assert run(0.001) == run(10.0)


def test_a_closed_world_says_so():
    world = still_world()
    world.close()
    for use in (lambda: world.write(b"\0"), lambda: world.read(1.0)):
        with pytest.raises(OSError, match="was closed by this program"):
            use()


def test_the_truth_is_told_as_delivered_and_as_indicated():
    world = build_world(CELL, STATED, HARDWARE, seed=7)
    truth = world.truth()
    calibration = truth["drawn"]["burette_calibration"]
    assert 0.0 < abs(calibration) <= 0.002
    (delivered_mL,) = truth["equivalence_points_delivered_mL"]
    (indicated_mL,) = truth["equivalence_points_mL"]
    assert math.isclose(indicated_mL * (1 + calibration), delivered_mL)
    # Stoichiometry by hand: c(bath) x aliquot / dilution = c(titrant) x V, one to one.
    drawn = truth["drawn"]
    (result,) = truth["results"]
    assert math.isclose(
        result["value"] * drawn["aliquot_mL"] / drawn["dilution"], drawn["titrant_mol_per_L"] * delivered_mL
    )
    assert (truth["steps"], truth["delivered_mL"]) == (0, 0.0)


def test_every_seed_is_a_world_of_its_own_and_the_same_each_time():
    truths = [build_world(CELL, STATED, HARDWARE, seed).truth() for seed in (1, 1, 2)]
    assert truths[0] == truths[1]
    assert truths[0]["drawn"]["burette_calibration"] != truths[2]["drawn"]["burette_calibration"]
    assert truths[0]["equivalence_points_mL"] != truths[2]["equivalence_points_mL"]


def test_calibrations_fill_their_limits():
    drawn = [build_board(Still(), HARDWARE, seed).burette.calibration for seed in range(400)]
    assert max(map(abs, drawn)) <= 0.002
    # Rectangular: sd = half width/√3 (JCGM 100:2008, 4.3.7); its estimate from 400 draws is within 10 % (over 4 sd).
    sd = math.sqrt(sum(value**2 for value in drawn) / len(drawn))
    assert abs(sd / (0.002 / math.sqrt(3)) - 1) < 0.1


def test_a_cell_file_that_is_missing_is_a_located_problem(tmp_path):
    with pytest.raises(FileProblem, match="none"):
        build_world(tmp_path / "none.yaml", STATED, HARDWARE, 1)
