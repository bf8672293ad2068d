"""The settling detector in 32 bits on settlements that titrations seldom see: simulated, the Python as reference.

Slow and fast electrodes, correlated noise, a coarse converter, an outlier, a wait that ends unsettled.
"""

import random

import pytest
from studies import study_module

from titrator.control.settling import Enough, SettlingSettings

benchmark = study_module("settling")
KINDS = {kind.name: kind for kind in benchmark.KINDS}


@pytest.fixture(scope="module")
def recorded(study):
    return study_module("recorded_for_c")


def detected(recorded, settings, readings, enough):
    detector = recorded.RecordedDetector(settings)
    detector.begin(0.0, enough)
    for t_s, potential_mV in readings:
        if detector.add(t_s, potential_mV) is not None:
            break
    return recorded.settling_words(settings), detector.settlements


@pytest.mark.parametrize("name", ["white", "quantised", "AR(1)", "quantised coarsely"])
@pytest.mark.parametrize("enough", [None, Enough(0.5, 2.0)])
def test_32_bits_log_the_same(study, program, recorded, name, enough):
    """Forty settlements each, of which one may be logged at another reading: where a look falls on the other side of
    its limit by the last bits, it is the next look's matter."""
    found = []
    for k in range(40):
        drawn = benchmark.settle(KINDS[name], random.Random(f"settlement in C {name} {k}"))
        # An outlier on the way: the reading that is held belongs to the state.
        readings = [(t, y + (40.0 if n == 12 else 0.0)) for n, (t, y) in enumerate(drawn.readings)]
        found += study.logged(program, *detected(recorded, drawn.settings, readings, enough))
    assert len(found) == 40
    assert sum(not each.same_reading for each in found) <= 1
    assert max(each.times for each in found if each.same_reading) < 0.02


def test_a_wait_that_ends_unsettled(study, program, recorded):
    """A potential that drifts on: logged at the longest wait by both, unsettled."""
    rng = random.Random("drifting on")
    settings = SettlingSettings(noise_mV=0.2, resolution_mV=0.1, response_s=5.0, mixing_s=1.5, longest_s=30.0)
    readings = [(0.1 * k, 300.0 + 0.5 * k + rng.gauss(0.0, 0.2)) for k in range(1, 320)]
    words, settlements = detected(recorded, settings, readings, None)
    (logged,) = [each.logged for each in settlements]
    assert not logged.settled
    (found,) = study.logged(program, words, settlements)
    assert found.same_reading
    assert found.times < 0.02
