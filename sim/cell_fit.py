"""Which keys of a cell file belong to which reaction: told with the place, so that no key is there for nothing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sim.cell_potentials import ExchangeSection, PotentialsSection
from sim.cell_reaction import ReactionSection
from sim.cell_sample import SampleSection, TitrantSection
from sim.cell_sections import ElectrodeSection
from titrator.chemistry.reactions import Reaction
from titrator.files.models import Finding

Path = tuple[str, ...]


def fitting(
    reaction: ReactionSection,
    sample: SampleSection,
    titrant: TitrantSection,
    potentials: PotentialsSection,
    exchange: ExchangeSection | None,
) -> Iterable[Finding]:
    """Yield keys that the reaction needs and lacks, and keys that mean nothing to it."""
    known = reaction.known()
    told = f"{' and '.join(known.analytes)} with {known.titrant}"
    keys = [*_substances(known, sample, titrant), *_potentials(known, potentials, exchange)]
    for path, present, needed, allowed in keys:
        if needed and not present:
            yield Finding(path[:-1], f"expected the key {'.'.join(path)} for {told}, got none")
        elif present and not allowed:
            yield Finding(path, f"expected no key {'.'.join(path)} for {told}, got one: it has no meaning there")
    redox = known.family == "redox"
    lists: list[tuple[Path, tuple[Any, ...], int]] = [
        (("sample", "then"), sample.then, len(known.steps) - 1),
        (("potentials", "then"), potentials.then, len(known.steps) - 1 if redox else 0),
    ]
    if redox and exchange is not None:
        lists.append((("exchange", "then"), exchange.then, len(known.steps) - 1))
    for path, rows, count in lists:
        if len(rows) != count:
            rows_told = "1 row" if count == 1 else f"{count} rows"
            text = f"expected {rows_told} in {'.'.join(path)} for {told}, one for each further analyte"
            yield Finding(path if rows else path[:-1], f"{text}, got {len(rows)}")


def fitting_electrode(reaction: ReactionSection, electrode: ElectrodeSection) -> Iterable[Finding]:
    """Yield what is wrong with a platinum electrode only, where there is none."""
    known = reaction.known()
    if electrode.oxide is not None and known.family != "redox":
        told = f"{' and '.join(known.analytes)} with {known.titrant}"
        text = f"expected no key electrode.oxide for {told}, got one: it has no meaning there"
        yield Finding(("electrode", "oxide"), text)


Keys = Iterable[tuple[Path, bool, bool, bool]]
"""(key, whether it is there, whether it must be, whether it may be)."""


def _substances(reaction: Reaction, sample: SampleSection, titrant: TitrantSection) -> Keys:
    redox, free = reaction.family == "redox", reaction.analytes[0] == "free acid"
    oxidant = redox and reaction.rising
    iodine, from_iodine = reaction.analytes[0] == "iodine", reaction.titrant == "iodine"
    yield ("sample", "oxidised"), sample.oxidised is not None, oxidant, oxidant
    yield ("sample", "acid"), sample.acid_mol_per_L > 0.0, False, redox
    yield ("sample", "iodide"), sample.iodide is not None, iodine, iodine
    yield ("sample", "inhibitor"), sample.inhibitor is not None, False, oxidant
    yield ("sample", "chloride"), sample.chloride is not None, False, redox
    yield ("sample", "zinc(II)"), sample.zinc_ii is not None, False, redox or free
    yield ("sample", "iron(II)"), sample.iron_ii is not None, False, free
    yield ("sample", "iron(III)"), sample.iron_iii is not None, False, free
    yield ("titrant", "acid"), titrant.acid_mol_per_L > 0.0, False, redox
    yield ("titrant", "iodide"), titrant.iodide_mol_per_L > 0.0, from_iodine, from_iodine
    yield ("titrant", "carbonate"), titrant.carbonate is not None, False, reaction.titrant == "hydroxide"


def _potentials(reaction: Reaction, potentials: PotentialsSection, exchange: ExchangeSection | None) -> Keys:
    redox, edta = reaction.family == "redox", reaction.family == "complexation"
    yield ("potentials", "analyte"), potentials.analyte is not None, redox, redox
    yield ("potentials", "titrant"), potentials.titrant is not None, redox, redox
    yield ("potentials", "offset"), potentials.offset is not None, not redox, not redox
    yield ("potentials", "detection"), potentials.detection_mol_per_L > 0.0, False, edta
    yield ("potentials", "copper_complex"), potentials.copper_complex_mol_per_L > 0.0, False, edta
    yield ("exchange",), exchange is not None, redox, redox
