"""What suits a reaction: medium, electrode, junction, reagents, gas, warmth, and what else the sample contains."""

from collections.abc import Iterable

from titrator.chemistry.interferences import interferences
from titrator.chemistry.references import find_reference
from titrator.chemistry.suitability import (
    BRIDGES,
    REAGENTS,
    Objection,
    gas_objection,
    junction_objections,
    missing_reagents,
    reagents_of,
    warmth_objection,
)
from titrator.files import Finding
from titrator.method.electrode import Electrode
from titrator.method.medium import Medium
from titrator.method.reaction import Reaction
from titrator.method.sample import Sample
from titrator.method.vessel import Vessel

ROUNDING_SHARE = 1e-9  # the same concentration in another unit


def medium_suits_the_reaction(reaction: Reaction, medium: Medium) -> Iterable[Finding]:
    """The constants of a reaction are known in certain media only, and iron(II) hydrolyses without acid."""
    known = reaction.known
    if known is None or medium.of(known.media) is not None:
        return
    names = " or ".join(
        f"{each.name} (as the key {'buffer' if each.kind == 'buffer' else 'acid'})"
        if each.kind != "acid"
        else each.name
        for each in known.media
    )
    yield Finding(("medium", medium.key), f"expected {names} for {reaction.named}, got {medium.name}")


def medium_is_one_of_the_tables(reaction: Reaction, medium: Medium) -> Iterable[Finding]:
    """Constants hold within certain strengths of the medium and, for a buffer, within certain pH."""
    table = None if reaction.known is None else medium.of(reaction.known.media)
    if table is None or table.kind == "water":
        return
    low, high = table.least_mol_per_L, table.most_mol_per_L
    strength = medium.concentration_mol_per_L
    if not low * (1 - ROUNDING_SHARE) <= strength <= high * (1 + ROUNDING_SHARE):
        formal = f"1 mol/L {table.name}"
        why = (
            f"the formal potentials known here are those of {formal}"
            if formal in table.potentials
            else f"the strengths of {table.name} at which this titration is known here"
        )
        at = ("medium", "concentration")
        yield Finding(at, f"expected {low:g} to {high:g} mol/L ({why}), got {strength:g} mol/L")
    if table.pH is not None and medium.pH is not None and not table.pH[0] <= medium.pH <= table.pH[1]:
        yield Finding(
            ("medium", "pH"),
            f"expected a pH from {table.pH[0]:g} to {table.pH[1]:g}, which {table.name} holds, got {medium.pH:g}",
        )


def indicator_follows_the_reaction(reaction: Reaction, electrode: Electrode) -> Iterable[Finding]:
    """Platinum does not follow the pH, glass no redox potential."""
    known = reaction.known
    if known is not None and electrode.indicator not in known.indicators:
        at = ("electrode", "indicator")
        yield Finding(at, f"expected {' or '.join(known.indicators)} for {reaction.named}, got {electrode.indicator}")


def junction_suits_the_solution(reaction: Reaction, medium: Medium, electrode: Electrode) -> Iterable[Finding]:
    """What leaks from the junction must neither react with the titrant nor precipitate in the frit."""
    known = reaction.known
    if known is None or medium.of(known.media) is None or electrode.bridge not in (None, *BRIDGES):
        return
    key, touching = ("bridge", electrode.bridge) if electrode.bridge else ("filling", electrode.filling)
    for objection in junction_objections(known, medium.name, electrode.bridge):
        yield _finding(("electrode", key), objection, f"{touching} at the junction")


def reagents_suit_the_reaction(
    reaction: Reaction, medium: Medium, electrode: Electrode, sample: Sample
) -> Iterable[Finding]:
    """What is needed is there, and what is there is of use."""
    known = reaction.known
    if known is None:
        return
    for number, name in enumerate(medium.reagents):
        if not REAGENTS[name].serves(known):
            serving = ", ".join(reagents_of(known)) or "none"
            yield Finding(
                ("medium", "reagents", number), f"expected reagents for {reaction.named} ({serving}), got {name}"
            )
    if electrode.indicator in known.indicators:
        for name, objection in missing_reagents(known, electrode.indicator, sample.contains):
            if name not in medium.reagents:
                at = ("medium", "reagents") if medium.reagents else ("medium",)
                yield _finding(at, objection, ", ".join(medium.reagents) or "none")


def gas_suits_the_reaction(reaction: Reaction, vessel: Vessel) -> Iterable[Finding]:
    """Air oxidises some analytes; a stream of gas carries others off."""
    objection = reaction.known and gas_objection(reaction.known, vessel.gas)
    if objection:
        yield _finding(
            ("vessel", "gas") if vessel.gas else ("vessel",), objection, vessel.gas or "a vessel open to air"
        )


def warmth_suits_the_reaction(reaction: Reaction, medium: Medium) -> Iterable[Finding]:
    """Some substances evaporate or decompose where it is warm."""
    objection = reaction.known and warmth_objection(reaction.known, medium.temperature_C)
    if objection:
        yield _finding(("medium", "temperature"), objection, f"{medium.temperature_C:g} °C")


def companions_do_no_harm(reaction: Reaction, medium: Medium, sample: Sample) -> Iterable[Finding]:
    """What else is in the sample must not make the result wrong, or the work dangerous."""
    known = reaction.known
    if known is None:
        return
    for companion, does in interferences(known, medium.name, medium.reagents, sample.contains):
        if does.verdict == "refused":
            yield Finding(
                ("sample", "contains", sample.contains.index(companion)),
                f"expected a sample without {companion} for {reaction.named} ({does.why}; "
                f"{does.source}), got {companion}",
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


def _finding(at: tuple[str | int, ...], objection: Objection, came: str) -> Finding:
    return Finding(at, f"expected {objection.wanted}, for {objection.why} ({objection.source}), got {came}")


CHECKS = (
    medium_suits_the_reaction,
    medium_is_one_of_the_tables,
    indicator_follows_the_reaction,
    junction_suits_the_solution,
    reagents_suit_the_reaction,
    gas_suits_the_reaction,
    warmth_suits_the_reaction,
    companions_do_no_harm,
    reference_knows_the_temperature,
)
"""Every check of this module."""
