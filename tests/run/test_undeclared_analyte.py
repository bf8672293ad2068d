"""A sample that holds more than the method says: the model is set aside where it passes over the jump."""

from pathlib import Path

import numpy as np

from titrator.bench.rig import load_rig
from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.method import load_method
from titrator.run.course import rig_fields
from titrator.run.expectations import expectation_of

CONFIGS = Path(__file__).parents[2] / "configs"
TRUE_mL = 6.5743
# Tin(II) with iron(II) behind it, titrated as if tin were all of it: a simulated run, its first 25 readings.
VOLUME_mL = (
    0.0, 2.26812, 2.76812, 3.26812, 3.76812, 4.26812, 4.76812, 5.26812, 5.76812, 6.14812, 6.32812, 6.48812, 6.54437,
    6.54812, 6.56812, 6.57188, 6.57563, 6.57937, 6.58312, 6.65937, 6.73937, 6.77937, 6.85938, 7.01938, 7.24938,
)  # fmt: skip
POTENTIAL_mV = (
    -92.5, -63.6, -60.5, -57.6, -54.6, -51.5, -48.1, -44.0, -38.8, -32.2, -27.0, -18.2, -8.4,
    -5.6, 4.8, 7.6, 174.8, 283.0, 309.5, 359.3, 391.1, 396.7, 404.7, 416.7, 428.1,
)  # fmt: skip


def evaluated():
    method = load_method(CONFIGS / "methods" / "tin_plating_bath.yaml")
    rig = load_rig(CONFIGS / "rigs" / "simulated.yaml")
    sd = np.full(len(VOLUME_mL), 0.5)
    return find_equivalence_points(
        Curve(np.array(VOLUME_mL), np.array(POTENTIAL_mV), "mV", sd), expectation_of(method, rig_fields(rig)["burette"])
    )


def test_the_point_is_that_of_the_readings_and_not_of_the_wrong_model():
    (point,) = evaluated().equivalence_points
    low, high = point.interval_95_mL
    assert low <= TRUE_mL <= high
    assert high - low < 0.02
    assert point.found_by != "model-fit"


def test_it_is_said_that_the_model_passes_over_the_jump():
    assert any("does not describe the curve" in text and "derivatives" in text for text in evaluated().warnings)
