"""The titrations known in this version, as data: what reacts, in which ratio and medium, and what follows it.

A reaction has one *step* for each equivalence point: what is used up between the point before and this one. Ratios come
from electrons (redox), protons (acid-base) or 1:1 compounds (silver, EDTA).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from titrator.chemistry.couple_table import DEHYDROASCORBIC, DICHROMATE, PERMANGANATE, TETRATHIONATE, TIN, TRIIODIDE
from titrator.chemistry.couples import CERIUM, IRON, Couple

Family = Literal["redox", "acid-base", "precipitation", "complexation"]
Indicator = Literal["platinum", "glass", "silver", "calcium-ion", "copper-ion"]

INDICATORS: tuple[Indicator, ...] = ("platinum", "glass", "silver", "calcium-ion", "copper-ion")
"""Every indicator electrode of this version: a metal, a glass membrane, or a membrane that follows one metal ion."""

WATER = "none"
"""The medium of a titration in plain water, as a method writes it."""


@dataclass(frozen=True, slots=True)
class Step:
    """What is used up at one equivalence point, and mol of it per mol of titrant.

    `species` is its name in the chemical system, `couple` its redox couple (redox only).
    """

    analyte: str
    analyte_per_titrant: float
    species: str
    couple: Couple | None = None


@dataclass(frozen=True, slots=True)
class KnownMedium:
    """A medium in which the reaction is known, and the strengths of the added solution in mol/L that are taken.

    `potentials` names the tabulated potential (`Couple.in_medium`) of each step's couple and of the titrant's, in this
    order (redox only). A buffer holds a pH within `pH`.
    """

    name: str
    kind: Literal["acid", "buffer", "water"]
    least_mol_per_L: float = 0.0
    most_mol_per_L: float = 0.0
    potentials: tuple[str, ...] = ()
    pH: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Reaction:
    """A titration. `rising`: whether the potential of the indicator rises while titrant comes.

    `titrant_species` is the titrant's name in the chemical system, `titrant_couple` its redox couple (redox only).
    """

    family: Family
    steps: tuple[Step, ...]
    titrant: str
    titrant_species: str
    media: tuple[KnownMedium, ...]
    indicators: tuple[Indicator, ...]
    rising: bool
    titrant_couple: Couple | None = None

    @property
    def analytes(self) -> tuple[str, ...]:
        """What is determined, in order of the equivalence points."""
        return tuple(step.analyte for step in self.steps)

    @property
    def acids(self) -> tuple[str, ...]:
        """Names of the media in which it is known, buffers and plain water among them."""
        return tuple(medium.name for medium in self.media)

    def medium(self, name: str) -> KnownMedium:
        """The medium of that name; KeyError names those that are known."""
        for medium in self.media:
            if medium.name == name:
                return medium
        known = " or ".join(repr(each) for each in self.acids)
        raise KeyError(f"{' and '.join(self.analytes)} with {self.titrant}: expected {known}, {name!r} came")

    def potentials_V(self, medium: str) -> tuple[float, ...]:
        """Potentials in V against SHE (25 °C, pH 0) of each step's couple and of the titrant's, redox only.

        Raises KeyError for a medium that is not known; ValueError for a reaction without couples.
        """
        couples = [*(step.couple for step in self.steps), self.titrant_couple]
        keys = self.medium(medium).potentials
        found = [
            couple.in_medium(key).value_V for couple, key in zip(couples, keys, strict=False) if couple is not None
        ]
        if len(found) != len(self.steps) + 1:
            raise ValueError(f"a redox reaction was expected, {' and '.join(self.analytes)} with {self.titrant} came")
        return tuple(found)

    def potentials_against_mV(self, medium: str, reference_V: float) -> tuple[float, ...]:
        """The same in mV against a reference electrode that stands at `reference_V` against SHE."""
        return tuple(1000.0 * (potential_V - reference_V) for potential_V in self.potentials_V(medium))


# ------------------------------------------------------------------------------------------------------------- redox
# A formal potential of 1 mol/L acid serves from a fifth to three times that strength: the fit finds the potentials, and
# ±30 mV cover a threefold change of acid or so (common practice; no source).
_LEAST, _MOST = 0.2, 3.0
_SULFURIC, _PERCHLORIC, _HYDROCHLORIC = (f"1 mol/L {acid} acid" for acid in ("sulfuric", "perchloric", "hydrochloric"))


def _acid(name: str, *potentials: str) -> KnownMedium:
    return KnownMedium(name, "acid", _LEAST, _MOST, potentials)


def _oxidised(couple: Couple, titrant: Couple) -> Step:
    """An analyte that the titrant oxidises. Mol per mol: electrons per mol of titrant over electrons per mol of it."""
    return Step(
        couple.reduced, titrant.electrons * couple.units / couple.electrons, species=couple.reduced, couple=couple
    )


def _oxidation(
    titrant: Couple, couples: Sequence[Couple], media: tuple[KnownMedium, ...], *, named: str | None = None
) -> Reaction:
    return Reaction(
        family="redox",
        steps=tuple(_oxidised(couple, titrant) for couple in couples),
        titrant=named or titrant.oxidised,
        titrant_species=titrant.oxidised,
        media=media,
        indicators=("platinum",),
        rising=True,
        titrant_couple=titrant,
    )


_REDOX: tuple[Reaction, ...] = (
    # Hydrochloric acid is left out for iron with cerium although both potentials are tabulated: cerium(IV) oxidises
    # chloride slowly, and at 1.28 V the balance of two couples no longer describes the solution behind the jump.
    # Nitric acid: no figure whose source we can name, and it oxidises iron(II) when warm.
    _oxidation(
        CERIUM,
        [IRON],
        (
            _acid("sulfuric acid", _SULFURIC, _SULFURIC),
            _acid("perchloric acid", _PERCHLORIC, _PERCHLORIC),
        ),
    ),
    _oxidation(PERMANGANATE, [IRON], (_acid("sulfuric acid", _SULFURIC, "standard"),)),
    _oxidation(DICHROMATE, [IRON], (_acid("hydrochloric acid", _HYDROCHLORIC, _HYDROCHLORIC),)),
    # Tin(IV) needs chloride; the couple is slow anyway, and the titration is over before cerium(IV) attacks chloride.
    _oxidation(CERIUM, [TIN], (_acid("hydrochloric acid", _HYDROCHLORIC, _HYDROCHLORIC),)),
    _oxidation(CERIUM, [TIN, IRON], (_acid("hydrochloric acid", *(3 * [_HYDROCHLORIC])),)),
    _oxidation(
        TRIIODIDE,
        [DEHYDROASCORBIC],
        (KnownMedium("sulfuric acid", "acid", 0.01, 1.0, ("standard", "standard")),),
        named="iodine",
    ),
    Reaction(
        family="redox",
        steps=(Step("iodine", 0.5, "triiodide", TRIIODIDE),),  # I3- + 2 S2O3(2-) = 3 I- + S4O6(2-)
        titrant="thiosulfate",
        titrant_species="thiosulfate",
        # Weakly acid at most: strong acid decomposes thiosulfate, alkali oxidises it further.
        media=(KnownMedium(WATER, "water", potentials=("standard", "standard")),),
        indicators=("platinum",),
        rising=False,
        titrant_couple=TETRATHIONATE,
    ),
)

# --------------------------------------------------------------------------------------------------------- acid-base
_PLAIN = (KnownMedium(WATER, "water"),)


def _neutralised(titrant: str, species: str, *steps: tuple[str, float, str], rising: bool) -> Reaction:
    return Reaction(
        family="acid-base",
        steps=tuple(Step(*step) for step in steps),
        titrant=titrant,
        titrant_species=species,
        media=_PLAIN,
        indicators=("glass",),
        rising=rising,
    )


def _with_base(*steps: tuple[str, float, str]) -> Reaction:
    """The potential of a glass electrode falls as the pH rises."""
    return _neutralised("hydroxide", "OH-", *steps, rising=False)


def _with_acid(*steps: tuple[str, float, str]) -> Reaction:
    return _neutralised("hydrochloric acid", "H+", *steps, rising=True)


_ACID_BASE: tuple[Reaction, ...] = (
    _with_base(("hydrochloric acid", 1.0, "H+")),
    # The free acid of a bath, beside metals that hydrolyse: the point before iron(II) does.
    _with_base(("free acid", 1.0, "H+")),
    _with_base(("acetic acid", 1.0, "CH3COOH")),
    _with_base(("citric acid", 1.0 / 3.0, "H3Cit")),  # its three steps run into one
    _with_base(("phosphoric acid", 1.0, "H3PO4")),
    # At the second point: all phosphate, the dihydrogen phosphate that was there before the titration included.
    _with_base(("phosphoric acid", 1.0, "H3PO4"), ("dihydrogen phosphate", 1.0, "H2PO4-")),
    _with_acid(("carbonate", 1.0, "CO3-2"), ("hydrogen carbonate", 1.0, "HCO3-")),
    _with_acid(("ammonia", 1.0, "NH3")),
)

# ------------------------------------------------------------------------------------------------ silver and halides
_ACIDIFIED = (
    # A little nitric acid keeps carbonate and hydroxide from precipitating with silver; plain water will do.
    KnownMedium("nitric acid", "acid", 0.001, 1.0),
    KnownMedium(WATER, "water"),
)
_IONS = {"iodide": "I-", "bromide": "Br-", "chloride": "Cl-"}  # in order of their points: the least soluble first


def _with_silver(*halides: str) -> Reaction:
    return Reaction(
        family="precipitation",
        steps=tuple(Step(halide, 1.0, _IONS[halide]) for halide in halides),
        titrant="silver",
        titrant_species="Ag+",
        media=_ACIDIFIED,
        indicators=("silver",),
        rising=True,
    )


_SILVER: tuple[Reaction, ...] = (
    _with_silver("chloride"),
    _with_silver("bromide"),
    _with_silver("iodide"),
    _with_silver("iodide", "chloride"),
    _with_silver("iodide", "bromide"),
    _with_silver("bromide", "chloride"),
    _with_silver("iodide", "bromide", "chloride"),
)

# -------------------------------------------------------------------------------------------------------------- EDTA
_AMMONIA = KnownMedium("ammonia buffer", "buffer", 0.01, 2.0, pH=(9.0, 11.0))
_ACETATE = KnownMedium("acetate buffer", "buffer", 0.01, 2.0, pH=(4.0, 6.0))


def _with_edta(metal: str, indicators: tuple[Indicator, ...], *media: KnownMedium) -> Reaction:
    return Reaction(
        family="complexation",
        steps=(Step(metal, 1.0, metal),),
        titrant="EDTA",
        titrant_species="EDTA",
        media=media,
        indicators=indicators,
        rising=False,
    )


_EDTA: tuple[Reaction, ...] = (
    _with_edta("calcium", ("calcium-ion", "copper-ion"), _AMMONIA),
    # A copper-ion electrode follows other metals by a trace of the copper complex put into the vessel.
    _with_edta("magnesium", ("copper-ion",), _AMMONIA),
    _with_edta("zinc", ("copper-ion",), _ACETATE, _AMMONIA),
    _with_edta("copper", ("copper-ion",), _ACETATE),
)

REACTIONS: tuple[Reaction, ...] = (*_REDOX, *_ACID_BASE, *_SILVER, *_EDTA)
"""The reactions known in this version."""


def find_reaction(analytes: Sequence[str] | str, titrant: str) -> Reaction:
    """The known reaction of one analyte ("iron(II)") or several in order with `titrant` ("cerium(IV)").

    Raises KeyError that lists the reactions of this version.
    """
    wanted = (analytes,) if isinstance(analytes, str) else tuple(analytes)
    for reaction in REACTIONS:
        if reaction.analytes == wanted and reaction.titrant == titrant:
            return reaction
    known = "; ".join(f"{' and '.join(r.analytes)} with {r.titrant}" for r in REACTIONS)

    came = " and ".join(wanted)
    raise KeyError(f"a reaction known in this version was expected ({known}), {came} with {titrant} came")
