"""The simulated rig opened as a run opens it, cell and all."""

import subprocess
import sys
from pathlib import Path

from titrator.bench.bench import Bench
from titrator.bench.events import MotionEnded
from titrator.bench.simulated import open_simulated

CELL = Path(__file__).parents[2] / "configs" / "cells" / "iron_in_pickling_bath.yaml"
STATED = {
    "titrant_mol_per_L": 0.1,
    "u_titrant_mol_per_L": 0.0002,
    "aliquot_mL": 10.0,
    "u_aliquot_mL": 0.01,
    "dilution": 10.0,
    "u_dilution": 0.005,
    "analyte_per_titrant": 1.0,
    "fill_mL": 50.0,
    "temperature_C": 20.0,
    "reference_potential_V": 0.21,
}


def test_an_iron_solution_is_titrated_past_its_jump(rig):
    world = open_simulated(rig, CELL, STATED, seed=1)
    bench = Bench(world, rig)
    bench.begin_run(1, 24.0)
    bench.start_readings()
    before_mV = after_mV = None
    end_mL = world.truth()["equivalence_points_mL"][0]
    for dose, target_mL in enumerate((0.5 * end_mL, 1.2 * end_mL), start=1):
        bench.move_to(dose, target_mL)
        until_s, ended = world.now_s() + 120.0, False
        while world.now_s() < until_s:
            for event in bench.wait(1.0):
                if isinstance(event, MotionEnded):
                    ended = event.reason == "arrived"
                else:
                    before_mV, after_mV = (
                        (event.potential_mV[-1], after_mV) if dose == 1 else (before_mV, event.potential_mV[-1])
                    )
        assert ended
    # Half way the potential is the formal one of iron, 680 ± 30 mV, less the reference's 210 mV (constants of the
    # demonstration); 20 % beyond, that of cerium, 1440 ± 30 mV, less about 25 mV x ln 5.
    assert abs(before_mV - 470.0) < 35.0
    assert abs(after_mV - (1230.0 - 41.0)) < 40.0
    assert abs(world.truth()["delivered_mL"] - 1.2 * end_mL) < 0.05


def test_the_simulator_is_loaded_only_when_a_simulated_rig_is_opened():
    code = (
        "import sys, titrator.bench.bench, titrator.bench.rig, titrator.bench.simulated;"
        "print('sim' in sys.modules, 'numpy' in sys.modules)"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["False", "False"]
