"""Whoever works with titrant, medium, reagents and gas is warned of them, at the strength at which they are handled."""

import math
from collections.abc import Iterable

from titrator.chemistry.reactions import WATER
from titrator.chemistry.suitability import REAGENTS
from titrator.files import Finding
from titrator.method.cautions import Cautions
from titrator.method.medium import Medium
from titrator.method.reaction import Reaction
from titrator.method.titrant import Titrant
from titrator.method.vessel import Vessel

ROUNDING_SHARE = 1e-9  # the same concentration in another unit

TITRANTS: dict[str, tuple[str, ...]] = {
    "cerium(IV)": ("cerium(IV) sulfate", "ammonium cerium(IV) nitrate"),
    "permanganate": ("potassium permanganate",),
    "dichromate": ("potassium dichromate",),
    "iodine": ("iodine solution",),
    "thiosulfate": ("sodium thiosulfate",),
    "hydroxide": ("sodium hydroxide", "potassium hydroxide"),
    "hydrochloric acid": ("hydrochloric acid",),
    "silver": ("silver nitrate",),
    "EDTA": ("disodium EDTA",),
}
"""The substances of the hazard table from which each titrant is made."""
LABEL_SHARE = 0.02
"""How far a concentration that is computed (0.1002) may lie above the one on the label (0.1); no hazard turns on it."""


def medium_is_cautioned(medium: Medium, cautions: Cautions) -> Iterable[Finding]:
    """Acid and buffer are told of, at their strength."""
    if medium.name == WATER:
        return
    places = [place for place, substance in enumerate(cautions.substances) if substance.name == medium.name]
    if places:
        yield from _told_too_weak(cautions, places, medium.concentration_mol_per_L, "medium")
    else:
        yield _missing(cautions, f"{medium.name} (the medium)")


def reagents_are_cautioned(medium: Medium, cautions: Cautions) -> Iterable[Finding]:
    """So is what else is put into the vessel; its strength is the laboratory's."""
    told = {substance.name for substance in cautions.substances}
    for reagent in medium.reagents:
        if reagent in REAGENTS:
            for substance in REAGENTS[reagent].substances:
                if substance not in told:
                    yield _missing(cautions, f"{substance} (of the reagents)")
                    told.add(substance)


def gas_is_cautioned(vessel: Vessel, cautions: Cautions) -> Iterable[Finding]:
    """An inert gas is not poisonous; it suffocates without warning."""
    if vessel.gas and vessel.gas not in [substance.name for substance in cautions.substances]:
        yield _missing(cautions, f"{vessel.gas} (the gas over the vessel)")


def titrant_is_cautioned(reaction: Reaction, titrant: Titrant, cautions: Cautions) -> Iterable[Finding]:
    """Whoever works with the titrant is warned of what it is made from, at the strength at which it is handled."""
    made_from = TITRANTS.get(reaction.titrant, ())
    places = [place for place, substance in enumerate(cautions.substances) if substance.name in made_from]
    if places:
        share = ROUNDING_SHARE if titrant.stated is not None else LABEL_SHARE
        yield from _told_too_weak(cautions, places, titrant.concentration.value_mol_per_L, "titrant", share)
    elif made_from:
        yield _missing(cautions, f"{' or '.join(made_from)} (the titrant)")


def _missing(cautions: Cautions, wanted: str) -> Finding:
    names = [substance.name for substance in cautions.substances]
    return Finding(
        ("cautions", "substances"), f"expected {wanted} among the substances, got {', '.join(names) or 'none'}"
    )


def _told_too_weak(
    cautions: Cautions, places: list[int], strength_mol_per_L: float, where: str, share: float = ROUNDING_SHARE
) -> Iterable[Finding]:
    """The same substance may stand there twice; the strongest of them must be as strong as what is handled."""
    told = [cautions.substances[place].concentration_mol_per_L for place in places]
    strongest = max((math.inf if each is None else each for each in told), default=math.inf)
    if strongest < strength_mol_per_L * (1 - share):
        yield Finding(
            ("cautions", "substances", places[0], "concentration"),
            f"expected at least the {strength_mol_per_L:g} mol/L of the {where} (a weaker solution may carry a milder "
            f"hazard), got {strongest:g} mol/L",
        )


CHECKS = (
    medium_is_cautioned,
    reagents_are_cautioned,
    gas_is_cautioned,
    titrant_is_cautioned,
)
"""Every check of this module."""
