"""Between which potentials a sample can stand before the first addition, as far as its chemistry says anything."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final, NamedTuple

from titrator.chemistry.constants import nernst_slope_mV, nernst_slope_per_decade_mV
from titrator.chemistry.couples import Couple
from titrator.chemistry.precipitation import HALIDES, SILVER_V
from titrator.chemistry.reactions import Reaction as KnownReaction
from titrator.chemistry.references import reference_potential_V
from titrator.files import Finding
from titrator.method.electrode import Electrode
from titrator.method.medium import Medium
from titrator.method.reaction import Reaction
from titrator.method.sample import Sample
from titrator.method.vessel import Vessel

LEAST_OXIDISED: Final = 1e-6
"""No sample of a reduced analyte is purer: air and the salt itself put more of the oxidised form in (judged by us)."""
MOST_OXIDISED: Final = 0.99
"""A sample that is oxidised further is hardly one to titrate (judged by us)."""
POTENTIAL_MARGIN_mV: Final = 50.0
"""Formal potentials of one medium differ by some 35 mV from table to table (iron in perchloric acid: 0.732 and
0.767 V), and a medium is not always the 1 mol/L for which they are tabulated."""

GLASS_ZERO_PH: Final = 7.0
GLASS_SLOPE_mV: Final = -58.0
"""A combined glass electrode: 0 mV at pH 7, -58 mV a pH (common practice: as bought, at 20 °C)."""
GLASS_MARGIN_mV: Final = 60.0
"""An old electrode is 30 mV off at pH 7 and a tenth short of its slope; another reference shifts it by 40 mV."""
ACID_PH: Final = (-1.0, 7.0)
ALKALINE_PH: Final = (7.0, 14.5)

HALIDE_mol_per_L: Final = (1e-5, 3.0)
"""Where no sample is expected: what can be titrated with silver at all."""
SILVER_MARGIN_mV: Final = (150.0, 50.0)
"""Below and above what the solubility gives: without silver in the solution it stands lower; traces raise it."""

IODIDE_mol_per_L: Final = (0.001, 3.0)
IODINE_mol_per_L: Final = (1e-5, 0.3)
"""Of iodine samples: excess iodide, and the triiodide itself."""


class Start(NamedTuple):
    """Lowest and highest potential in mV of a start, the potential that it must not reach, and both in words.

    `reached` lies above the start where titrant raises the potential, below it otherwise.
    """

    least_mV: float
    most_mV: float
    where: str
    reached_mV: float
    why: str


def start_is_one_that_the_reaction_gives(
    reaction: Reaction, medium: Medium, electrode: Electrode, sample: Sample, vessel: Vessel
) -> Iterable[Finding]:
    """The start window holds a potential that the analyte can have, and none behind the equivalence point."""
    known = reaction.known
    start = None if known is None else _start(known, medium, electrode, sample, vessel)
    if known is None or start is None or sample.kind == "blank":  # without analyte the start is anybody's guess
        return
    low_mV, high_mV = electrode.start_window_mV
    if high_mV < start.least_mV or low_mV > start.most_mV:
        yield Finding(
            ("electrode", "start_window"),
            f"expected a window that meets {start.least_mV:.0f} to {start.most_mV:.0f} mV, {start.where}, got "
            f"{low_mV:g} to {high_mV:g} mV",
        )
    elif known.rising and high_mV > start.reached_mV:
        text = f"expected less than {start.reached_mV:.0f} mV, {start.why}, got {high_mV:g} mV"
        yield Finding(("electrode", "start_window", 1), text)
    elif not known.rising and low_mV < start.reached_mV:
        text = f"expected more than {start.reached_mV:.0f} mV, {start.why}, got {low_mV:g} mV"
        yield Finding(("electrode", "start_window", 0), text)


def _start(known: KnownReaction, medium: Medium, electrode: Electrode, sample: Sample, vessel: Vessel) -> Start | None:
    """None where the chemistry says nothing: an ion electrode's zero is its own; or where a section is wrong."""
    if medium.of(known.media) is None or electrode.indicator not in known.indicators:
        return None
    if known.family == "acid-base":
        return _of_glass(known)
    try:
        reference_V = reference_potential_V(electrode.reference, electrode.filling, medium.temperature_C)
    except (KeyError, ValueError):
        return None
    if known.family == "redox":
        return _of_redox(known, medium, electrode, reference_V)
    if known.family == "precipitation":
        return _of_silver(known, medium, sample, vessel, reference_V)
    return None


def _of_redox(known: KnownReaction, medium: Medium, electrode: Electrode, reference_V: float) -> Start:
    """Nernst's equation with an unlikely share of either form, and the weighted mean at the first point."""
    potentials_mV = known.potentials_against_mV(medium.name, reference_V)
    couples = [*(step.couple for step in known.steps), known.titrant_couple]
    first, second = couples[0], couples[1]
    assert first is not None
    assert second is not None
    slope_mV = nernst_slope_mV(medium.temperature_C) / first.electrons
    if first.units > 1:  # triiodide: [I3-]/[I-]^3, in mol/L, not a share of the whole
        shares = [math.log(IODINE_mol_per_L[low] / IODIDE_mol_per_L[1 - low] ** first.units) for low in (0, 1)]
        told = "with 0.00001 to 0.3 mol/L of it in 0.001 to 3 mol/L iodide"
    else:
        shares = [math.log(share / (1 - share)) for share in (LEAST_OXIDISED, MOST_OXIDISED)]
        told = f"with {LEAST_OXIDISED:g} to {MOST_OXIDISED:g} of it oxidised"
    by_pH_mV = first.protons * slope_mV * math.log(10) * _weakest_pH(medium, first)
    mean_mV = (first.electrons * potentials_mV[0] + second.electrons * potentials_mV[1]) / (
        first.electrons + second.electrons
    )
    which = "first " * (len(known.steps) > 1)
    return Start(
        potentials_mV[0] + slope_mV * shares[0] - by_pH_mV - POTENTIAL_MARGIN_mV,
        potentials_mV[0] + slope_mV * shares[1] + POTENTIAL_MARGIN_mV,
        f"where {known.steps[0].analyte}{_in(medium)} stands against {electrode.reference}, {electrode.filling}, "
        f"{told}",
        mean_mV,
        f"the potential at the {which}equivalence point (a sample there is titrated already)",
    )


def _weakest_pH(medium: Medium, couple: Couple) -> float:
    """The highest pH of the vessel that counts: the acid diluted tenfold by the sample; 0 if no protons take part."""
    if not couple.protons or not medium.concentration_mol_per_L:
        return 0.0
    return max(0.0, 1.0 - math.log10(medium.concentration_mol_per_L))


def _of_glass(known: KnownReaction) -> Start:
    low_pH, high_pH = ALKALINE_PH if known.rising else ACID_PH
    least_mV, most_mV = (GLASS_SLOPE_mV * (pH - GLASS_ZERO_PH) for pH in (high_pH, low_pH))
    kind = "an alkaline" if known.rising else "an acid"
    sign = 1 if known.rising else -1
    return Start(
        least_mV - GLASS_MARGIN_mV,
        most_mV + GLASS_MARGIN_mV,
        f"where a glass electrode stands in {kind} sample (pH {low_pH:g} to {high_pH:g}: 0 mV at pH 7 and -58 mV a pH, "
        f"{GLASS_MARGIN_mV:g} mV to spare)",
        sign * GLASS_MARGIN_mV,
        f"pH 7 with {GLASS_MARGIN_mV:g} mV to spare ({kind} sample lies on the other side)",
    )


def _of_silver(
    known: KnownReaction, medium: Medium, sample: Sample, vessel: Vessel, reference_V: float
) -> Start | None:
    """Silver at the solubility of its first halide; at the first point of one halide, the root of the product."""
    halide = next(each for each in HALIDES if each.ion == known.steps[0].species)
    try:
        log_Ksp = halide.log_Ksp.at(medium.temperature_C)
    except ValueError:
        return None
    low_mol_per_L, high_mol_per_L = HALIDE_mol_per_L
    if sample.expected is not None:
        share = sample.aliquot.value_mL / sample.dilution.value / vessel.fill_mL
        low_mol_per_L, high_mol_per_L = (
            share * strength for strength in (sample.expected.low_mol_per_L, sample.expected.high_mol_per_L)
        )
    decade_mV = nernst_slope_per_decade_mV(medium.temperature_C)
    zero_mV = 1000 * (SILVER_V.at(medium.temperature_C) - reference_V)
    below_mV, above_mV = SILVER_MARGIN_mV
    return Start(
        zero_mV + decade_mV * (log_Ksp - math.log10(high_mol_per_L)) - below_mV,
        zero_mV + decade_mV * (log_Ksp - math.log10(low_mol_per_L)) + above_mV,
        f"where silver stands over its {halide.name} with {low_mol_per_L:.2g} to {high_mol_per_L:.2g} mol/L of it",
        zero_mV + decade_mV * log_Ksp / 2,
        f"the potential at the equivalence point of {halide.name} (a sample there is titrated already)",
    )


def _in(medium: Medium) -> str:
    return "" if medium.name == "none" else f" in {medium.name}"


CHECKS = (start_is_one_that_the_reaction_gives,)
"""Every check of this module."""
