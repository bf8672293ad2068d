"""A first draft of method, rig and cell from a few answers: the numbers that follow from them.

Every number has its derivation in the comments of the files that `titrator.run.draft_text` writes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.reactions import find_reaction
from titrator.chemistry.references import find_reference
from titrator.files import InputProblem
from titrator.method.plausible import DROP_mL

REACTION: Final = find_reaction("iron(II)", "cerium(IV)")
"""The reaction that is drafted: iron(II) with cerium(IV)."""

STEPS_PER_STROKE: Final = 40_000
RANDOM_ERRORS_PER_STROKE: Final = 25_000
RINSE_mL: Final = 10.0
LEAST_FILL_mL: Final = 50.0
MOST_DILUTED: Final = 1e6
START_OXIDISED: Final = (1e-5, 0.6)


class DraftError(InputProblem):
    """Answers that give no method; the message says which, and what would do."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What was asked. `low` and `high` are the concentrations expected in the sample before its dilution."""

    name: str
    low_mol_per_L: float
    high_mol_per_L: float
    dilution: float
    aliquot_mL: float
    titrant_mol_per_L: float
    acid: str
    temperature_C: float
    reference: str
    filling: str
    tip: Literal["immersed", "above"]
    capacity_mL: float
    stroke_mL: float
    refills: bool


@dataclass(frozen=True, slots=True)
class Draft:
    """Answers, and what follows from them. Volumes in mL, potentials in mV against the reference electrode."""

    answers: Answers
    volume_low_mL: float
    volume_high_mL: float
    medium_mL: float
    fill_mL: float
    volume_above_mL: float
    random_error_mL: float
    least_mL: float
    first_mL: float
    most_mL: float
    answers_within_mL: float
    top_speed_mL_per_min: float
    time_over_min: int
    reference_mV: float
    analyte_mV: float
    titrant_mV: float
    slope_mV: float

    @property
    def start_window_mV(self) -> tuple[float, float]:
        """Potentials with 1 part in 100 000 and with 60 % of the analyte oxidised, to the next ten outwards."""
        low_mV, high_mV = (self.analyte_mV + self.slope_mV * math.log(x / (1 - x)) for x in START_OXIDISED)
        return 10.0 * math.floor(low_mV / 10), 10.0 * math.ceil(high_mV / 10)

    @property
    def potential_beyond_mV(self) -> float:
        """70 mV above the titrant's formal potential, where 94 % of the titrant in the vessel is unused."""
        return 10.0 * math.ceil((self.titrant_mV + 70) / 10)


def draft(answers: Answers) -> Draft:
    """Return what follows from the answers. Raises DraftError where they contradict each other."""
    if answers.high_mol_per_L < answers.low_mol_per_L:
        raise DraftError(
            f"--highest: expected at least the lowest, {answers.low_mol_per_L:g} mol/L, got "
            f"{answers.high_mol_per_L:g} mol/L"
        )
    if not 1 <= answers.dilution <= MOST_DILUTED:
        raise DraftError(
            f"--dilution: expected at least 1 (1: not diluted) and at most {MOST_DILUTED:g}, got {answers.dilution:g}"
        )
    per_mL = answers.aliquot_mL / (answers.dilution * REACTION.steps[0].analyte_per_titrant * answers.titrant_mol_per_L)
    low_mL, high_mL = answers.low_mol_per_L * per_mL, answers.high_mol_per_L * per_mL
    medium_mL = 5.0 * math.ceil(max(4 * answers.aliquot_mL, LEAST_FILL_mL - answers.aliquot_mL) / 5)
    volume_above_mL = _volume_above_mL(answers, high_mL)
    _refuse_small_vessel(answers, medium_mL + answers.aliquot_mL + RINSE_mL + volume_above_mL)
    least_mL, first_mL, most_mL = _additions_mL(answers, low_mL)
    top_speed_mL_per_min = 0.4 * answers.stroke_mL
    wait_min = 50 * 20 / 60
    reference_mV = _reference_mV(answers)
    analyte, titrant = REACTION.potentials_against_mV(answers.acid, reference_mV / 1000.0)
    return Draft(
        answers=answers,
        volume_low_mL=low_mL,
        volume_high_mL=high_mL,
        medium_mL=medium_mL,
        fill_mL=math.ceil(10_000 * (answers.aliquot_mL + medium_mL) - 1e-6) / 10_000,
        volume_above_mL=volume_above_mL,
        random_error_mL=answers.stroke_mL / RANDOM_ERRORS_PER_STROKE,
        least_mL=least_mL,
        first_mL=first_mL,
        most_mL=most_mL,
        answers_within_mL=_up(max(high_mL / 20, 2 * first_mL), 2),
        top_speed_mL_per_min=top_speed_mL_per_min,
        time_over_min=10 * math.ceil(3 * (volume_above_mL / top_speed_mL_per_min + wait_min) / 10),
        reference_mV=reference_mV,
        analyte_mV=analyte,
        titrant_mV=titrant,
        slope_mV=nernst_slope_mV(answers.temperature_C),
    )


def _volume_above_mL(answers: Answers, high_mL: float) -> float:
    """A tenth past the last equivalence point, to the next half millilitre; within 98 % of a stroke without refills."""
    wanted_mL = 0.5 * math.ceil(1.1 * high_mL / 0.5)
    usable_mL = 0.98 * answers.stroke_mL
    if answers.refills or wanted_mL <= usable_mL:
        return wanted_mL
    if 1.05 * high_mL <= usable_mL:
        return usable_mL
    most_mL = answers.aliquot_mL * usable_mL / (1.1 * high_mL)
    raise DraftError(
        f"--stroke: expected a burette of {wanted_mL:g} mL for the strongest sample (it takes {high_mL:.4g} mL), got "
        f"one of {answers.stroke_mL:g} mL without refills. Take an aliquot of at most {_down(most_mL, 2):g} mL, dilute "
        "more, or use --refills"
    )


def _additions_mL(answers: Answers, low_mL: float) -> tuple[float, float, float]:
    """Return least, first and most: see the comments in the drafted method."""
    least_mL = _up(max(20 * answers.stroke_mL / RANDOM_ERRORS_PER_STROKE, 10 * answers.stroke_mL / STEPS_PER_STROKE), 1)
    if answers.tip == "above":
        least_mL = max(least_mL, DROP_mL)
    if low_mL < 25 * least_mL:
        raise DraftError(
            f"--aliquot: expected one that takes at least {25 * least_mL:g} mL of titrant (25 of the smallest "
            f"additions, {least_mL:g} mL, that this burette and tip allow), got {answers.aliquot_mL:g} mL, which takes "
            f"{low_mL:.3g} mL for the weakest sample. Take a larger aliquot, dilute less, or use a weaker titrant"
        )
    first_mL = max(least_mL, _down(low_mL / 100, 1))
    return least_mL, first_mL, max(first_mL, _down(low_mL / 12, 1))


def _refuse_small_vessel(answers: Answers, needed_mL: float) -> None:
    if needed_mL > answers.capacity_mL:
        raise DraftError(
            f"--capacity: expected a vessel of at least {needed_mL:g} mL (aliquot, acid, {RINSE_mL:g} mL of rinsing, "
            f"the titrant), got {answers.capacity_mL:g} mL. Take a larger vessel or a smaller aliquot"
        )


def _reference_mV(answers: Answers) -> float:
    try:
        return 1000 * find_reference(answers.reference, answers.filling).potential_V(answers.temperature_C)
    except ValueError as error:
        raise DraftError(f"--temperature: {error}") from error


def _down(value: float, digits: int) -> float:
    return _rounded(value, digits, math.floor)


def _up(value: float, digits: int) -> float:
    return _rounded(value, digits, math.ceil)


def _rounded(value: float, digits: int, towards: object) -> float:
    """Round to significant digits, the last bits of binary fractions forgiven."""
    shift = digits - 1 - math.floor(math.log10(value))
    scaled = round(value * 10.0**shift, 6)
    whole = math.ceil(scaled) if towards is math.ceil else math.floor(scaled)
    return round(whole * 10.0**-shift, 12)
