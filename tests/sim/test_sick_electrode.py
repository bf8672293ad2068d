"""What is wrong with an electrode or with the amplifier's input, each against its law."""

import math
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.amplifier_input import AmplifierInput
from sim.electrode import Electrode
from sim.lag import lagged
from sim.oxide import OxideLaw
from sim.response import ResponseLaw

LAW = ResponseLaw(2.5, 9.5, 100.0, 1.0)


def electrode(**wrong):
    made = Electrode(LAW, **wrong)
    made.dip(400.0, 1.0)
    return made


def test_a_sound_electrode_is_a_lag_of_first_order():
    made, expected = electrode(), 400.0
    for end_mV in (420.0, 500.0, 500.0):
        made.follow(3.0, made.potential_mV, end_mV)
        expected = lagged(expected, expected, end_mV, 3.0 / LAW.tau_s(1.0))
    assert made.potential_mV == made.read_mV(0.0) == expected


def test_offset_and_drift_add():
    made = electrode(offset_mV=-12.0, drift_mV_per_s=0.01)
    assert made.read_mV(100.0) == pytest.approx(400.0 - 12.0 + 1.0)


def test_a_coated_electrode_gets_there_late():
    sound, made = electrode(), electrode(coated=0.3)
    for each in (sound, made):
        each.follow(20.0, 500.0, 500.0)
    assert sound.potential_mV > 499.0
    assert 400.0 < made.potential_mV < 480.0  # three tenths of the step are hardly under way
    made.follow(2000.0, 500.0, 500.0)
    assert made.potential_mV == pytest.approx(500.0, abs=0.1)


def test_a_coating_that_comes_changes_nothing_at_rest():
    made = electrode()
    made.coated = 0.5
    assert made.potential_mV == 400.0


def test_a_coating_that_grows_or_goes_in_the_midst_of_a_step_makes_no_step_itself():
    made = electrode(coated=0.5)
    made.follow(10.0, 500.0, 500.0)
    stood_mV = made.potential_mV
    assert 401.0 < stood_mV < 499.0
    for share in (0.8, 0.0):
        made.coated = share
        assert made.potential_mV == pytest.approx(stood_mV)


def test_a_crack_pulls_towards_zero():
    assert electrode(cracked=0.25).potential_mV == pytest.approx(300.0)


# Ohm's law: a membrane of 200 MΩ at an input of 1 GΩ keeps 1000/1200 of its potential.
@pytest.mark.parametrize(
    ("source", "inside", "gain"), [(200.0, 1000.0, 1000 / 1200), (0.0, 10.0, 1.0), (5, math.inf, 1)]
)
def test_the_input_divides(source, inside, gain):
    made = electrode(amplifier=AmplifierInput(source, inside))
    assert made.read_mV(0.0) == pytest.approx(400.0 * gain)


def test_hum_has_its_amplitude_and_is_seen_as_a_slow_beat_by_readings_at_a_divisor_of_the_mains():
    amplifier = AmplifierInput.drawn(Random("7/mains"), source_MOhm=0.0, input_MOhm=math.inf, hum_mV=3.0)
    assert abs(amplifier.hum_Hz - 50.0) <= 0.05
    seen = np.array([amplifier.humming_mV(0.1 * k) for k in range(6000)])
    assert np.max(seen) == pytest.approx(3.0, rel=0.01)
    assert np.sqrt(np.mean(seen**2)) == pytest.approx(3.0 / math.sqrt(2), rel=0.05)
    # The alias of f at 10 readings a second lies at |f − 50 Hz|.
    spectrum = np.abs(np.fft.rfft(seen))
    found_Hz = np.fft.rfftfreq(len(seen), 0.1)[np.argmax(spectrum)]
    assert found_Hz == pytest.approx(abs(amplifier.hum_Hz - 50.0), abs=1 / 600)


@pytest.mark.parametrize(
    ("source", "inside", "times"),
    # Pick-up rises with the resistance to earth, source and input in parallel: the law says double at 100 MΩ.
    [(0.0, math.inf, 1.0), (100.0, math.inf, 2.0), (200.0, 200.0, 2.0), (500.0, 0.001, 1.00001)],
)
def test_hum_rises_with_the_resistance_that_picks_it_up(source, inside, times):
    quiet = electrode(amplifier=AmplifierInput(source, inside, 0.0))
    humming = electrode(amplifier=AmplifierInput(source, inside, 3.0))
    seen = max(humming.read_mV(0.001 * k) - quiet.read_mV(0.001 * k) for k in range(21))
    assert seen == pytest.approx(3.0 * times, rel=1e-6)


def test_an_open_input_climbs_beyond_any_range_and_hums():
    amplifier = AmplifierInput.drawn(Random("7/mains"), source_MOhm=0.0, input_MOhm=math.inf, hum_mV=0.0)
    made = electrode(amplifier=amplifier)
    made.disconnect(10.0)
    assert made.disconnected
    readings = [made.read_mV(10.0 + 0.1 * k) for k in range(1000)]
    assert readings[-1] > 2000.0
    assert np.std(np.diff(readings)) > 0.2


class TestOxide:
    law = OxideLaw(above_mV=700.0, full_mV=40.0, grows_s=600.0, reduced_s=900.0, slower=3.0)

    def test_it_grows_above_and_goes_below(self):
        assert self.law.after(0.0, 1100.0, 600.0) == pytest.approx(40.0 * (1 - math.exp(-1)))
        assert self.law.after(20.0, 400.0, 900.0) == pytest.approx(20.0 / math.e)

    def test_the_next_sample_starts_high_and_slow(self):
        used = electrode(oxide=self.law)
        used.dip(1100.0, 1.0)
        used.follow(1800.0, 1100.0, 1100.0)
        assert used.potential_mV == pytest.approx(1100.0, abs=0.1)
        fresh = electrode(oxide=self.law, oxide_mV=used.oxide_mV)  # lifted out and put into the next sample
        assert 435.0 < fresh.potential_mV < 440.0
        sound = electrode()
        for each in (fresh, sound):
            each.follow(5.0, 450.0, 450.0)
        reached = (fresh.potential_mV - 438.0) / 50.0, (sound.potential_mV - 400.0) / 50.0
        assert reached[0] < 0.6 * reached[1]

    @given(st.floats(0, 199), st.floats(-1000, 2000), st.floats(0.001, 500))
    def test_what_it_reads_rises_with_the_potential(self, oxide_mV, potential_mV, more_mV):
        low, high = (self.law.raised_mV(oxide_mV, each) for each in (potential_mV, potential_mV + more_mV))
        assert low <= high


@given(
    st.lists(st.tuples(st.floats(0, 1000), st.floats(-2000, 2000)), max_size=20),
    st.floats(0, 1),
    st.floats(0, 1),
    st.floats(0, 150),
)
def test_whatever_is_wrong_it_stays_between_what_it_has_seen(steps, coated, cracked, oxide_mV):
    made = Electrode(LAW, coated=coated, cracked=cracked, oxide=OxideLaw(), oxide_mV=oxide_mV)
    made.dip(400.0, 0.5)
    last = 400.0
    for passed_s, end_mV in steps:
        made.follow(passed_s, last, end_mV)
        last = end_mV
        assert -2000.0 <= made.potential_mV <= 2000.0 + 150.0
