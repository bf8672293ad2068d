"""The drafted files in words: method, rig and cell, with the reason beside every number."""

from __future__ import annotations

import json
from typing import Final

from titrator.run.draft import REACTION, RINSE_mL, START_OXIDISED, STEPS_PER_STROKE, Draft

_SALTS: Final = {"sulfuric acid": "cerium(IV) sulfate", "perchloric acid": "ammonium cerium(IV) nitrate"}
"""The salt from which titrant is usually made in each acid (common practice)."""


def method_text(draft: Draft, cell_name: str, rig_name: str) -> str:
    """Return the method file. Names are those of the files beside it."""
    return "\n".join([*_method_head(draft, cell_name, rig_name), *_method_hardware(draft), *_method_course(draft), ""])


def _method_head(draft: Draft, cell_name: str, rig_name: str) -> list[str]:
    a = draft.answers
    dilution = (
        [
            f"  # u: pipette and flask together, 0.05 % where both are of good quality; their certificates say more.",
            f"  dilution: {{value: {a.dilution:.10g}, u: {0.0005 * a.dilution:.10g}}}",
        ]
        if a.dilution != 1
        else []
    )
    return [
        f"# {a.name}: {REACTION.analyte.reduced} with {REACTION.titrant.oxidised}.",
        "# A draft by `titrator new`. It passes `titrator check` and rehearses with `titrator dry-run`. Figures marked",
        "# MEASURE are usual ones (common practice, not yours): replace them by what you find on your own bench.",
        "format: 1",
        f"name: {_quoted(a.name)}",
        f"rehearsal: {{cell: {cell_name}, rig: {rig_name}}}",
        "",
        "# One electron each, so one mole takes one mole.",
        f"reaction: {{analyte: {REACTION.analyte.reduced}, titrant: {REACTION.titrant.oxidised}, "
        f"analyte_per_titrant: {REACTION.analyte_per_titrant:.10g}}}",
        "",
        "# u: MEASURE, from the standardisation; 0.2 % is what a careful one gives.",
        "titrant:",
        f"  concentration: {{value: {a.titrant_mol_per_L:.10g} mol/L, u: {0.002 * a.titrant_mol_per_L:.10g} mol/L}}",
        f"  temperature: {a.temperature_C:.10g} °C",
        "",
        f"# The sample takes {a.low_mol_per_L:.10g} mol/L x {a.aliquot_mL:.10g} mL / {a.dilution:.10g} / "
        f"{a.titrant_mol_per_L:.10g} mol/L = {draft.volume_low_mL:.4g} mL of titrant,",
        f"# and {draft.volume_high_mL:.4g} mL at {a.high_mol_per_L:.10g} mol/L.",
        "sample:",
        "  kind: unknown",
        "  # u: 0.1 % is a pipette of good quality; its certificate says more.",
        f"  aliquot: {{value: {a.aliquot_mL:.10g} mL, u: {0.001 * a.aliquot_mL:.10g} mL}}",
        *dilution,
        "  # Used for checks only: the sample may lie outside, and the result knows nothing of it.",
        f"  expected: {{from: {a.low_mol_per_L:.10g} mol/L, to: {a.high_mol_per_L:.10g} mol/L}}",
        "",
        f"# The medium in which the formal potentials hold: iron {_against_hydrogen(draft, draft.analyte_mV)}, cerium "
        f"{_against_hydrogen(draft, draft.titrant_mV)} against the standard hydrogen electrode.",
        "# volume: four times the aliquot, and enough to cover the electrodes.",
        f"medium: {{acid: {a.acid}, concentration: 1 mol/L, volume: {draft.medium_mL:.10g} mL, "
        f"temperature: {a.temperature_C:.10g} °C}}",
        "",
    ]


def _method_hardware(draft: Draft) -> list[str]:
    a = draft.answers
    low_mV, high_mV = draft.start_window_mV
    total_mL = draft.fill_mL + RINSE_mL + draft.volume_above_mL
    tip = (
        "The tip is immersed (with an anti-siphon tip): less than a drop arrives whole."
        if a.tip == "immersed"
        else "The tip is above the liquid: nothing less than a drop, 0.05 mL, is added."
    )
    return [
        f"# The reference stands at {draft.reference_mV:.0f} mV, so iron is centred at {draft.analyte_mV:.0f} mV.",
        f"# start_window: with one part in {1 / START_OXIDISED[0]:.0f} oxidised (less is not met in practice) to "
        f"{100 * START_OXIDISED[1]:.0f} % oxidised, to the next 10 mV.",
        "# answers_within: by then a twentieth of the strongest sample is oxidised, which lifts the potential to 75 mV below",
        "#   its centre or more: a living electrode has moved.",
        "electrode:",
        "  indicator: platinum",
        f"  reference: {a.reference}",
        f"  filling: {a.filling}",
        f"  start_window: [{low_mV:.10g} mV, {high_mV:.10g} mV]",
        f"  answers_within: {draft.answers_within_mL:.10g} mL",
        "",
        f"# {a.aliquot_mL:.10g} mL aliquot + {draft.medium_mL:.10g} mL acid = {draft.fill_mL:.10g} mL; with rinsing and titrant "
        f"{total_mL:.10g} mL of {a.capacity_mL:.10g} mL.",
        f"# {tip}",
        "vessel:",
        f"  capacity: {a.capacity_mL:.10g} mL",
        f"  fill: {draft.fill_mL:.10g} mL",
        f"  rinse: {RINSE_mL:.10g} mL",
        f"  tip: {a.tip}",
        "  stirring: magnetic bar, fast, without drawing air to the electrode",
        "",
    ]


def _method_course(draft: Draft) -> list[str]:
    a = draft.answers
    least = "twenty times the burette's random error" if a.tip == "immersed" else "a drop, and well above the burette's error"
    refills = "the burette refills when it must" if a.refills else "and within 98 % of one stroke, for it does not refill"
    return [
        "# aim: a hundred times the noise of 0.25 mV, so that noise cannot lead the rule astray.",
        f"# least: {least}. first: a hundredth of the {draft.volume_low_mL:.4g} mL of the weakest sample (at least least).",
        "# most: a twelfth of it, so that a dozen points lie before the jump. growth: doubling.",
        "additions:",
        "  rule: adaptive",
        "  aim: 25 mV",
        f"  first: {draft.first_mL:.10g} mL",
        f"  least: {draft.least_mL:.10g} mL",
        f"  most: {draft.most_mL:.10g} mL",
        "  growth: 2",
        "",
        "# noise: MEASURE, standard deviation of readings at rest. response: MEASURE, 5 s for platinum within a factor of two.",
        "# mixing: MEASURE, with a drop of dye in the stirred vessel. longest_wait: 18 response times.",
        "reading:",
        "  noise: 0.25 mV",
        "  response: 5 s",
        "  mixing: 1.5 s",
        "  longest_wait: 90 s",
        "",
        f"# volume_above: a tenth more than the {draft.volume_high_mL:.4g} mL of the strongest sample, {refills}.",
        f"# potential_beyond: 70 mV above cerium's {draft.titrant_mV:.0f} mV: titrant in large excess, or something broken.",
        f"# time_over: three times the delivery at {draft.top_speed_mL_per_min:.10g} mL/min and 50 readings of 20 s.",
        "# readings_past_jump: six fix the branch behind the jump about as well as the one before.",
        "ends_when:",
        f"  volume_above: {draft.volume_above_mL:.10g} mL",
        f"  potential_beyond: {draft.potential_beyond_mV:.10g} mV",
        f"  time_over: {draft.time_over_min} min",
        "  readings_past_jump: 6",
        "",
        "find: {equivalence_points: 1}",
        "",
        "# The standard atomic weight of iron, 55.845 (IUPAC). unit: mol/L, mmol/L, g/L or mg/L.",
        f"result: {{name: {REACTION.analyte.reduced}, unit: mol/L, molar_mass: 55.845 g/mol}}",
        "",
        "# Shown before every start. Add what else is in the sample; the safety data sheets in hand come first.",
        "cautions:",
        "  substances:",
        f"    - {{name: {_SALTS[a.acid]}, concentration: {a.titrant_mol_per_L:.10g} mol/L}}",
        f"    - {{name: {a.acid}, concentration: 1 mol/L}}",
        "    - {name: iron(II) salts}",
    ]


def rig_text(draft: Draft) -> str:
    """Return the rig file."""
    a = draft.answers
    step_uL = 1000 * a.stroke_mL / STEPS_PER_STROKE
    return f"""\
# The bench, simulated until a real one stands in its place. A draft by `titrator new`; MEASURE marks figures that only
# your own bench can tell. Every key is explained in docs/rig-file.md.
format: 1
name: {_quoted(f"Bench of {a.name}")}
kind: simulated

burette:
  stroke: {a.stroke_mL:.10g} mL
  # MEASURE: one stroke divided by the steps that it takes; here {STEPS_PER_STROKE}.
  step: {step_uL:.10g} µL
  # A stroke in two and a half minutes: faster draws and pushes bubbles (common practice).
  top_speed: {draft.top_speed_mL_per_min:.10g} mL/min
  # MEASURE: standard deviation of one delivery, by weighing water; a stroke in 25 000 is a good burette.
  random_error: {1000 * draft.random_error_mL:.10g} µL
  # MEASURE: limits of the burette's scale, from its certificate or by weighing.
  calibration: {{half_width: 0.2 %}}
  refills: {"true" if a.refills else "false"}

# What titrant touches, from plunger to tip. Cerium(IV) in acid attacks acetal, nylon, brass, steel and natural rubber.
wetted: [glass, PTFE, FEP]

amplifier:
  # Any redox couple in water lies well inside; an open input drifts to an end and is recognised there.
  range: {{low: -2000 mV, high: 2000 mV}}
  step: 0.1 mV
  # Several readings within the time constant of mixing.
  readings_per_second: 10
"""


def cell_text(draft: Draft) -> str:
    """Return the simulated cell on which the method is rehearsed."""
    a = draft.answers
    hydrogen = {name: getattr(draft, name) + draft.reference_mV for name in ("analyte_mV", "titrant_mV")}
    return f"""\
# A simulated cell for `titrator dry-run`: it tells whether the method works on a cell like this, not what yours does.
# Draft by `titrator new`; but for the potentials (textbook) its figures are invented. Keys: docs/cell-file.md.
format: 1
name: {_quoted(f"Simulated cell of {a.name}")}
reaction: {{analyte: {REACTION.analyte.reduced}, titrant: {REACTION.titrant.oxidised}, acid: {a.acid}}}

# A dry run draws the sample, before its dilution, uniformly between these limits.
sample:
  concentration: {{from: {a.low_mol_per_L:.10g} mol/L, to: {a.high_mol_per_L:.10g} mol/L}}
  oxidised: {{from: 0.0002, to: 0.001}}

# Against the standard hydrogen electrode.
potentials:
  analyte: {{centre: {hydrogen["analyte_mV"]:.0f} mV, within: 30 mV}}
  titrant: {{centre: {hydrogen["titrant_mV"]:.0f} mV, within: 30 mV}}
  slope: {{from: 0.95, to: 1}}

mixing: 1.5 s
electrode:
  response: 2.5 s
  slowing: 9.5 s
  slowing_half_at: 100
  exchange_analyte: 1
  exchange_titrant: 0.1
  background: 0.000000005 mol/L
noise:
  - {{kind: white, sd: 0.25 mV}}
drift: 0.05 mV/min
"""


def _against_hydrogen(draft: Draft, potential_mV: float) -> str:
    return f"{(potential_mV + draft.reference_mV) / 1000:.3g} V"


def _quoted(text: str) -> str:
    """Return a text as YAML that cannot be taken for anything else: JSON text is YAML text."""
    return json.dumps(text, ensure_ascii=False)
