"""The amplifier's check: the divider of two resistances, worked by hand (Ohm's law), and a sine's scatter, A/√2."""

import math

import pytest

from titrator.bench.amplifier_check import Measured, gain_error, hum_mV, input_resistance, measured

SHORTED = Measured(100, 0.5, 0.05)
DIRECT = Measured(100, 1000.5, 0.05)


@pytest.mark.parametrize(
    ("input_MOhm", "through_mV"),
    [
        (900.0, 900.5),  # a tenth is lost over 100 MΩ
        (9900.0, 990.5),  # a hundredth
        (100.0, 500.5),  # half of it
    ],
)
def test_the_loss_tells_the_input_resistance(input_MOhm, through_mV):
    found = input_resistance(SHORTED, DIRECT, Measured(100, through_mV, 0.05), 100.0)
    assert found.MOhm == pytest.approx(input_MOhm)
    assert not found.at_least


def test_a_loss_that_the_scatter_hides_gives_a_limit():
    found = input_resistance(SHORTED, DIRECT, Measured(100, 1000.499, 0.05), 100.0)
    assert found.at_least
    # Three times √3 × 5 µV of 1 V on top of a millionth: 2.7e-5 may be lost, and 100 MΩ/2.7e-5 = 3.7e6 MΩ.
    assert found.MOhm == pytest.approx(3.7e6, rel=0.02)


def test_gain_and_hum():
    assert gain_error(SHORTED, Measured(100, 1001.5, 0.05), 1000.0) == pytest.approx(1e-3)
    sine = measured([2.0 * math.sin(2.0 * math.pi * 50.0 * 0.009 * number) for number in range(2000)])
    assert hum_mV(Measured(100, 0.0, 0.0), sine) == pytest.approx(2.0, rel=1e-3)
    assert hum_mV(Measured(100, 0.0, 1.0), Measured(100, 0.0, 0.5)) == 0.0


def test_mean_and_scatter():
    assert measured([1.0, 2.0, 3.0, 4.0]) == (4, 2.5, pytest.approx(math.sqrt(5.0 / 3.0)))
    with pytest.raises(ValueError, match="at least two"):
        measured([1.0])
