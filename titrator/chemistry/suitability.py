"""Which electrodes, junctions, reagents and gases suit which reaction, as data, with the reason and source of each.

`source` says what a judgement rests on: "common practice" is what laboratories do and textbooks agree on; "from memory"
is remembered and was not looked up. What else a sample may contain: `titrator.chemistry.interferences`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

from titrator.chemistry.reactions import Reaction

Source = Literal["common practice", "from memory"]


class Objection(NamedTuple):
    """What a reaction needs, and why: `wanted` completes "expected …", `why` follows "for"."""

    wanted: str
    why: str
    source: Source


# ---------------------------------------------------------------------------------------------------------- junctions
BRIDGES: dict[str, tuple[str, str]] = {
    "1 mol/L KNO3": ("potassium", "nitrate"),
    "1 mol/L NaNO3": ("sodium", "nitrate"),
    "1 mol/L NH4NO3": ("ammonium", "nitrate"),
    "1 mol/L K2SO4": ("potassium", "sulfate"),
    "1 mol/L Na2SO4": ("sodium", "sulfate"),
    "1 mol/L lithium acetate": ("lithium", "acetate"),
    "3 mol/L KCl": ("potassium", "chloride"),
    "3 mol/L NaCl": ("sodium", "chloride"),
}
"""Outer fillings of double junctions, with the ions that leak from them. 1 mol/L K2SO4 is above its solubility at 20 °C
(0.6 mol/L), so such a filling stands over its crystals."""

_INNER = ("potassium", "chloride")  # every reference electrode of the table is filled with potassium chloride


def junction_ions(bridge: str | None) -> tuple[str, str]:
    """Ions that leak into the solution: of the bridge, else of the reference electrode's own filling."""
    return _INNER if bridge is None else BRIDGES[bridge]


@dataclass(frozen=True, slots=True)
class JunctionRule:
    """An ion that must not leak from the junction where `applies`."""

    ion: str
    applies: Callable[[Reaction, str], bool]
    why: str
    source: Source


JUNCTION_RULES: tuple[JunctionRule, ...] = (
    JunctionRule(
        "chloride",
        lambda reaction, _: reaction.titrant == "silver",
        "chloride that leaks from the junction is titrated, and silver chloride clogs the frit",
        "common practice",
    ),
    JunctionRule(
        "potassium",
        lambda _, medium: medium == "perchloric acid",
        "potassium perchlorate is hardly soluble and clogs the frit",
        "common practice",
    ),
    JunctionRule(
        "ammonium",
        lambda reaction, _: reaction.family == "acid-base",
        "ammonium that leaks from the junction is an acid of its own",
        "from memory",
    ),
    JunctionRule(
        "acetate",
        lambda reaction, _: reaction.family == "acid-base",
        "acetate that leaks from the junction is a base of its own",
        "from memory",
    ),
    JunctionRule(
        "sulfate",
        lambda reaction, _: reaction.titrant == "EDTA" and "calcium" in reaction.analytes,
        "calcium sulfate may precipitate in the frit",
        "from memory",
    ),
)
"""What must not leak into which solution."""


def junction_objections(reaction: Reaction, medium: str, bridge: str | None) -> Iterator[Objection]:
    """What speaks against the junction: the ions that leak from it, in this medium."""
    leaking = junction_ions(bridge)
    unwanted = {rule.ion for rule in JUNCTION_RULES if rule.applies(reaction, medium)}
    serving = [name for name, ions in BRIDGES.items() if not unwanted & set(ions)]
    for rule in JUNCTION_RULES:
        if rule.ion in leaking and rule.applies(reaction, medium):
            wanted = f"an outer filling without {rule.ion} (a double junction: {', '.join(serving)})"
            yield Objection(wanted, rule.why, rule.source)


# ----------------------------------------------------------------------------------------------------------- reagents
INDUCED = "manganese(II) sulfate with phosphoric acid"
COPPER_COMPLEX = "copper(II) EDTA complex"
IODIDE = "potassium iodide"
BINDS_IRON = "phosphoric acid"


@dataclass(frozen=True, slots=True)
class Reagent:
    """What is put into the vessel beside the medium, for which reactions, what for, and its hazardous substances."""

    serves: Callable[[Reaction], bool]
    purpose: str
    substances: tuple[str, ...]
    source: Source = "common practice"


def _iron_by_oxidant(reaction: Reaction) -> bool:
    return reaction.family == "redox" and "iron(II)" in reaction.analytes


REAGENTS: dict[str, Reagent] = {
    INDUCED: Reagent(
        lambda reaction: _iron_by_oxidant(reaction) and reaction.titrant == "permanganate",
        "keeps permanganate from oxidising chloride beside iron(II), and binds iron(III)",
        ("manganese(II) sulfate", "phosphoric acid"),
    ),
    BINDS_IRON: Reagent(
        lambda reaction: _iron_by_oxidant(reaction) and reaction.titrant in ("permanganate", "dichromate"),
        "binds iron(III), so that the jump begins lower and is larger",
        ("phosphoric acid",),
    ),
    IODIDE: Reagent(
        lambda reaction: {"iodine", "thiosulfate"} & {reaction.titrant, *reaction.analytes} != set(),
        "keeps iodine dissolved as triiodide",
        (),
    ),
    COPPER_COMPLEX: Reagent(
        lambda reaction: reaction.family == "complexation" and "copper" not in reaction.analytes,
        "a trace of it lets a copper-ion electrode follow another metal",
        (),
    ),
}
"""Reagents by the name that a method gives them."""


def reagents_of(reaction: Reaction) -> list[str]:
    """Names of the reagents that are known for a reaction."""
    return [name for name, reagent in REAGENTS.items() if reagent.serves(reaction)]


def missing_reagents(reaction: Reaction, indicator: str, contains: tuple[str, ...]) -> Iterator[tuple[str, Objection]]:
    """Reagents without which the titration does not work, each with its objection."""
    if "iodine" in reaction.analytes and "iodide" not in contains:
        why = "without excess iodide iodine evaporates, and the potential is not that of triiodide"
        yield IODIDE, Objection(f"the reagent {IODIDE}", why, "common practice")
    if indicator == "copper-ion" and "copper" not in reaction.analytes:
        why = "the electrode follows copper only, and other metals by its complex"
        yield COPPER_COMPLEX, Objection(f"the reagent {COPPER_COMPLEX}", why, "common practice")


# --------------------------------------------------------------------------------------------------------- gas, warmth
def gas_objection(reaction: Reaction, gas: str | None) -> Objection | None:
    """What speaks against the gas, or against air where there is none."""
    if gas is None and "tin(II)" in reaction.analytes:
        return Objection(
            "inert gas (vessel.gas: nitrogen or argon)", "air oxidises tin(II) in minutes", "common practice"
        )
    volatile = [each for each in reaction.analytes if each in ("iodine", "ammonia")]
    if gas is not None and volatile:
        return Objection("no gas", f"a stream of gas carries {volatile[0]} off", "common practice")
    return None


WARMEST_C: dict[str, tuple[float, str, Source]] = {
    "iodine": (30.0, "iodine evaporates", "common practice"),
    "ammonia": (30.0, "ammonia evaporates", "common practice"),
    "ascorbic acid": (35.0, "air oxidises ascorbic acid the faster, the warmer it is", "from memory"),
    "tin(II)": (40.0, "cerium(IV) attacks the chloride of the medium where it is warm", "from memory"),
}
"""Highest temperature in °C at which an analyte or titrant is titrated, with the reason."""


def warmth_objection(reaction: Reaction, temperature_C: float) -> Objection | None:
    """What speaks against this temperature of the solution."""
    for substance in (*reaction.analytes, reaction.titrant):
        if substance in WARMEST_C and temperature_C > WARMEST_C[substance][0]:
            most_C, why, source = WARMEST_C[substance]
            return Objection(f"at most {most_C:g} °C", why, source)
    return None
