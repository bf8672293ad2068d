"""What the sections of a method mean together. Each check names the sections that it needs and yields findings."""

from collections.abc import Iterable

from titrator.files import Finding
from titrator.method.additions import Additions
from titrator.method.cautioned import CHECKS as CAUTION_CHECKS
from titrator.method.electrode import Electrode
from titrator.method.ends_when import EndsWhen
from titrator.method.find import Find
from titrator.method.measured import MeasuredVolume
from titrator.method.medium import Medium
from titrator.method.plausible import CHECKS as PLAUSIBILITY_CHECKS
from titrator.method.reaction import Reaction
from titrator.method.reading import Reading
from titrator.method.result import Result
from titrator.method.sample import Sample
from titrator.method.start_window import CHECKS as START_CHECKS
from titrator.method.suits import CHECKS as SUITABILITY_CHECKS
from titrator.method.titrant import Titrant
from titrator.method.vessel import Vessel

ROUNDING_mL = 1e-9  # sums of volumes that the file states exactly


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


def only_a_blank_seeks_nothing(reaction: Reaction, sample: Sample, find: Find) -> Iterable[Finding]:
    """No point is sought exactly where the sample is a blank; each step of the reaction gives one point at most."""
    sought, most = find.equivalence_points, len(reaction.analytes)
    at = ("find", "equivalence_points")
    if sample.kind == "blank" and sought != 0:
        yield Finding(at, f"expected 0 for a blank, got {sought}")
    if sample.kind != "blank" and sought == 0:
        yield Finding(at, f'expected at least 1 where sample.kind is "{sample.kind}" (only a blank seeks none), got 0')
    if sample.kind != "blank" and sought > most:
        wanted = (
            "expected 1 (one analyte in one reaction gives one point)"
            if most == 1
            else f"expected 1 to {most} (each step of {reaction.named} gives one point)"
        )
        yield Finding(at, f"{wanted}, got {sought}")


def every_point_has_its_result(reaction: Reaction, find: Find, result: Result) -> Iterable[Finding]:
    """What is found is reported, under a name of its own."""
    sought, further = min(find.equivalence_points, len(reaction.analytes)), len(result.then)
    if sought and sought - 1 != further:
        yield Finding(
            ("result", "then") if further else ("result",),
            f"expected {sought - 1} further result{'s' * (sought != 2)} (the key then: find.equivalence_points is "
            f"{sought}), got {further}",
        )
    if not sought and further:
        yield Finding(("result", "then"), f"expected no key then for a blank, got {further}")
    for number, name in enumerate(result.names):
        if name in result.names[:number]:
            yield Finding(
                ("result", "then", number - 1, "name"), f"expected a name of its own for each result, got {name} again"
            )


def unit_suits_the_sample(sample: Sample, result: Result) -> Iterable[Finding]:
    """A mass fraction needs a mass of sample; a concentration in a weighed one would be that of its solution."""
    fractions = ("%", "g/100 g", "mg/g")
    if sample.mass is None and result.unit in fractions:
        yield Finding(
            ("result", "unit"), f"expected mol/L, mmol/L, g/L, mg/L or mmol without sample.mass, got {result.unit}"
        )
    if sample.mass is not None and result.unit not in (*fractions, "mmol"):
        told = ", ".join(fractions)
        yield Finding(
            ("result", "unit"), f"expected {told} or mmol of a weighed sample (sample.mass), got {result.unit}"
        )


def a_vessel_is_one(sample: Sample, titrant: Titrant) -> Iterable[Finding]:
    """What bears one name is one pipette or flask: of one volume and tolerance."""
    places: list[tuple[tuple[str | int, ...], MeasuredVolume]] = [(("sample", "aliquot"), sample.aliquot)]
    if sample.made_up_to is not None:
        places.append((("sample", "made_up_to"), sample.made_up_to))
    for number, step in enumerate(sample.dilutions):
        places.append((("sample", "dilutions", number, "portion"), step.portion))
        places.append((("sample", "dilutions", number, "made_up_to"), step.made_up_to))
    if titrant.prepared is not None:
        places.append((("titrant", "prepared", "flask"), titrant.prepared.flask))
    known: dict[str, MeasuredVolume] = {}
    for at, told in places:
        if told.vessel is None:
            continue
        first = known.setdefault(told.vessel, told)
        if (first.value_mL, first.tolerance_mL) != (told.value_mL, told.tolerance_mL):
            yield Finding(
                (*at, "vessel"),
                f"expected one volume and tolerance under one name ({first.value_mL:g} mL, {first.tolerance_mL:g} mL), "
                f"got {told.value_mL:g} mL, {told.tolerance_mL:g} mL for {told.vessel}: name another vessel otherwise",
            )


def extrapolation_finds_something(find: Find) -> Iterable[Finding]:
    """What is extrapolated is a point that is sought."""
    if find.by == "extrapolation" and find.equivalence_points == 0:
        yield Finding(
            ("find", "by"), "expected jump (or no key by) for a blank, which seeks no point, got extrapolation"
        )


CHECKS = (
    unit_suits_the_sample,
    a_vessel_is_one,
    extrapolation_finds_something,
    nothing_runs_over,
    fill_holds_what_was_put_in,
    additions_fit_the_volume,
    aim_stands_above_noise,
    electrode_shows_in_time,
    end_lies_outside_the_start,
    time_allows_a_reading,
    only_a_blank_seeks_nothing,
    every_point_has_its_result,
    *SUITABILITY_CHECKS,
    *CAUTION_CHECKS,
    *PLAUSIBILITY_CHECKS,
    *START_CHECKS,
)
"""Every check between sections."""
