"""The drafted files in words: method, rig and cell, with the reason beside every number."""

from __future__ import annotations

import json
from typing import Final

from titrator.method.plausible import DROP_mL
from titrator.run.draft import REACTION, START_OXIDISED, STEPS_PER_STROKE, Draft, RINSE_mL

COVERS_FROM_mL: Final = 40.0
"""What covers the electrodes in a usual vessel of 100 to 150 mL (common practice)."""
_NO_POTASSIUM: Final = "perchloric acid"
_BRIDGE: Final = "1 mol/L NaNO3"

_SALTS: Final = {"sulfuric acid": "cerium(IV) sulfate", "perchloric acid": "ammonium cerium(IV) nitrate"}
"""The salt from which titrant is usually made in each acid (common practice)."""


def method_text(draft: Draft, cell_name: str, rig_name: str) -> str:
    """Return the method file. Names are those of the files beside it."""
    return "\n".join(
        [_head(draft, cell_name, rig_name), _sample(draft), _hardware(draft), _course(draft), _rest(draft)]
    )


def _head(draft: Draft, cell_name: str, rig_name: str) -> str:
    a = draft.answers
    return f"""\
# {a.name}: {REACTION.analytes[0]} with {REACTION.titrant}.
# A draft by `titrator new`. It passes `titrator check` and rehearses with `titrator dry-run`. Figures marked
# MEASURE are usual ones (common practice, not yours): replace them by what you find on your own bench.
format: 1
name: {_quoted(a.name)}
rehearsal: {{cell: {cell_name}, rig: {rig_name}}}

# One electron each, so one mole takes one mole.
reaction:
  analyte: {REACTION.analytes[0]}
  titrant: {REACTION.titrant}
  analyte_per_titrant: {REACTION.steps[0].analyte_per_titrant:g}

# u: MEASURE, from the standardisation; 0.2 % is what a careful one gives.
titrant:
  concentration: {{value: {_figure(a.titrant_mol_per_L)} mol/L, u: {_figure(0.002 * a.titrant_mol_per_L)} mol/L}}
  temperature: {_figure(a.temperature_C)} °C
"""


def _sample(draft: Draft) -> str:
    a = draft.answers
    dilution = f"""\
  # u: pipette and flask together, 0.05 % where both are of good quality; their certificates say more.
  dilution: {{value: {_figure(a.dilution)}, u: {_figure(0.0005 * a.dilution)}}}
"""
    return f"""\
# The sample takes {a.low_mol_per_L:.4g} mol/L x {a.aliquot_mL:.4g} mL / {a.dilution:.4g} / \
{a.titrant_mol_per_L:.4g} mol/L = {draft.volume_low_mL:.4g} mL of titrant,
# and {draft.volume_high_mL:.4g} mL at {a.high_mol_per_L:.4g} mol/L.
sample:
  kind: unknown
  # u: 0.1 % is a pipette of good quality; its certificate says more.
  aliquot: {{value: {_figure(a.aliquot_mL)} mL, u: {_figure(0.001 * a.aliquot_mL)} mL}}
{dilution if a.dilution != 1 else ""}\
  # Used for checks only: the sample may lie outside, and the result knows nothing of it.
  expected: {{from: {_figure(a.low_mol_per_L)} mol/L, to: {_figure(a.high_mol_per_L)} mol/L}}

# The medium in which the formal potentials hold: iron {_against_hydrogen(draft, draft.analyte_mV)}, cerium \
{_against_hydrogen(draft, draft.titrant_mV)} against the standard hydrogen electrode.
# volume: four times the aliquot, and enough to cover the electrodes.
medium:
  acid: {a.acid}
  concentration: 1 mol/L
  volume: {_figure(draft.medium_mL)} mL
  temperature: {_figure(a.temperature_C)} °C
"""


def _hardware(draft: Draft) -> str:
    a = draft.answers
    low_mV, high_mV = draft.start_window_mV
    total_mL = draft.fill_mL + RINSE_mL + draft.volume_above_mL
    tip = {
        "immersed": "The tip is immersed (with an anti-siphon tip): less than a drop arrives whole.",
        "above": f"The tip is above the liquid: nothing less than a drop, {DROP_mL:g} mL, is added.",
    }
    return f"""\
# The reference stands at {draft.reference_mV:.0f} mV, so iron is centred at {draft.analyte_mV:.0f} mV.
# start_window: with one part in {1 / START_OXIDISED[0]:.0f} oxidised (less is not met in practice) to \
{100 * START_OXIDISED[1]:.0f} % oxidised, to the next 10 mV.
# answers_within: by then a twentieth of the strongest sample is oxidised, which lifts the potential to 75 mV below
#   its centre or more: a living electrode has moved.
{_bridge_why(a.acid)}electrode:
  indicator: platinum
  reference: {a.reference}
  filling: {a.filling}
{_bridge(a.acid)}  start_window: [{low_mV:g} mV, {high_mV:g} mV]
  answers_within: {_figure(draft.answers_within_mL)} mL

# {a.aliquot_mL:.4g} mL aliquot + {draft.medium_mL:g} mL acid; with rinsing and titrant {total_mL:.4g} mL of \
{a.capacity_mL:.4g} mL.
# {tip[a.tip]}
# covers_from: MEASURE, the least volume that covers junction and platinum{" and tip" if a.tip == "immersed" else ""}.
vessel:
  capacity: {_figure(a.capacity_mL)} mL
  fill: {_figure(draft.fill_mL)} mL
  covers_from: {_figure(min(COVERS_FROM_mL, draft.fill_mL))} mL
  rinse: {RINSE_mL:g} mL
  tip: {a.tip}
  stirring: magnetic bar, fast, without drawing air to the electrode
"""


def _bridge(acid: str) -> str:
    return f"  bridge: {_BRIDGE}\n" if acid == _NO_POTASSIUM else ""


def _bridge_why(acid: str) -> str:
    if acid != _NO_POTASSIUM:
        return ""
    return (
        "# bridge: a double junction, for potassium of a single one would precipitate with perchlorate in its frit.\n"
    )


def _course(draft: Draft) -> str:
    a = draft.answers
    least = {"immersed": "twenty times the burette's random error", "above": "a drop, well above the burette's error"}
    refills = "the burette refills when it must" if a.refills else "within 98 % of one stroke, for it does not refill"
    return f"""\
# aim: a hundred times the noise of 0.25 mV, so that noise cannot lead the rule astray.
# least: {least[a.tip]}.
# first: a hundredth of the {draft.volume_low_mL:.4g} mL of the weakest sample, and no less than least.
# most: a twelfth of it, so that a dozen points lie before the jump. growth: doubling.
additions:
  rule: adaptive
  aim: 25 mV
  first: {_figure(draft.first_mL)} mL
  least: {_figure(draft.least_mL)} mL
  most: {_figure(draft.most_mL)} mL
  growth: 2

# noise: MEASURE, standard deviation of readings at rest.
# response: MEASURE, 5 s for platinum within a factor of two. mixing: MEASURE, with a drop of dye in the stirred vessel.
# longest_wait: 18 response times.
reading:
  noise: 0.25 mV
  response: 5 s
  mixing: 1.5 s
  longest_wait: 90 s

# volume_above: a tenth more than the {draft.volume_high_mL:.4g} mL of the strongest sample; {refills}.
# potential_beyond: 70 mV above cerium's {draft.titrant_mV:.0f} mV: titrant in large excess, or something is broken.
# time_over: three times the delivery at {draft.top_speed_mL_per_min:g} mL/min and 50 readings of 20 s.
# readings_past_jump: six fix the branch behind the jump about as well as the one before.
ends_when:
  volume_above: {_figure(draft.volume_above_mL)} mL
  potential_beyond: {draft.potential_beyond_mV:g} mV
  time_over: {draft.time_over_min} min
  readings_past_jump: 6
"""


def _rest(draft: Draft) -> str:
    a = draft.answers
    return f"""\
find: {{equivalence_points: 1}}

# The standard atomic weight of iron, 55.845 (IUPAC). unit: mol/L, mmol/L, g/L or mg/L.
result: {{name: {REACTION.analytes[0]}, unit: mol/L, molar_mass: 55.845 g/mol}}

# Shown before every start. Add what else is in the sample; the safety data sheets in hand come first.
cautions:
  substances:
    - {{name: {_SALTS[a.acid]}, concentration: {_figure(a.titrant_mol_per_L)} mol/L}}
    - {{name: {a.acid}, concentration: 1 mol/L}}
    - {{name: iron(II) salts}}
"""


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
  stroke: {_figure(a.stroke_mL)} mL
  # MEASURE: one stroke divided by the steps that it takes; here {STEPS_PER_STROKE}.
  step: {_figure(step_uL)} µL
  # A stroke in two and a half minutes: faster draws and pushes bubbles (common practice).
  top_speed: {_figure(draft.top_speed_mL_per_min)} mL/min
  # MEASURE: standard deviation of one delivery, by weighing water; a stroke in 25 000 is a good burette.
  random_error: {_figure(1000 * draft.random_error_mL)} µL
  # MEASURE: limits of the burette's scale, from its certificate or by weighing.
  calibration: {{half_width: 0.2 %}}
  refills: {"true" if a.refills else "false"}
  # MEASURE: from valve to tip, by weighing what comes until titrant of another colour does.
  dead_volume: 1 mL

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
reaction: {{analyte: {REACTION.analytes[0]}, titrant: {REACTION.titrant}, acid: {a.acid}}}

# A dry run draws the sample, before its dilution, uniformly between these limits.
sample:
  concentration: {{from: {_figure(a.low_mol_per_L)} mol/L, to: {_figure(a.high_mol_per_L)} mol/L}}
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
exchange: {{analyte: 1, titrant: 0.1, background: 0.000000005 mol/L}}
noise:
  - {{kind: white, sd: 0.25 mV}}
drift: 0.05 mV/min
"""


def _against_hydrogen(draft: Draft, potential_mV: float) -> str:
    return f"{(potential_mV + draft.reference_mV) / 1000:.3g} V"


def _figure(value: float) -> str:
    """Return a number as a person writes it: ten digits, without the last bits of binary fractions."""
    return f"{value:.10g}"


def _quoted(text: str) -> str:
    """Return a text as YAML that cannot be taken for anything else: JSON text is YAML text."""
    return json.dumps(text, ensure_ascii=False)
