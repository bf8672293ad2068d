"""What the sections of a method mean together. Each check names the sections that it needs and yields findings."""

import math
from collections.abc import Iterable

from titrator.chemistry.references import find_reference
from titrator.files import Finding
from titrator.method.additions import Additions
from titrator.method.cautions import Cautions
from titrator.method.electrode import Electrode
from titrator.method.ends_when import EndsWhen
from titrator.method.find import Find
from titrator.method.medium import Medium
from titrator.method.plausible import CHECKS as PLAUSIBILITY_CHECKS
from titrator.method.reaction import Reaction
from titrator.method.reading import Reading
from titrator.method.sample import Sample
from titrator.method.titrant import Titrant
from titrator.method.vessel import Vessel

ROUNDING_mL = 1e-9  # sums of volumes that the file states exactly
ROUNDING_SHARE = 1e-9  # the same concentration in another unit
FORMAL_WITHIN = (0.2, 3.0)
"""mol/L of acid within which the formal potentials of 1 mol/L serve as a start: the fit finds the potentials
themselves, and the prior's ±30 mV covers a threefold change of acid or so (common practice; no source)."""


def nothing_runs_over(vessel: Vessel, ends_when: EndsWhen) -> Iterable[Finding]:
    """Fill, rinsing and all the titrant that may come must find room in the vessel."""
    total_mL = vessel.fill_mL + vessel.rinse_mL + ends_when.volume_above_mL
    if vessel.fill_mL <= vessel.capacity_mL < total_mL - ROUNDING_mL:
        room_mL = max(0.0, vessel.capacity_mL - vessel.fill_mL - vessel.rinse_mL)
        yield Finding(
            ("ends_when", "volume_above"),
            f"expected at most {room_mL:g} mL (what the vessel of {vessel.capacity_mL:g} mL has room for beside "
            f"{vessel.fill_mL:g} mL fill and {vessel.rinse_mL:g} mL rinse), got {ends_when.volume_above_mL:g} mL: it "
            "would overflow",
        )


def fill_holds_what_was_put_in(sample: Sample, medium: Medium, vessel: Vessel) -> Iterable[Finding]:
    """Aliquot and medium are in the vessel at the start; what more there is, is water."""
    put_in_mL = sample.aliquot.value_mL + medium.volume_mL
    if vessel.fill_mL < put_in_mL - ROUNDING_mL:
        yield Finding(
            ("vessel", "fill"),
            f"expected at least {put_in_mL:g} mL ({sample.aliquot.value_mL:g} mL aliquot and {medium.volume_mL:g} mL "
            f"medium), got {vessel.fill_mL:g} mL",
        )


def additions_fit_the_volume(additions: Additions, ends_when: EndsWhen) -> Iterable[Finding]:
    """One addition cannot be larger than all of them together."""
    if additions.largest_mL > ends_when.volume_above_mL:
        yield Finding(
            ("additions", additions.largest_key),
            f"expected at most the {ends_when.volume_above_mL:g} mL at which the titration ends (volume_above), got "
            f"{additions.largest_mL:g} mL",
        )


def aim_stands_above_noise(additions: Additions, reading: Reading) -> Iterable[Finding]:
    """A rule that learns from changes of potential needs changes that the noise of a reading does not make."""
    if additions.rule == "adaptive" and additions.aim_mV < 3 * reading.noise_mV:
        yield Finding(
            ("additions", "aim"),
            f"expected at least {3 * reading.noise_mV:g} mV, three times the noise of a reading (smaller changes "
            f"cannot be told from it), got {additions.aim_mV:g} mV",
        )


def electrode_shows_in_time(electrode: Electrode, ends_when: EndsWhen) -> Iterable[Finding]:
    """A dead electrode must be found out before the titration would have ended anyway."""
    if electrode.answers_within_mL >= ends_when.volume_above_mL:
        yield Finding(
            ("electrode", "answers_within"),
            f"expected less than the {ends_when.volume_above_mL:g} mL at which the titration ends (volume_above), got "
            f"{electrode.answers_within_mL:g} mL",
        )


def end_lies_outside_the_start(electrode: Electrode, ends_when: EndsWhen) -> Iterable[Finding]:
    """A potential that ends the titration must not be one at which it may start."""
    low_mV, high_mV = electrode.start_window_mV
    end_mV = ends_when.potential_beyond_mV
    if end_mV is not None and low_mV <= end_mV <= high_mV:
        yield Finding(
            ("ends_when", "potential_beyond"),
            f"expected a potential outside the start window of {low_mV:g} to {high_mV:g} mV, got {end_mV:g} mV",
        )


def time_allows_a_reading(reading: Reading, ends_when: EndsWhen) -> Iterable[Finding]:
    """The whole titration takes longer than one reading."""
    if ends_when.time_over_s <= reading.longest_wait_s:
        yield Finding(
            ("ends_when", "time_over"),
            f"expected more than the longest wait for one reading ({reading.longest_wait_s:g} s), got "
            f"{ends_when.time_over_s:g} s",
        )


def only_a_blank_seeks_nothing(sample: Sample, find: Find) -> Iterable[Finding]:
    """No point is sought exactly where the sample is a blank; one analyte gives one point."""
    sought = find.equivalence_points
    at = ("find", "equivalence_points")
    if sample.kind == "blank" and sought != 0:
        yield Finding(at, f"expected 0 for a blank, got {sought}")
    if sample.kind != "blank" and sought == 0:
        yield Finding(at, f'expected at least 1 where sample.kind is "{sample.kind}" (only a blank seeks none), got 0')
    if sample.kind != "blank" and sought > 1:
        yield Finding(at, f"expected 1 (one analyte in one reaction gives one point), got {sought}")


def acid_suits_the_reaction(reaction: Reaction, medium: Medium) -> Iterable[Finding]:
    """The potentials of a reaction are known in certain acids only, and iron(II) hydrolyses without any."""
    known = reaction.known
    if known is not None and medium.acid not in known.acids:
        yield Finding(
            ("medium", "acid"),
            f"expected {' or '.join(known.acids)} for {reaction.analyte} with {reaction.titrant}, got {medium.acid}",
        )


def reference_knows_the_temperature(electrode: Electrode, medium: Medium) -> Iterable[Finding]:
    """The potential of the reference electrode is tabulated over a range of temperature."""
    try:
        find_reference(electrode.reference, electrode.filling).potential_V(medium.temperature_C)
    except KeyError:
        return  # told where the section is checked
    except ValueError as error:
        text = f"expected a temperature in the reference electrode's table, got {medium.temperature_C:g} °C ({error})"
        yield Finding(("medium", "temperature"), text)


def acid_is_cautioned(medium: Medium, cautions: Cautions) -> Iterable[Finding]:
    """Whoever works with the acid is warned of it, at the strength at which it is handled."""
    if medium.acid == "none":
        return
    places = [place for place, substance in enumerate(cautions.substances) if substance.name == medium.acid]
    if not places:
        names = [substance.name for substance in cautions.substances]
        yield Finding(
            ("cautions", "substances"),
            f"expected {medium.acid} (the medium) among the substances, got {', '.join(names) or 'none'}",
        )
    else:
        yield from _told_too_weak(cautions, places, medium.concentration_mol_per_L, "medium")


def titrant_is_cautioned(reaction: Reaction, titrant: Titrant, cautions: Cautions) -> Iterable[Finding]:
    """Whoever works with the titrant is warned of one of its salts, at the strength at which it is handled."""
    names = [substance.name for substance in cautions.substances]
    places = [place for place, name in enumerate(names) if reaction.titrant in name]
    yield from _told_too_weak(cautions, places, titrant.concentration.value_mol_per_L, "titrant")
    if not places:
        yield Finding(
            ("cautions", "substances"),
            f"expected a salt of {reaction.titrant} (the titrant) among the substances, got "
            f"{', '.join(names) or 'none'}",
        )


def _told_too_weak(cautions: Cautions, places: list[int], strength_mol_per_L: float, where: str) -> Iterable[Finding]:
    """The same substance may stand there twice; the strongest of them must be as strong as what is handled."""
    told = [cautions.substances[place].concentration_mol_per_L for place in places]
    strongest = max((math.inf if each is None else each for each in told), default=math.inf)
    if strongest < strength_mol_per_L * (1 - ROUNDING_SHARE):
        yield Finding(
            ("cautions", "substances", places[0], "concentration"),
            f"expected at least the {strength_mol_per_L:g} mol/L of the {where} (a weaker solution may carry a milder "
            f"hazard), got {strongest:g} mol/L",
        )


def medium_is_one_of_the_tables(reaction: Reaction, medium: Medium) -> Iterable[Finding]:
    """Formal potentials are tabulated for 1 mol/L of the acid; far from that they are another medium's."""
    known = reaction.known
    if known is None or medium.acid not in known.acids:
        return
    low, high = FORMAL_WITHIN
    if not low <= medium.concentration_mol_per_L <= high:
        yield Finding(
            ("medium", "concentration"),
            f"expected {low:g} to {high:g} mol/L (the formal potentials known here are those of 1 mol/L "
            f"{medium.acid}), got {medium.concentration_mol_per_L:g} mol/L",
        )


CHECKS = (
    nothing_runs_over,
    fill_holds_what_was_put_in,
    additions_fit_the_volume,
    aim_stands_above_noise,
    electrode_shows_in_time,
    end_lies_outside_the_start,
    time_allows_a_reading,
    only_a_blank_seeks_nothing,
    acid_suits_the_reaction,
    reference_knows_the_temperature,
    acid_is_cautioned,
    titrant_is_cautioned,
    medium_is_one_of_the_tables,
    *PLAUSIBILITY_CHECKS,
)
"""Every check between sections."""
