"""What a method (and the burette that a run was made with) lets the evaluation expect of its curve, by family."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.reactions import Reaction, Step
from titrator.evaluate.expectation import Expectation
from titrator.method import Method
from titrator.run.potentials import (
    ION_REACHED_SD,
    OWN_SLOPE_SD,
    REACHED,
    REACHED_SD,
    CouplePotential,
    couple_potentials,
)
from titrator.run.whole_knowledge import known_of

BESIDE_SLOW_SD = 0.05
"""Of a couple that platinum does follow, beside one that it does not: its branch is not quite its own."""
STRONG_ACIDS = ("hydrochloric acid", "free acid")
"""Analytes that are free H+: their curve with a strong base is symmetric but for dilution."""
THREE_PROTONS = {"citric acid": 3}
"""Analytes whose protons are all neutralised at one point."""

LEFT_OUT = {"free acid": 0.003}
"""Half width of what is found as free acid and is none: iron(III) takes three times its amount of hydroxide before the
jump; a bath over steel holds a thousandth of its acid (common practice)."""
BETWEEN_BUFFERS = 0.001
"""Half width of the place of a shallow jump between two buffers: activity coefficients change along it (seen on the
simulated cells, a twentieth of a per cent)."""
SEVERAL_PROTONS = 0.0003
"""The same for an acid whose protons run into one jump."""
SLOW_ANALYTE = 0.001
"""The same where the electrode does not follow the analyte's couple: its branch is not quite a Nernst curve's."""
SLOW_TITRANT = 0.0003
"""The same for the branch behind the jump, which counts for less: few readings stand on it."""
CUT_OFF = 0.0003
"""The same for a halide whose jump the next one cuts off: few readings tell where."""


def expectation_of(method: Method, burette: dict[str, float] | None) -> Expectation:
    """What `method` (and the burette of the journal's first line, where there is one) lets the evaluation expect."""
    common: dict[str, Any] = {
        "sd_volume_mL": burette["random_error_mL"] if burette else None,
        "calibration_half_width": burette["calibration_half_width"] if burette else None,
    }
    sought = method.find.equivalence_points
    reaction = method.reaction.known
    if reaction is None:
        return Expectation(points_sought=sought, **common)
    common["rising"] = reaction.rising
    builder = {"redox": _redox, "acid-base": _acid_base, "precipitation": _silver, "complexation": _complexation}
    steps = builder[reaction.family](method, reaction, common)[: max(1, sought)]
    known = known_of(method, reaction, sought)
    by_extrapolation = getattr(method.find, "by", "jump") == "extrapolation"
    return replace(
        steps[0], points_sought=sought, then=tuple(steps[1:]), known=known, by_extrapolation=by_extrapolation
    )


def _slope(method: Method, electrons: int = 1, sd: float = REACHED_SD) -> dict[str, Any]:
    nernst_mV = nernst_slope_mV(method.medium.temperature_C) / electrons
    return {"slope_mV": REACHED * nernst_mV, "slope_sd_mV": sd * nernst_mV}


def _neighbours(reaction: Reaction, number: int) -> dict[str, Any]:
    return {"previous_step": number > 0, "next_step": number + 1 < len(reaction.steps)}


def _redox(method: Method, reaction: Reaction, common: dict[str, Any]) -> list[Expectation]:
    couples = couple_potentials(method)
    return [
        _of_couples(method, reaction.steps[k], couples[k], couples[k + 1], {**common, **_neighbours(reaction, k)})
        for k in range(len(reaction.steps))
    ]


def _of_couples(
    method: Method, step: Step, analyte: CouplePotential, behind: CouplePotential, common: dict[str, Any]
) -> Expectation:
    slope = _slope(method)
    own_mV, beside_mV = OWN_SLOPE_SD * slope["slope_mV"], BESIDE_SLOW_SD * slope["slope_mV"]
    slow = analyte.slow or behind.slow
    # Iodine stands beside much iodide, which does not change: the branch before is that of a free ion.
    free = step.couple is not None and step.couple.units > 1
    return Expectation(
        model="complexation" if free else "redox",
        analyte_potential_mV=analyte.potential_mV,
        analyte_potential_sd_mV=analyte.sd_mV,
        titrant_potential_mV=behind.potential_mV,
        titrant_potential_sd_mV=behind.sd_mV,
        analyte_electrons=analyte.electrons,
        titrant_electrons=behind.electrons,
        **(_slope(method, analyte.electrons) if free else slope),
        analyte_slope_sd_mV=(own_mV if analyte.slow else slope["slope_sd_mV"]) if slow else None,
        titrant_slope_sd_mV=(own_mV if behind.slow else beside_mV) if slow else None,
        left_out_half_width=SLOW_ANALYTE if analyte.slow else SLOW_TITRANT if behind.slow else 0.0,
        vessel_mL=method.vessel.fill_mL,
        **common,
    )


def _acid_base(method: Method, reaction: Reaction, common: dict[str, Any]) -> list[Expectation]:
    return [
        Expectation(
            model="symmetric" if step.analyte in STRONG_ACIDS else "acid",
            sites=THREE_PROTONS.get(step.analyte, 1),
            left_out_half_width=_left_out(step, number, reaction),
            neutral_mV=0.0,
            titrant_mol_per_L=method.titrant.concentration.value_mol_per_L,
            vessel_mL=method.vessel.fill_mL,
            **_slope(method),
            **common,
            **{**_neighbours(reaction, number), **_hidden_step(step, number, reaction)},
        )
        for number, step in enumerate(reaction.steps)
    ]


def _left_out(step: Step, number: int, reaction: Reaction) -> float:
    if step.analyte in THREE_PROTONS:
        return SEVERAL_PROTONS
    between = number + 1 < len(reaction.steps) or step.species == "H3PO4"
    return BETWEEN_BUFFERS if between else LEFT_OUT.get(step.analyte, 0.0)


def _hidden_step(step: Step, number: int, reaction: Reaction) -> dict[str, Any]:
    """Phosphoric acid goes on behind the last point that is sought: its next proton is there all the same."""
    if step.species in ("H3PO4", "H2PO4-") and number + 1 == len(reaction.steps):
        return {"next_step": True}
    return {}


def _silver(method: Method, reaction: Reaction, common: dict[str, Any]) -> list[Expectation]:
    return [
        Expectation(
            model="symmetric",
            left_out_half_width=CUT_OFF if number + 1 < len(reaction.steps) else 0.0,
            vessel_mL=method.vessel.fill_mL,
            **_slope(method),
            **common,
            **_neighbours(reaction, number),
        )
        for number in range(len(reaction.steps))
    ]


def _complexation(method: Method, reaction: Reaction, common: dict[str, Any]) -> list[Expectation]:
    by_copper = method.electrode.indicator == "copper-ion"
    return [
        Expectation(
            model="exchange" if by_copper and step.analyte != "copper" else "complexation",
            vessel_mL=method.vessel.fill_mL,
            **_slope(method, 2, ION_REACHED_SD),
            **common,
        )
        for step in reaction.steps
    ]
