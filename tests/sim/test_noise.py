"""Noise has the standard deviation and the memory that it states. Seeds are fixed; limits are 4 standard errors."""

import math
from random import Random

import numpy as np
import pytest

from sim.cell_sections import CorrelatedNoise, WhiteNoise
from sim.noise import correlated, noise_sources, white

READINGS = 20_000


def series(source, step_s=0.1):
    return np.array([source(step_s * number) for number in range(READINGS)])


def correlation(values, lag):
    return float(np.corrcoef(values[:-lag], values[lag:])[0, 1])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_white_noise(seed):
    values = series(white(0.25, Random(seed)))
    assert abs(values.mean()) <= 4 * 0.25 / math.sqrt(READINGS)
    assert abs(values.std() / 0.25 - 1) <= 4 / math.sqrt(2 * READINGS)
    for lag in (1, 2, 10):
        assert abs(correlation(values, lag)) <= 4 / math.sqrt(READINGS)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("memory_s", [0.2, 2.0])
def test_correlated_noise(seed, memory_s):
    """Neighbours correlate by ρ = exp(−h/memory); variances then have (1 + ρ²)/(1 − ρ²) fewer independent readings."""
    rho = math.exp(-0.1 / memory_s)
    values = series(correlated(0.5, memory_s, Random(seed)))
    independent = READINGS * (1 - rho**2) / (1 + rho**2)
    assert abs(values.std() / 0.5 - 1) <= 4 / math.sqrt(2 * independent)
    # Bartlett: the first correlation of AR(1) errs by sqrt((1 − ρ²)/n).
    assert abs(correlation(values, 1) - rho) <= 4 * math.sqrt((1 - rho**2) / READINGS)


def test_the_memory_is_one_of_time_not_of_readings():
    slow = series(correlated(0.5, 1.0, Random(5)), step_s=0.5)
    assert abs(correlation(slow, 1) - math.exp(-0.5)) <= 4 * math.sqrt((1 - math.exp(-1.0)) / READINGS)


def test_each_kind_has_a_stream_of_its_own():
    """One more kind of noise leaves the others as they were."""
    plain = WhiteNoise.model_validate({"kind": "white", "sd": "0.25 mV"})
    hum = CorrelatedNoise.model_validate({"kind": "correlated", "sd": "0.5 mV", "memory": "2 s"})
    (alone,) = noise_sources((plain,), seed=7)
    first, second = noise_sources((plain, hum), seed=7)
    assert [alone(t) for t in range(50)] == [first(t) for t in range(50)]
    (other,) = noise_sources((plain,), seed=8)
    assert [other(t) for t in range(50)] != [second(t) for t in range(50)]


def test_another_seed_is_other_noise():
    plain = WhiteNoise.model_validate({"kind": "white", "sd": "0.25 mV"})
    (one,), (other,) = noise_sources((plain,), seed=1), noise_sources((plain,), seed=2)
    assert all(one(t) != other(t) for t in range(20))
