"""What else a sample may contain, and what it does to which titration, as data.

*Refused*: the result would be wrong or the work dangerous, so a method that names it is not taken. *Told*: it disturbs
a little or under conditions, and stands among the cautions of the method. A companion that is neither is harmless there
as far as is known here. Nothing was measured by us; `source` says what each entry rests on.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Literal

from titrator.chemistry.reactions import Reaction
from titrator.chemistry.suitability import INDUCED, Source

COMPANIONS: tuple[str, ...] = (
    *("chloride", "bromide", "iodide", "nitrate", "sulfate", "phosphate", "carbonate", "hydroxide", "borate"),
    *("hydrogen fluoride", "sulfide", "sulfite", "thiosulfate", "cyanide", "thiocyanate", "ammonia", "ammonium"),
    *("hypochlorite", "hydrogen peroxide", "nitrite", "strong acid"),
    *("iron(II)", "iron(III)", "tin(II)", "copper(II)", "zinc(II)", "nickel(II)", "manganese(II)", "lead(II)"),
    *("aluminium(III)", "chromium(III)", "calcium(II)", "magnesium(II)", "mercury(II)", "silver(I)"),
    *("ascorbic acid", "citric acid", "pickling inhibitor", "brightener", "surfactant"),
)
"""Names of companions that a method may give."""

Verdict = Literal["refused", "told"]


@dataclass(frozen=True, slots=True)
class Interference:
    """What companions do to reactions of these families, titrants and first analytes (empty: any).

    `unless` names a reagent that prevents it, `media` the media in which it happens (empty: any).
    """

    companions: tuple[str, ...]
    verdict: Verdict
    why: str
    families: tuple[str, ...] = ()
    titrants: tuple[str, ...] = ()
    analytes: tuple[str, ...] = ()
    media: tuple[str, ...] = ()
    unless: str | None = None
    source: Source = "common practice"

    def concerns(self, reaction: Reaction, medium: str, reagents: Collection[str]) -> bool:
        """Whether it happens in this reaction, medium and with these reagents."""
        return (
            (not self.families or reaction.family in self.families)
            and (not self.titrants or reaction.titrant in self.titrants)
            and (not self.analytes or bool(set(self.analytes) & set(reaction.analytes)))
            and (not self.media or medium in self.media)
            and (self.unless is None or self.unless not in reagents)
        )


_REDUCERS = ("sulfide", "sulfite", "thiosulfate", "iodide", "nitrite", "ascorbic acid")
_OXIDANTS = ("hypochlorite", "hydrogen peroxide")
_OXIDISING_TITRANTS = ("cerium(IV)", "permanganate", "dichromate", "iodine")
_WEAK_ACIDS = ("acetic acid", "citric acid", "phosphoric acid")

_EVERYWHERE = (
    Interference(
        ("hydrogen fluoride",),
        "refused",
        "it attacks glass (vessel, burette and the electrode's membrane or seal), binds iron(III) and other metals so "
        "that the constants used here do not hold, and burns deeply: such a bath needs plastics and its own method",
    ),
    Interference(
        ("cyanide",),
        "refused",
        "it binds the metals that are titrated, and acid sets hydrogen cyanide free: destroy it first",
    ),
    Interference(
        ("sulfide",),
        "refused",
        "it precipitates metals or uses up the titrant, coats the electrode, and acid sets hydrogen sulfide free",
    ),
)
_BY_OXIDATION = (
    Interference(
        ("nitrate",),
        "refused",
        "with acid it oxidises iron(II), the faster the warmer, so too little is found",
        ("redox",),
        analytes=("iron(II)",),
    ),
    Interference(("nitrate",), "refused", "with acid it oxidises tin(II)", analytes=("tin(II)",)),
    Interference(
        ("sulfite", "thiosulfate", "iodide", "nitrite"),
        "refused",
        "the titrant oxidises it too",
        ("redox",),
        _OXIDISING_TITRANTS,
    ),
    Interference(
        ("ascorbic acid",),
        "refused",
        "the titrant oxidises it too",
        titrants=("cerium(IV)", "permanganate", "dichromate"),
    ),
    Interference(
        _OXIDANTS, "refused", "it oxidises the analyte before the titrant does", ("redox",), _OXIDISING_TITRANTS
    ),
    Interference(
        ("chloride",),
        "refused",
        f"beside iron(II), permanganate oxidises chloride to chlorine, so too much iron is found; the reagent "
        f"{INDUCED} (medium.reagents) prevents it",
        titrants=("permanganate",),
        unless=INDUCED,
    ),
    Interference(
        ("chloride",),
        "told",
        "cerium(IV) oxidises chloride slowly: do not wait long behind the jump, and do not warm the solution",
        titrants=("cerium(IV)",),
        analytes=("iron(II)",),
    ),
    Interference(
        ("pickling inhibitor", "brightener", "surfactant"),
        "told",
        "organic substances use up some titrant, the more the longer it takes: run a blank",
        ("redox",),
        _OXIDISING_TITRANTS,
    ),
    Interference(("copper(II)", "iron(III)"), "refused", "it oxidises tin(II)", analytes=("tin(II)",)),
    Interference(
        ("copper(II)",), "told", "it makes air oxidise ascorbic acid fast: titrate at once", analytes=("ascorbic acid",)
    ),
    Interference(
        ("iron(III)",), "refused", "it oxidises ascorbic acid", analytes=("ascorbic acid",), source="from memory"
    ),
    Interference(("tin(II)",), "refused", "iodine oxidises it too", titrants=("iodine",)),
    Interference(
        ("copper(II)", "iron(III)", "nitrite", *_OXIDANTS),
        "refused",
        "it sets iodine free from iodide, which is then found as well",
        titrants=("thiosulfate",),
    ),
    Interference(("sulfite", "ascorbic acid", "tin(II)"), "refused", "it uses up iodine", titrants=("thiosulfate",)),
    Interference(
        ("strong acid",),
        "told",
        "it decomposes thiosulfate: dilute, and titrate without pause",
        titrants=("thiosulfate",),
    ),
)
_ACID_BASE = (
    Interference(
        ("iron(III)", "aluminium(III)", "chromium(III)"),
        "told",
        "it hydrolyses from pH 2 to 4 on: the jump before it is small, and what is found leans on where it is taken",
        titrants=("hydroxide",),
        analytes=("free acid",),
    ),
    Interference(
        ("iron(III)", "aluminium(III)", "chromium(III)"),
        "refused",
        "it hydrolyses below pH 5 and is found as acid; determine free acid instead",
        titrants=("hydroxide",),
        analytes=("hydrochloric acid", *_WEAK_ACIDS),
    ),
    Interference(
        ("iron(II)", "zinc(II)", "copper(II)", "nickel(II)", "manganese(II)", "lead(II)"),
        "refused",
        "it precipitates as hydroxide before the point of so weak an acid, and is found as acid",
        titrants=("hydroxide",),
        analytes=_WEAK_ACIDS,
    ),
    Interference(
        ("iron(II)", "zinc(II)", "copper(II)", "nickel(II)"),
        "told",
        "behind the point it precipitates as hydroxide, which makes the jump smaller",
        titrants=("hydroxide",),
        analytes=("hydrochloric acid", "free acid"),
    ),
    Interference(
        ("strong acid",),
        "refused",
        "it is titrated together with the weak one",
        titrants=("hydroxide",),
        analytes=_WEAK_ACIDS,
    ),
    Interference(
        ("citric acid", "phosphate"), "refused", "it is titrated as well", ("acid-base",), analytes=("acetic acid",)
    ),
    Interference(
        ("calcium(II)", "magnesium(II)"),
        "refused",
        "its phosphate precipitates and sets acid free",
        titrants=("hydroxide",),
        analytes=("phosphoric acid",),
    ),
    Interference(
        ("ammonium",), "told", "a weak acid of its own: it makes the jump smaller from pH 8 on", titrants=("hydroxide",)
    ),
    Interference(
        ("carbonate",), "refused", "acid turns it into carbon dioxide: boil it out first", titrants=("hydroxide",)
    ),
    Interference(
        ("hydroxide", "ammonia", "phosphate", "borate", "sulfite"),
        "refused",
        "a base that the acid titrates as well",
        titrants=("hydrochloric acid",),
        analytes=("carbonate",),
    ),
    Interference(
        ("hydroxide", "carbonate", "phosphate", "borate", "sulfite"),
        "refused",
        "a base that the acid titrates as well",
        titrants=("hydrochloric acid",),
        analytes=("ammonia",),
    ),
)
_SILVER = (
    Interference(
        ("thiosulfate", "sulfite", "ammonia"),
        "refused",
        "it binds silver or precipitates with it",
        titrants=("silver",),
    ),
    Interference(("thiocyanate",), "refused", "it precipitates with silver as bromide does", titrants=("silver",)),
    Interference(
        ("mercury(II)",), "refused", "it binds halides so that silver does not find them", titrants=("silver",)
    ),
    Interference(
        ("phosphate", "carbonate", "hydroxide", "borate"),
        "refused",
        "in plain water it precipitates with silver: use nitric acid as medium",
        titrants=("silver",),
        media=("none",),
    ),
    Interference(
        ("iron(II)", "tin(II)", "ascorbic acid"), "told", "it reduces silver slowly to the metal", titrants=("silver",)
    ),
    Interference(
        ("surfactant", "brightener"),
        "told",
        "it keeps the precipitate dispersed and coats the electrode",
        titrants=("silver",),
    ),
)
_EDTA = (
    Interference(
        (
            "copper(II)",
            "iron(III)",
            "zinc(II)",
            "nickel(II)",
            "lead(II)",
            "aluminium(III)",
            "manganese(II)",
            "mercury(II)",
        ),
        "refused",
        "EDTA binds it before or with the analyte, and copper, nickel, iron(III) and aluminium hold it for long",
        titrants=("EDTA",),
        analytes=("calcium", "magnesium"),
    ),
    Interference(
        ("magnesium(II)",), "refused", "it is titrated together with calcium", titrants=("EDTA",), analytes=("calcium",)
    ),
    Interference(
        ("calcium(II)",), "refused", "it is titrated before magnesium", titrants=("EDTA",), analytes=("magnesium",)
    ),
    Interference(
        ("carbonate", "phosphate"),
        "told",
        "it may precipitate the metal at this pH: titrate soon after the buffer is in",
        titrants=("EDTA",),
        analytes=("calcium", "magnesium"),
    ),
    Interference(
        ("copper(II)", "nickel(II)", "lead(II)", "iron(II)", "iron(III)", "aluminium(III)", "mercury(II)"),
        "refused",
        "EDTA binds it before or with zinc",
        titrants=("EDTA",),
        analytes=("zinc",),
    ),
    Interference(
        ("calcium(II)", "magnesium(II)", "manganese(II)"),
        "refused",
        "at this pH EDTA binds it behind zinc, and the jump is lost (in acetate buffer it does not disturb)",
        titrants=("EDTA",),
        analytes=("zinc",),
        media=("ammonia buffer",),
    ),
    Interference(
        ("zinc(II)", "nickel(II)", "lead(II)", "iron(III)", "aluminium(III)", "mercury(II)"),
        "refused",
        "EDTA binds it before or with copper",
        titrants=("EDTA",),
        analytes=("copper",),
    ),
    Interference(
        ("chloride",),
        "told",
        "much chloride beside copper(II) disturbs the membrane of a copper-ion electrode",
        titrants=("EDTA",),
        analytes=("copper",),
        source="from memory",
    ),
    Interference(
        ("silver(I)", "mercury(II)"), "refused", "it spoils the membrane of a copper-ion electrode", titrants=("EDTA",)
    ),
)

INTERFERENCES: tuple[Interference, ...] = (*_EVERYWHERE, *_BY_OXIDATION, *_ACID_BASE, *_SILVER, *_EDTA)
"""Every interference of this version; the first that concerns a companion counts."""

_TITRATED_TOO = {
    "silver": {"chloride": "chloride", "bromide": "bromide", "iodide": "iodide"},
    "cerium(IV)": {"iron(II)": "iron(II)", "tin(II)": "tin(II)"},
    "permanganate": {"tin(II)": "tin(II)"},
    "dichromate": {"tin(II)": "tin(II)"},
}
"""Companions by titrant that are analytes of their own with it."""


def interferences(
    reaction: Reaction, medium: str, reagents: Collection[str], contains: Collection[str]
) -> Iterator[tuple[str, Interference]]:
    """Each companion that does something in this titration, with what it does."""
    for companion in contains:
        found = _titrated_too(reaction, companion) or next(
            (
                each
                for each in INTERFERENCES
                if companion in each.companions and each.concerns(reaction, medium, reagents)
            ),
            None,
        )
        if found is not None:
            yield companion, found


def _titrated_too(reaction: Reaction, companion: str) -> Interference | None:
    """A companion that the titrant takes: refused where it comes first, told where it comes behind the last analyte."""
    analyte = _TITRATED_TOO.get(reaction.titrant, {}).get(companion)
    if analyte is None or analyte in reaction.analytes:
        return None
    order = ("iodide", "bromide", "chloride") if reaction.titrant == "silver" else ("tin(II)", "iron(II)")
    if order.index(analyte) > max(order.index(each) for each in reaction.analytes if each in order):
        why = f"it is titrated behind {reaction.analytes[-1]}, with a jump of its own, and makes that one smaller"
        return Interference((companion,), "told", why)
    why = (
        f"the titrant takes it before or with {reaction.analytes[-1]}; add it to the reaction (reaction.then) where "
        "such a reaction is known"
    )
    return Interference((companion,), "refused", why)
