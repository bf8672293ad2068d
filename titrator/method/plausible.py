"""What the chemistry of a method makes impossible. Each check names the sections that it needs and yields findings."""

import math
from collections.abc import Iterable
from typing import Final

from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.redox import RedoxBalance
from titrator.chemistry.references import reference_potential_V
from titrator.files import Finding
from titrator.method.additions import Additions
from titrator.method.electrode import Electrode
from titrator.method.ends_when import EndsWhen
from titrator.method.medium import Medium
from titrator.method.reaction import Reaction
from titrator.method.sample import Sample
from titrator.method.titrant import Titrant
from titrator.method.vessel import Vessel

DROP_mL: Final = 0.05
"""A drop from a burette's tip is 0.03 to 0.05 mL (common practice): smaller additions hang there and fall later."""

LEAST_OXIDISED: Final = 1e-6
"""No sample of a reduced analyte is purer: air and the salt itself put more of the oxidised form in (judged by us)."""
MOST_OXIDISED: Final = 0.99
"""A sample that is oxidised further is hardly one to titrate (judged by us)."""
POTENTIAL_MARGIN_mV: Final = 50.0
"""Formal potentials of one medium differ by some 35 mV from table to table (iron in perchloric acid: 0.732 and
0.767 V), and a medium is not always the 1 mol/L for which they are tabulated."""


def expected_volumes_mL(sample: Sample, titrant: Titrant, reaction: Reaction) -> tuple[float, float] | None:
    """Return the volumes of titrant, lowest and highest, that the expected sample takes; None if nothing is expected.

    V = c_sample·V_aliquot/(dilution·moles of analyte per mole of titrant·c_titrant).
    """
    if sample.expected is None:
        return None
    per_mol_per_L_mL = sample.aliquot.value_mL / (
        sample.dilution.value * reaction.analyte_per_titrant * titrant.concentration.value_mol_per_L
    )
    return sample.expected.low_mol_per_L * per_mol_per_L_mL, sample.expected.high_mol_per_L * per_mol_per_L_mL


def expected_sample_fits_the_volume(
    sample: Sample, titrant: Titrant, reaction: Reaction, ends_when: EndsWhen
) -> Iterable[Finding]:
    """The volume at which the titration ends lies behind the equivalence point of every expected sample."""
    volumes_mL = expected_volumes_mL(sample, titrant, reaction)
    if volumes_mL is not None and ends_when.volume_above_mL <= volumes_mL[1]:
        assert sample.expected is not None
        yield Finding(
            ("ends_when", "volume_above"),
            f"expected more than {volumes_mL[1]:.4g} mL, which the strongest expected sample takes "
            f"({sample.expected.high_mol_per_L:g} mol/L, the key to of sample.expected), got "
            f"{ends_when.volume_above_mL:g} mL: it would end before the equivalence point",
        )


def first_addition_leaves_a_curve(
    sample: Sample, titrant: Titrant, reaction: Reaction, additions: Additions
) -> Iterable[Finding]:
    """The first addition does not jump over the whole curve of the weakest expected sample."""
    volumes_mL = expected_volumes_mL(sample, titrant, reaction)
    if volumes_mL is not None and additions.begins_with_mL >= volumes_mL[0]:
        assert sample.expected is not None
        yield Finding(
            ("additions", additions.begins_with_key),
            f"expected less than {volumes_mL[0]:.4g} mL, all that the weakest expected sample takes "
            f"({sample.expected.low_mol_per_L:g} mol/L, the key from of sample.expected), got "
            f"{additions.begins_with_mL:g} mL",
        )


def drops_fall(vessel: Vessel, additions: Additions) -> Iterable[Finding]:
    """What is smaller than a drop reaches the solution only from a tip that is immersed."""
    if vessel.tip == "above" and additions.smallest_mL < DROP_mL:
        yield Finding(
            ("additions", additions.smallest_key),
            f"expected at least {DROP_mL:g} mL, a drop, where the tip is above the liquid (less would hang there and "
            f"fall later; or immerse the tip: vessel.tip), got {additions.smallest_mL:g} mL",
        )


def start_is_one_that_the_reaction_gives(
    reaction: Reaction, medium: Medium, electrode: Electrode, sample: Sample
) -> Iterable[Finding]:
    """The start window holds a potential that the analyte can have, and none behind the equivalence point."""
    balance = _balance(reaction, medium, electrode)
    if balance is None or sample.kind == "blank":  # without analyte the start potential is anybody's guess
        return
    low_mV, high_mV = electrode.start_window_mV
    slope_mV = balance.slope_mV / balance.analyte_electrons
    purest_mV, rawest_mV = (
        balance.analyte_mV + slope_mV * math.log(share / (1 - share)) for share in (LEAST_OXIDISED, MOST_OXIDISED)
    )
    least_mV, most_mV = purest_mV - POTENTIAL_MARGIN_mV, rawest_mV + POTENTIAL_MARGIN_mV
    against = f"{reaction.analyte} in {medium.acid} stands against {electrode.reference}, {electrode.filling}"
    if high_mV < least_mV or low_mV > most_mV:
        yield Finding(
            ("electrode", "start_window"),
            f"expected a window that meets {least_mV:.0f} to {most_mV:.0f} mV, where {against}, with "
            f"{LEAST_OXIDISED:g} to {MOST_OXIDISED:g} of it oxidised, got {low_mV:g} to {high_mV:g} mV",
        )
    elif high_mV > balance.equivalence_mV:
        yield Finding(
            ("electrode", "start_window", 1),
            f"expected less than {balance.equivalence_mV:.0f} mV, the potential at the equivalence point (a sample "
            f"there is titrated already), got {high_mV:g} mV",
        )


def _balance(reaction: Reaction, medium: Medium, electrode: Electrode) -> RedoxBalance | None:
    """Return the balance against the reference electrode in mV, or None where a section is wrong (told elsewhere)."""
    known = reaction.known
    if known is None or medium.acid not in known.acids:
        return None
    try:
        reference_V = reference_potential_V(electrode.reference, electrode.filling, medium.temperature_C)
    except (KeyError, ValueError):
        return None
    analyte_mV, titrant_mV = known.potentials_against_mV(medium.acid, reference_V)
    return RedoxBalance(
        analyte_mV=analyte_mV,
        titrant_mV=titrant_mV,
        slope_mV=nernst_slope_mV(medium.temperature_C),
        analyte_electrons=known.analyte.electrons,
        titrant_electrons=known.titrant.electrons,
    )


CHECKS = (
    expected_sample_fits_the_volume,
    first_addition_leaves_a_curve,
    drops_fall,
    start_is_one_that_the_reaction_gives,
)
"""Every check of this module."""
