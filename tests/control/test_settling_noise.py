"""Noise measured from readings: white, correlated, constant. Theory of AR(1) noise (any textbook of time series): the
variance of an average of many readings is that of one times (1 + ρ) / (1 − ρ) over their number."""

import math
import random
import statistics

import pytest

from titrator.control.settling import SettlingDetector, SettlingSettings

SD = 0.25


def noise_after(correlation_s, seed, seconds=40.0, stated=SD, response_s=4.0):
    """Noise as judged after `seconds` of a flat potential."""
    rng = random.Random(seed)
    keep = math.exp(-0.1 / correlation_s) if correlation_s else 0.0
    detector = SettlingDetector(
        SettlingSettings(noise_mV=stated, response_s=response_s, least_s=seconds + 5.0, longest_s=seconds + 9.0)
    )
    detector.begin(0.0)
    noise = rng.gauss(0.0, SD)
    for k in range(int(10 * seconds)):
        detector.add(0.1 * (k + 1), noise)
        noise = keep * noise + math.sqrt(1.0 - keep * keep) * rng.gauss(0.0, SD)
    judge, window = detector._judge, detector._window
    return judge._fit(window, detector._last_t, 3)[1]


@pytest.mark.parametrize("stated", [0.5 * SD, SD, 2.0 * SD])
def test_white_noise_is_measured_whatever_was_stated(stated):
    found = [noise_after(0.0, f"white {k}", stated=stated) for k in range(30)]
    assert statistics.median(n.reading_sd_mV for n in found) == pytest.approx(SD, rel=0.1)
    assert statistics.median(math.sqrt(n.slow_variance_mV2) for n in found) == pytest.approx(SD, rel=0.15)


@pytest.mark.parametrize("correlation_s", [0.2, 0.5, 1.0, 2.0])
def test_correlated_noise_is_seen_and_its_slow_part_not_underestimated(correlation_s):
    keep = math.exp(-0.1 / correlation_s)
    slow_sd = SD * math.sqrt((1.0 + keep) / (1.0 - keep))
    found = [noise_after(correlation_s, f"correlated {k}") for k in range(30)]
    assert sum(n.correlated for n in found) >= 29
    # Taken for white, it would be sd 0.25 or less: 2 to 6 times too little.
    assert 0.7 * slow_sd < statistics.median(math.sqrt(n.slow_variance_mV2) for n in found) < 1.5 * slow_sd
    assert 0.7 * SD < statistics.median(n.reading_sd_mV for n in found) < 1.5 * SD
