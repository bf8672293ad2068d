"""Write the tables of constants into the pages of the chemistry, from the data of the engine: python docs/constants.py.

With --check nothing is written; the pages that are not current are named, and the exit status is 1.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from titrator.chemistry.acids import (
    ACETIC,
    AMMONIUM,
    CARBONIC,
    CITRIC,
    IRON_II,
    IRON_III,
    PHOSPHORIC,
    ZINC_II,
    Acid,
    HydrolysingMetal,
)
from titrator.chemistry.chelates import CALCIUM, COPPER, DEFAULT_EDTA_SET, EDTA_SETS, MAGNESIUM, ZINC, Chelate
from titrator.chemistry.couple_table import (
    DEHYDROASCORBIC,
    DICHROMATE,
    PERMANGANATE,
    TETRATHIONATE,
    TIN,
    TRIIODIDE,
)
from titrator.chemistry.couples import CERIUM, IRON, Couple
from titrator.chemistry.precipitation import HALIDES, SILVER_V, Halide
from titrator.chemistry.reactions import REACTIONS, Reaction
from titrator.chemistry.side_reactions import SIDE_REACTIONS
from titrator.chemistry.sourced import Sourced
from titrator.chemistry.water import pKw

FOLDER = Path(__file__).parent / "chemistry"
BEGIN = "<!-- from the data, by docs/constants.py: begin -->"
END = "<!-- end -->"


@dataclass(frozen=True, slots=True)
class Page:
    """What a page is about: analytes with titrants of the table of reactions, and the data behind them.

    `substances` are those whose side reactions the page tells.
    """

    reactions: tuple[tuple[tuple[str, ...], str], ...]
    couples: tuple[Couple, ...] = ()
    acids: tuple[Acid, ...] = ()
    metals: tuple[HydrolysingMetal, ...] = ()
    halides: tuple[Halide, ...] = ()
    chelates: tuple[Chelate, ...] = ()
    substances: frozenset[str] = frozenset()

    def known(self) -> list[Reaction]:
        """The reactions of the table."""
        return [reaction for reaction in REACTIONS if (reaction.analytes, reaction.titrant) in self.reactions]


def _iron(titrant: str, couple: Couple, *more: str) -> Page:
    present = frozenset({"iron(II)", titrant, "water", "air", *more})
    return Page(((("iron(II)",), titrant),), couples=(IRON, couple), substances=present)


def _with_base(*analytes: str) -> tuple[tuple[tuple[str, ...], str], ...]:
    return tuple(((analyte,), "hydroxide") for analyte in analytes)


PAGES: dict[str, Page] = {
    "iron_with_cerium": _iron("cerium(IV)", CERIUM, "chloride"),
    "iron_with_permanganate": _iron("permanganate", PERMANGANATE, "chloride"),
    "iron_with_dichromate": _iron("dichromate", DICHROMATE),
    "tin_with_cerium": Page(
        ((("tin(II)",), "cerium(IV)"), (("tin(II)", "iron(II)"), "cerium(IV)")),
        couples=(TIN, IRON, CERIUM),
        substances=frozenset({"tin(II)", "cerium(IV)", "chloride", "water"}),
    ),
    "iodine_with_thiosulfate": Page(
        ((("iodine",), "thiosulfate"),), couples=(TRIIODIDE, TETRATHIONATE), substances=frozenset({"thiosulfate"})
    ),
    "ascorbic_acid_with_iodine": Page(
        ((("ascorbic acid",), "iodine"),),
        couples=(DEHYDROASCORBIC, TRIIODIDE),
        substances=frozenset({"ascorbic acid"}),
    ),
    "strong_acid": Page(_with_base("hydrochloric acid")),
    "weak_acid": Page((*_with_base("acetic acid"), (("ammonia",), "hydrochloric acid")), acids=(ACETIC, AMMONIUM)),
    "polyprotic_acids": Page(
        (
            *_with_base("phosphoric acid", "citric acid"),
            (("phosphoric acid", "dihydrogen phosphate"), "hydroxide"),
        ),
        acids=(PHOSPHORIC, CITRIC),
    ),
    "carbonate": Page(((("carbonate", "hydrogen carbonate"), "hydrochloric acid"),), acids=(CARBONIC,)),
    "free_acid": Page(_with_base("free acid"), metals=(IRON_III, IRON_II, ZINC_II)),
    "halides_with_silver": Page(
        tuple((reaction.analytes, "silver") for reaction in REACTIONS if reaction.titrant == "silver"),
        halides=HALIDES,
    ),
    "metals_with_edta": Page(
        tuple((reaction.analytes, "EDTA") for reaction in REACTIONS if reaction.titrant == "EDTA"),
        acids=(AMMONIUM,),
        chelates=(CALCIUM, MAGNESIUM, ZINC, COPPER),
    ),
}
"""Every page of one chemistry, by the name of its file and of its picture."""


def _row(name: str, constant: Sourced, unit: str = "") -> str:
    kind = constant.medium if constant.kind == "formal" else f"thermodynamic, {constant.medium}"
    return f"| {name} | {constant.value:g}{unit} | {kind} | {constant.source} ({constant.mark}) |"


def rows(page: Page) -> Iterator[str]:
    """The rows of the table of constants at 25 °C."""
    for couple in page.couples:
        for potential in couple.potentials:
            medium = "thermodynamic" if potential.kind == "thermodynamic" else potential.medium
            source = f"{potential.source} ({potential.mark})"
            yield f"| E of {couple.name} | {potential.value_V:g} V | {medium} | {source} |"
    if page.known()[0].family == "acid-base":
        yield f"| pKw | {pKw(25.0):.3f} | thermodynamic, molar scale | IAPWS R11-07 (published) |"
    for acid in page.acids:
        for index, pKa in enumerate(acid.pKa, start=1):
            yield _row(f"pKa{index if len(acid.pKa) > 1 else ''} of {acid.name}", pKa)
    for metal in page.metals:
        for index, constant in enumerate(metal.hydrolysis, start=1):
            yield _row(f"log K of {metal.ion} + {index} H2O = hydroxo complex + {index} H+", constant)
        if metal.hydroxide is not None:
            yield _row(f"log K of {metal.name} hydroxide(s) + {metal.charge} H+ = {metal.ion}", metal.hydroxide)
    if page.halides:
        yield _row("E° of Ag+/Ag", SILVER_V, " V")
    for halide in page.halides:
        yield _row(f"log Ksp of {halide.solid}", halide.log_Ksp)
    for chelate in page.chelates:
        yield _row(f"log K of {chelate.metal} with EDTA", chelate.log_K)
        for index, constant in enumerate(chelate.ammonia, start=1):
            yield _row(f"log β{index} of {chelate.metal} with NH3", constant)
    if page.chelates:
        for index, pKa in enumerate(EDTA_SETS[DEFAULT_EDTA_SET], start=1):
            yield _row(f"pKa{index} of EDTA ({DEFAULT_EDTA_SET})", pKa)


def _ratio(analyte_per_titrant: float) -> str:
    """A whole number, or one over a whole number."""
    if analyte_per_titrant >= 1.0:
        return f"{analyte_per_titrant:g}"
    return f"1/{1.0 / analyte_per_titrant:g}"


def block(page: Page) -> str:
    """What stands between the two marks of a page."""
    lines = ["| titration | mol of analyte per mol of titrant | media | indicator | potential |", "| --- " * 5 + "|"]
    for reaction in page.known():
        ratios = ", ".join(_ratio(step.analyte_per_titrant) for step in reaction.steps)
        media = ", ".join("water" if medium.kind == "water" else medium.name for medium in reaction.media)
        title = f"{', then '.join(reaction.analytes)} with {reaction.titrant}"
        way = "rises" if reaction.rising else "falls"
        lines.append(f"| {title} | {ratios} | {media} | {' or '.join(reaction.indicators)} | {way} |")
    lines += ["", "| constant, 25 °C | value | medium | source |", "| --- " * 4 + "|", *rows(page)]
    told = [reaction for reaction in SIDE_REACTIONS if reaction.concerns(page.substances)]
    if told:
        lines += ["", "What the equilibrium of the couples alone would get wrong (common knowledge, from memory):", ""]
    for side in told:
        lines.append(f"- *{side.speed}*: {side.what}. Here: {side.idealised}. At the bench: {side.prevented_by}.")
    return "\n".join([BEGIN, "", *lines, "", END])


def filled(text: str, page: Page) -> str:
    """The text of a page with its block made anew. Raises ValueError for a page without the two marks."""
    before, mark, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not mark or not end:
        raise ValueError(f"a page with the lines {BEGIN!r} and {END!r} was expected, none came")
    return before + block(page) + after


def main() -> int:
    """Write, or check, every page."""
    check, stale = "--check" in sys.argv[1:], []
    for name, page in PAGES.items():
        path = FOLDER / f"{name}.md"
        old = path.read_text(encoding="utf-8")
        new = filled(old, page)
        if new != old:
            stale.append(path.name)
            if not check:
                path.write_text(new, encoding="utf-8")
    if stale:
        print(("not current: " if check else "written: ") + ", ".join(stale))
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
