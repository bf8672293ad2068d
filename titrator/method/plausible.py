"""What volumes the expected sample makes impossible. Each check names the sections that it needs, yields findings."""

from collections.abc import Iterable
from itertools import accumulate
from typing import Final

from titrator.files import Finding
from titrator.method.additions import Additions
from titrator.method.ends_when import EndsWhen
from titrator.method.find import Find
from titrator.method.reaction import Reaction
from titrator.method.sample import Sample
from titrator.method.titrant import Titrant
from titrator.method.vessel import Vessel

DROP_mL: Final = 0.05
"""A drop from a burette's tip is 0.03 to 0.05 mL (common practice): smaller additions hang there and fall later."""


def expected_points_mL(sample: Sample, titrant: Titrant, reaction: Reaction) -> list[tuple[float, float]]:
    """Return the volumes of titrant, lowest and highest, at each equivalence point of the expected sample, in order.

    Each step takes c_sample·V_aliquot/(dilution·moles of analyte per mole of titrant·c_titrant) more than the one
    before. Empty where nothing is expected; shorter than the reaction where not every step has its expectation.
    """
    per_mol_per_L_mL = sample.aliquot.value_mL / (sample.dilution.value * titrant.concentration.value_mol_per_L)
    steps = list(zip(sample.expectations, reaction.ratios, strict=False))
    lowest = accumulate(each.low_mol_per_L * per_mol_per_L_mL / ratio for each, ratio in steps)
    highest = accumulate(each.high_mol_per_L * per_mol_per_L_mL / ratio for each, ratio in steps)
    return list(zip(lowest, highest, strict=True))


def expected_volumes_mL(
    sample: Sample, titrant: Titrant, reaction: Reaction, points: int = 1
) -> tuple[float, float] | None:
    """Return the same for the last of so many points that are sought; None where nothing is expected of it."""
    expected = expected_points_mL(sample, titrant, reaction)
    return expected[points - 1] if 1 <= points <= len(expected) else None


def expectations_match_the_steps(sample: Sample, reaction: Reaction) -> Iterable[Finding]:
    """Each further analyte has its expected range, or none has one."""
    if sample.then and len(sample.then) != len(reaction.then):
        yield Finding(
            ("sample", "then"),
            f"expected as many entries as the key then of reaction has, {len(reaction.then)}, got {len(sample.then)}",
        )


def expected_sample_fits_the_volume(
    sample: Sample, titrant: Titrant, reaction: Reaction, ends_when: EndsWhen, find: Find
) -> Iterable[Finding]:
    """The volume at which the titration ends lies behind the last point sought of every expected sample."""
    volumes_mL = expected_volumes_mL(sample, titrant, reaction, max(1, find.equivalence_points))
    if volumes_mL is not None and ends_when.volume_above_mL <= volumes_mL[1]:
        yield Finding(
            ("ends_when", "volume_above"),
            f"expected more than {volumes_mL[1]:.4g} mL, which the strongest expected sample takes "
            f"({_strengths(sample, find, 'to')}), got {ends_when.volume_above_mL:g} mL: it would end before the "
            f"{'last ' * (find.equivalence_points > 1)}equivalence point{' sought' * (find.equivalence_points > 1)}",
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
            f"{'to its first point ' * bool(reaction.then)}({sample.expected.low_mol_per_L:g} mol/L, the key from of "
            f"sample.expected), got {additions.begins_with_mL:g} mL",
        )


def drops_fall(vessel: Vessel, additions: Additions) -> Iterable[Finding]:
    """What is smaller than a drop reaches the solution only from a tip that is immersed."""
    if vessel.tip == "above" and additions.smallest_mL < DROP_mL:
        yield Finding(
            ("additions", additions.smallest_key),
            f"expected at least {DROP_mL:g} mL, a drop, where the tip is above the liquid (less would hang there and "
            f"fall later; or immerse the tip: vessel.tip), got {additions.smallest_mL:g} mL",
        )


def _strengths(sample: Sample, find: Find, key: str) -> str:
    counted = sample.expectations[: max(1, find.equivalence_points)]
    strengths = " and ".join(f"{each.high_mol_per_L:g} mol/L" for each in counted)
    return f"{strengths}, the key {key} of sample.expected{' and sample.then' * (len(counted) > 1)}"


CHECKS = (
    expectations_match_the_steps,
    expected_sample_fits_the_volume,
    first_addition_leaves_a_curve,
    drops_fall,
)
"""Every check of this module."""
