"""Which materials stand which titrant: the table `materials.yaml` beside this module, with the source of each entry."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import Field

from titrator.files import Finding, StrictModel, load
from titrator.files.quantities import PositiveConcentration_mol_per_L
from titrator.files.texts import Text

TABLE = Path(__file__).with_name("materials.yaml")


class Judgement(StrictModel):
    """What is known of one material with one titrant."""

    material: Text = Field(description="Name of the material in this table.")
    why: Text = Field(description="What happens, or why nothing does.")
    up_to_mol_per_L: PositiveConcentration_mol_per_L | None = Field(
        None, alias="up_to", description="Highest concentration of the titrant that it stands; any without this key."
    )
    source: Literal["common practice", "from memory"] = Field(description="What the judgement rests on.")


class TitrantEntry(StrictModel):
    """One titrant, in one medium or several alike, or whatever the medium."""

    titrant: Text = Field(description='The titrant as a method names it: "cerium(IV)".')
    acids: tuple[Text, ...] | None = Field(
        None, description="The media in which this holds, as a method names them; any without this key."
    )
    serves: tuple[Judgement, ...] = Field(description="Materials that stand it, the most usual first.")
    suffers: tuple[Judgement, ...] = Field(description="Materials that it attacks, or that use it up.")


class MaterialFile(StrictModel):
    """The file `materials.yaml`."""

    format: Literal[1] = Field(description="Version of this file's format.")
    materials: dict[str, Text] = Field(description="Materials by name, with what the name means.")
    titrants: tuple[TitrantEntry, ...] = Field(description="What is known, titrant by titrant.")

    def findings(self) -> Iterable[Finding]:
        """Refuse judgements of materials that the table does not name, and two of one."""
        for number, entry in enumerate(self.titrants):
            judged = [each.material for each in (*entry.serves, *entry.suffers)]
            for name in judged:
                if name not in self.materials or judged.count(name) > 1:
                    text = f"expected materials of the table, each judged once, got {name}"
                    yield Finding(("titrants", number), text)


@cache
def material_file() -> MaterialFile:
    """Return the table, read once."""
    return load(TABLE, MaterialFile)


def entry_of(titrant: str, acid: str) -> TitrantEntry | None:
    """Return what is known of a titrant in an acid, None where nothing is."""
    for entry in material_file().titrants:
        if entry.titrant == titrant and (entry.acids is None or acid in entry.acids):
            return entry
    return None


def objections(titrant: str, acid: str, wetted: Iterable[str], strength_mol_per_L: float = 0.0) -> list[str]:
    """Return what speaks against each of these materials, a phrase each; empty where all of them serve.

    `strength_mol_per_L` of the titrant; 0 asks nothing of it.
    """
    entry = entry_of(titrant, acid)
    serving = {each.material: each.up_to_mol_per_L for each in entry.serves} if entry else {}
    suffering = {each.material: each for each in entry.suffers} if entry else {}
    found = []
    for material in wetted:
        if material in suffering:
            judged = suffering[material]
            found.append(f"{material} suffers ({judged.why}; {judged.source})")
        elif material not in serving:
            found.append(f"{material} (nothing is known of it with this titrant)")
        elif (most := serving[material]) is not None and strength_mol_per_L > most:
            found.append(f"{material} stands no more than {most:g} mol/L, the titrant has {strength_mol_per_L:g} mol/L")
    return found


def named(titrant: str, acid: str) -> str:
    """Return the solution in words: with its acid where the judgements depend on it."""
    entry = entry_of(titrant, acid)
    return titrant if entry is not None and entry.acids is None else f"{titrant} in {acid}"


def serving(titrant: str, acid: str) -> list[str]:
    """Return the materials that stand a titrant, the most usual first."""
    entry = entry_of(titrant, acid)
    return [each.material for each in entry.serves] if entry else []
