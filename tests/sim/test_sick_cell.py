"""The cell as a whole when its parts misbehave: it stays finite, matter is kept, and what is sound costs nothing."""

import math
from dataclasses import replace

import pytest
from cells_stated import CELLS, cell_named, stated_for
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.cell_file import load_cell
from sim.draw import draw_cell, draw_vessel
from sim.lag import lagged
from sim.oxide import OxideLaw
from titrator.files.problems import FileProblem

FAMILIES = ("iron_in_pickling_bath", "tin_and_iron", "acetic_acid", "chloride_in_rinse_water", "calcium_hardness")


def drawn(name, **changed):
    cell, _ = draw_cell(cell_named(name), stated_for(name, **changed), 1)
    cell.noise = ()
    return cell


@pytest.mark.parametrize("name", FAMILIES)
def test_with_nothing_wrong_the_cell_is_a_mixing_lag_and_an_electrodes_lag(name):
    """Both lags by hand around the same chemistry; the cell may call 0.0001 mV of mixing over, hence the limit."""
    cell, section = drawn(name), cell_named(name).electrode
    vessel, _ = draw_vessel(cell_named(name), stated_for(name), 1)
    rest_mV, _ = vessel.chemistry.rest(vessel.contents)
    electrode_mV, delivered_mL, mixed_mL, drift = rest_mV, 0.0, 0.0, cell_named(name).drift_mV_per_s
    for k in range(1, 1500):
        next_mL = 0.2 * (k // 20)
        now_mL = lagged(mixed_mL, delivered_mL, next_mL, 0.1 / 1.5)
        vessel.chemistry.add_titrant(vessel.contents, now_mL - mixed_mL)
        delivered_mL, mixed_mL, before_mV = next_mL, now_mL, rest_mV
        rest_mV, poise = vessel.chemistry.rest(vessel.contents)
        weight = 1.0 / (1.0 + section.slowing_half_at * poise)
        tau_s = section.response_s + section.slowing_s * weight
        electrode_mV = lagged(electrode_mV, before_mV, rest_mV, 0.1 / tau_s)
        assert cell.sample(0.1 * k, next_mL) == pytest.approx(electrode_mV + drift * 0.1 * k, abs=2e-4)


WRONG = {
    "stop": lambda cell, _: cell.stirring.stop(),
    "start": lambda cell, _: cell.stirring.start(),
    "pocket": lambda cell, share: setattr(cell.stirring, "dead_share", share),
    "coated": lambda cell, share: setattr(cell.electrode, "coated", share),
    "cracked": lambda cell, share: setattr(cell.electrode, "cracked", share),
    "offset": lambda cell, share: setattr(cell.electrode, "offset_mV", 200.0 * share - 100.0),
    "oxide": lambda cell, share: (
        setattr(cell.electrode, "oxide", OxideLaw()),
        setattr(cell.electrode, "oxide_mV", 190.0 * share),
    ),
    "leak": lambda cell, share: setattr(cell.electrode.amplifier, "input_MOhm", 1000.0 * share),
    "hum": lambda cell, share: setattr(cell.electrode.amplifier, "hum_mV", 10.0 * share),
    "unplugged": lambda cell, _: cell.electrode.disconnect(cell.t_s),
    "evaporation": lambda cell, share: setattr(cell.surroundings, "evaporation_mL_per_h", 600.0 * share),
    "warming": lambda cell, share: setattr(cell.surroundings, "warming_C_per_min", 4.0 * share - 2.0),
    "air": lambda cell, share: setattr(cell.surroundings, "air", share),
}

happenings = st.lists(
    st.tuples(
        st.sampled_from(sorted(WRONG)),
        st.floats(0.0, 1.0),
        st.sampled_from((0.0, 0.1, 1.0, 30.0, 600.0)),
        st.sampled_from((0.0, 0.000625, 0.1, 1.0, 10.0)),
    ),
    max_size=12,
)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(FAMILIES), happenings)
def test_whatever_goes_wrong_readings_are_finite_and_volumes_are_kept(name, happenings):
    cell = drawn(name)
    t_s = delivered_mL = 0.0
    for what, share, passed_s, more_mL in happenings:
        WRONG[what](cell, share)
        for _ in range(4):
            t_s, delivered_mL = t_s + passed_s / 4, delivered_mL + more_mL / 4
            assert math.isfinite(cell.sample(t_s, delivered_mL))
        stirring = cell.stirring
        kept_mL = 50.0 + stirring.mixed_mL - cell.surroundings.evaporated_mL
        assert cell.contents.volume_mL == pytest.approx(kept_mL, rel=1e-9)
        assert 0.0 <= stirring.mixed_mL <= delivered_mL * (1 + 1e-12)
        assert stirring.waiting_mL == pytest.approx(delivered_mL - stirring.mixed_mL, abs=1e-9)


def test_evaporation_takes_water_and_leaves_what_is_dissolved():
    cell = drawn("iron_in_pickling_bath")
    before = list(cell.contents.amounts_mol)
    cell.surroundings.evaporation_mL_per_h = 6.0
    for k in range(1, 101):
        cell.sample(6.0 * k, 0.0)
    assert cell.contents.volume_mL == pytest.approx(49.0)
    assert cell.contents.amounts_mol == before


def test_a_warm_solution_has_nernsts_slope_of_its_temperature():
    """Half-way between 25 and 75 % of iron's jump lies ln 9 of slopes; 25 °C against 20 °C: 298.15/293.15."""

    def span_mV(degrees):
        cell = drawn("iron_in_pickling_bath")
        cell.surroundings.warming_C_per_min = degrees
        cell.sample(60.0, 0.0)
        cell.surroundings.warming_C_per_min = 0.0
        shown = [cell.sample(60.0 + 1e4 * k, 4.0 * k) for k in (1, 3)]
        drift_mV = cell.electrode.drift_mV_per_s * 2e4
        return shown[1] - shown[0] - drift_mV

    assert span_mV(5.0) / span_mV(0.0) == pytest.approx(298.15 / 293.15, rel=1e-6)


def test_readings_behind_a_stopped_stirrer_wait_for_it():
    cell, sound = drawn("iron_in_pickling_bath"), drawn("iron_in_pickling_bath")
    cell.stirring.stop()
    for k in range(1, 61):
        for each in (cell, sound):
            each.sample(float(k), 5.0)
    assert sound.electrode.potential_mV - cell.electrode.potential_mV > 40.0
    cell.stirring.start()
    for k in range(61, 261):
        for each in (cell, sound):
            each.sample(float(k), 5.0)
    assert cell.electrode.potential_mV == pytest.approx(sound.electrode.potential_mV, abs=0.001)


@pytest.mark.parametrize("times", [1.0, 10.0])
def test_a_dilute_solution_makes_a_slow_electrode_where_the_cell_says_so(times):
    """In a solution so many times more dilute than `poised_at`, the steepness G counts so many times."""
    cell = drawn("iron_in_pickling_bath")
    plain = cell.electrode.law
    cell.sample(1e4, 0.5 * cell.chemistry.scale_mL)
    _, poise = cell.chemistry.rest(cell.contents)
    assert cell.electrode.tau_s == pytest.approx(plain.tau_s(poise))
    there_mol_per_L = 1000.0 * cell.chemistry.scale_mol / cell.contents.volume_mL
    cell.electrode.law = replace(plain, poised_at_mol_per_L=times * there_mol_per_L)
    cell.disturbed()
    assert cell.electrode.tau_s == pytest.approx(plain.tau_s(poise / times))
    steepness = times / poise
    assert cell.electrode.tau_s == pytest.approx(2.5 + 9.5 * steepness / (steepness + 100))


def test_oxide_from_the_run_before_makes_the_next_start_high_and_slow():
    """A run left in excess of cerium(IV) for an hour; its electrode goes into the next sample."""
    used = drawn("iron_in_pickling_bath")
    used.electrode.oxide = OxideLaw()
    for k in range(1, 361):
        used.sample(10.0 * k, min(0.5 * k, 20.0))
    assert used.electrode.oxide_mV > 35.0
    following, clean = drawn("iron_in_pickling_bath"), drawn("iron_in_pickling_bath")
    following.electrode.oxide, following.electrode.oxide_mV = OxideLaw(), used.electrode.oxide_mV
    for each in (following, clean):
        each.electrode.dip(each.rest_mV, 1.0)
    starts = following.sample(0.1, 0.0), clean.sample(0.1, 0.0)
    assert starts[0] - starts[1] == pytest.approx(used.electrode.oxide_mV, abs=0.1)
    for each in (following, clean):
        for k in range(1, 51):
            each.sample(0.1 + 0.1 * k, 1.0)
    ends = following.electrode.potential_mV, clean.electrode.potential_mV
    assert ends[0] - starts[0] < 0.6 * (ends[1] - starts[1])


def section_edited(tmp_path, name, was, now):
    """The cell of that name with an edit in its file."""
    text = (CELLS / f"{name}.yaml").read_text("utf-8")
    assert text.count(was) == 1
    path = tmp_path / "cell.yaml"
    path.write_text(text.replace(was, now), "utf-8")
    return load_cell(path)


SATURATED = "electrode:\n  reference: {electrode: silver/silver chloride, filling: %s}\n"


def test_another_filling_of_the_reference_shifts_every_reading(tmp_path):
    """At 20 °C the table has 210 mV for 3 mol/L KCl as stated and 204 mV for saturated KCl: readings 6 mV higher."""
    name = "iron_in_pickling_bath"
    file = section_edited(tmp_path, name, "electrode:\n", SATURATED % "saturated KCl")
    shifted, _ = draw_cell(file, stated_for(name), 1)
    sound, _ = draw_cell(cell_named(name), stated_for(name), 1)
    assert shifted.sample(1.0, 0.0) - sound.sample(1.0, 0.0) == pytest.approx(6.0)


def test_a_filling_without_a_potential_at_the_stated_temperature_is_told(tmp_path):
    name = "iron_in_pickling_bath"
    file = section_edited(tmp_path, name, "electrode:\n", SATURATED % "0.1 mol/L KCl")
    with pytest.raises(FileProblem, match=r"electrode\.reference: .*a temperature from 24 to 26 °C was expected"):
        draw_cell(file, stated_for(name), 1)


def test_all_sections_of_a_cell_file_reach_the_cell(tmp_path):
    electrode = (
        "electrode:\n  poised_at: 30 mmol/L\n  offset: 3 mV\n  coated: 0.2\n  cracked: 0.1\n  resistance: 5 MΩ\n"
        "  oxide: {at_start: 7 mV, above: 650 mV, full: 50 mV, grows: 5 min, reduced: 1 h, slower: 2}\n"
    )
    others = (
        "tip: {outside_stream: 0.3, lingers: 20 s}\namplifier: {input: 2 GΩ, hum: 4 mV}\n"
        "surroundings: {evaporation: 0.1 mL/min, room: 25 °C, exchange: 20 min, warming: 6 °C/h, air: 0.5}\n"
    )
    file = section_edited(tmp_path, "iron_in_pickling_bath", "electrode:\n", others + electrode)
    cell, _ = draw_cell(file, stated_for("iron_in_pickling_bath"), 1)
    sick, room = cell.electrode, cell.surroundings
    assert sick.law.poised_at_mol_per_L == 0.03
    assert (sick.offset_mV, sick.coated, sick.cracked, sick.oxide_mV) == (3.0, 0.2, 0.1, 7.0)
    assert sick.oxide == OxideLaw(650.0, 50.0, 300.0, 3600.0, 2.0)
    assert (sick.amplifier.source_MOhm, sick.amplifier.input_MOhm, sick.amplifier.hum_mV) == (5.0, 2000.0, 4.0)
    assert (cell.stirring.dead_share, cell.stirring.dead_s) == (0.3, 20.0)
    assert (room.evaporation_mL_per_h, room.room_C, room.exchange_s, room.air) == (
        pytest.approx(6.0),
        25.0,
        1200.0,
        0.5,
    )
    assert room.warming_C_per_min == pytest.approx(0.1)


def test_oxide_is_for_metal_electrodes_only(tmp_path):
    oxide = "  oxide: {at_start: 7 mV, above: 650 mV, full: 50 mV, grows: 5 min, reduced: 1 h, slower: 2}\n"
    with pytest.raises(FileProblem, match=r"expected no key electrode\.oxide for acetic acid with hydroxide"):
        section_edited(tmp_path, "acetic_acid", "electrode:\n", "electrode:\n" + oxide)


def test_glass_has_a_resistance_that_a_leaking_input_shows():
    """Ohm's law: 200 MΩ of glass before 1 GΩ."""
    sound, leaking = drawn("acetic_acid"), drawn("acetic_acid")
    leaking.electrode.amplifier.input_MOhm = 1000.0
    assert leaking.sample(1.0, 0.0) == pytest.approx(sound.sample(1.0, 0.0) * 1000 / 1200)
