"""Reactions that the equilibrium of two couples alone would get wrong, as data.

*Frozen*: allowed by the potentials, but so slow that a titration does not see it; leaving it out is right. *Slow*:
takes part, but does not follow Nernst at platinum, so the computed limb is idealised. *Induced*: impossible or slow by
itself, carried along by another reaction, at the cost of titrant. All of it is common knowledge, from memory.
"""

from dataclasses import dataclass
from typing import Literal

Speed = Literal["frozen", "slow", "induced"]


@dataclass(frozen=True, slots=True)
class SideReaction:
    """What happens (`what`), among which substances, what the engine does about it, what prevents it at the bench.

    `titrant_share` is the share of the titrant that an induced reaction may cost in an unprotected cell: an invented
    order of magnitude for simulation, 0 for the other kinds.
    """

    speed: Speed
    what: str
    substances: tuple[str, ...]
    idealised: str
    prevented_by: str
    titrant_share: float = 0.0
    source: str = "from memory, common practice"

    def concerns(self, present: frozenset[str] | set[str]) -> bool:
        """Whether all its substances are present."""
        return set(self.substances) <= present


SIDE_REACTIONS: tuple[SideReaction, ...] = (
    SideReaction(
        "frozen",
        "cerium(IV) lies above water's stability but oxidises water over days only",
        ("cerium(IV)", "water"),
        "left out: behind the jump the curve is that of the cerium couple",
        "strong acid; titrant standardised again after weeks",
    ),
    SideReaction(
        "frozen",
        "permanganate oxidises water over days only, unless manganese dioxide or light helps",
        ("permanganate", "water"),
        "left out",
        "filtered titrant, kept dark",
    ),
    SideReaction(
        "frozen",
        "cerium(IV) oxidises chloride slowly in the cold",
        ("cerium(IV)", "chloride"),
        "left out: a tin(II) or iron(II) titration in hydrochloric acid ends before it matters",
        "titration in the cold, no waiting behind the jump",
    ),
    SideReaction(
        "slow",
        "tin(IV)/tin(II) exchanges electrons slowly with platinum",
        ("tin(II)",),
        "Nernst's equation is used before the first jump; a real electrode is slow and up to tens of mV off there",
        "hydrochloric acid, warmth, a trace of a mediator; inert gas, for air oxidises tin(II)",
    ),
    SideReaction(
        "slow",
        "chromium(VI)/chromium(III) does not follow Nernst at platinum",
        ("dichromate",),
        "the limb behind the jump is computed from the couple; the measured one lies lower and depends on the acid",
        "nothing needed: the jump still marks the equivalence point",
    ),
    SideReaction(
        "slow",
        "permanganate/manganese(II) does not follow Nernst at platinum",
        ("permanganate",),
        "the limb behind the jump is computed from the couple; manganese(III) and (IV) are left out",
        "strong acid",
    ),
    SideReaction(
        "slow",
        "dehydroascorbic acid is not reduced back at platinum",
        ("ascorbic acid",),
        "the limb before the jump is computed from the couple; the measured one is set by traces of iodine",
        "a trace of iodide in the vessel",
    ),
    SideReaction(
        "slow",
        "tetrathionate is not reduced back at platinum",
        ("thiosulfate",),
        "where thiosulfate is in excess the potential is computed from the couple; the measured one drifts",
        "nothing needed: the iodine limb and the jump are sound",
    ),
    SideReaction(
        "induced",
        "beside iron(II), permanganate oxidises chloride to chlorine",
        ("permanganate", "iron(II)", "chloride"),
        "not in the equilibrium; a simulation takes the share of titrant told here",
        "manganese(II) sulfate with phosphoric and sulfuric acid (phosphate also binds iron(III))",
        titrant_share=0.01,
    ),
    SideReaction(
        "induced",
        "air oxidises iron(II) where the acid is missing, faster by a factor of 100 per unit of pH",
        ("iron(II)", "air"),
        "not in the equilibrium: the state's oxidised amount is what changes",
        "sulfuric acid in the vessel before the sample",
    ),
)
"""Every side reaction of this version."""


def concerning(present: frozenset[str] | set[str], *, protected: bool = False) -> tuple[SideReaction, ...]:
    """Side reactions among the substances `present`; `protected` leaves out the induced ones (preventive reagent)."""
    return tuple(
        reaction
        for reaction in SIDE_REACTIONS
        if reaction.concerns(present) and not (protected and reaction.speed == "induced")
    )
