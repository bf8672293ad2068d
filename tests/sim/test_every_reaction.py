"""Every reaction of the table can be simulated, in each of its media and with each of its indicators, blank or not."""

import json
import math

import pytest

from sim.cell_file import load_cell
from sim.draw import StatedValues, draw_vessel
from titrator.chemistry.reactions import REACTIONS

CASES = [(reaction, medium) for reaction in REACTIONS for medium in reaction.media]


def cell_text(reaction, medium):
    """A small cell of any reaction, as JSON (which is YAML): 0.02 mol/L of each analyte, tabulated potentials."""
    further = len(reaction.steps) - 1
    sample = {"concentration": {"from": "20 mmol/L", "to": "20 mmol/L"}}
    potentials = {"slope": {"from": 1, "to": 1}}
    cell = {
        "format": 1,
        "name": "any reaction",
        "reaction": {"analyte": reaction.analytes[0], "then": list(reaction.analytes[1:]), "titrant": reaction.titrant},
        "sample": sample,
        "potentials": potentials,
        "mixing": "1 s",
        "electrode": ELECTRODE,
    }
    cell["reaction"]["buffer" if medium.kind == "buffer" else "acid"] = medium.name
    sample["then"] = [sample["concentration"]] * further
    if reaction.family != "redox":
        potentials["offset"] = {"centre": "0 mV", "within": "0 mV"}
        return json.dumps(cell)
    rows = [{"centre": f"{value_V} V", "within": "0 mV"} for value_V in reaction.potentials_V(medium.name)]
    potentials |= {"analyte": rows[0], "then": rows[1:-1], "titrant": rows[-1]}
    cell["exchange"] = {"analyte": 1, "then": [1] * further, "titrant": 0.1, "background": "5 µmol/L"}
    if reaction.rising:
        sample["oxidised"] = {"from": 0.001, "to": 0.001}
    else:
        sample["iodide"] = {"from": "0.1 mol/L", "to": "0.1 mol/L"}
    if reaction.titrant == "iodine":
        cell["titrant"] = {"iodide": "0.2 mol/L"}
    return json.dumps(cell)


ELECTRODE = {"response": "2 s", "slowing": "8 s", "slowing_half_at": 100}


def stated(reaction, medium, **changed):
    values = {
        "titrant": reaction.titrant,
        "analytes": reaction.analytes,
        "titrant_mol_per_L": 0.02,
        "u_titrant_mol_per_L": 0.0,
        "aliquot_mL": 10.0,
        "u_aliquot_mL": 0.0,
        "dilution": 1.0,
        "u_dilution": 0.0,
        "analyte_per_titrant": tuple(step.analyte_per_titrant for step in reaction.steps),
        "fill_mL": 50.0,
        "temperature_C": 25.0,
        "reference_potential_V": 0.2,
        "medium": medium.name,
        "medium_mol_per_L": max(medium.least_mol_per_L, 0.1),
        "medium_mL": 40.0,
        "pH": None if medium.pH is None else sum(medium.pH) / 2,
    }
    return StatedValues(**values | changed)


@pytest.mark.parametrize("blank", [False, True])
@pytest.mark.parametrize(("reaction", "medium"), CASES, ids=lambda each: getattr(each, "titrant", None) or each.name)
def test_it_runs_from_0_to_twice_the_last_point(tmp_path, reaction, medium, blank):
    path = tmp_path / "cell.yaml"
    path.write_text(cell_text(reaction, medium), "utf-8")
    cell = load_cell(path)
    for indicator in reaction.indicators:
        vessel, truth = draw_vessel(cell, stated(reaction, medium, indicator=indicator, blank=blank), 1)
        count = 0 if blank else len(reaction.steps)
        assert len(truth.equivalence_points_delivered_mL) == count
        assert vessel.chemistry.scale_mol > 0.0
        last_mL = truth.equivalence_points_delivered_mL[-1] if count else 10.0
        sign = 1.0 if reaction.rising else -1.0
        potentials = []
        for _ in range(201):
            potential_mV, poise = vessel.chemistry.rest(vessel.contents)
            assert math.isfinite(potential_mV)
            assert poise >= 0.0
            potentials.append(sign * potential_mV)
            vessel.chemistry.add_titrant(vessel.contents, 0.01 * last_mL)
        # From before the first point to behind the last one the indicator goes the way that the table says. (In a blank
        # the titrant stands alone, and dilution may move it either way.)
        assert blank or potentials[150] - potentials[1] > 20.0


@pytest.mark.parametrize(("reaction", "medium"), CASES, ids=lambda each: getattr(each, "titrant", None) or each.name)
def test_points_are_apart_by_what_each_step_uses_up(tmp_path, reaction, medium):
    """0.2 mmol of each substance at 0.02 mol/L: 10 mL over the ratio, and what the step before made of it."""
    path = tmp_path / "cell.yaml"
    path.write_text(cell_text(reaction, medium), "utf-8")
    _, truth = draw_vessel(load_cell(path), stated(reaction, medium), 1)
    points = (0.0, *truth.equivalence_points_delivered_mL)
    chained = reaction.analytes in {("phosphoric acid", "dihydrogen phosphate"), ("carbonate", "hydrogen carbonate")}
    for number, step in enumerate(reaction.steps):
        there = 2.0 if chained and number else 1.0
        assert points[number + 1] - points[number] == pytest.approx(10.0 * there / step.analyte_per_titrant, rel=1e-9)
