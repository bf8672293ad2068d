"""Which materials stand which titrant: the table `materials.yaml` beside this module, with the source of each entry."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import Field

from titrator.files import Finding, StrictModel, load
from titrator.files.texts import Text

TABLE = Path(__file__).with_name("materials.yaml")


class Judgement(StrictModel):
    """What is known of one material with one titrant."""

    material: Text = Field(description="Name of the material in this table.")
    why: Text = Field(description="What happens, or why nothing does.")
    source: Literal["common practice", "from memory"] = Field(description="What the judgement rests on.")


class TitrantEntry(StrictModel):
    """One titrant, in one acid or several alike."""

    titrant: Text = Field(description='The titrant as a method names it: "cerium(IV)".')
    acids: tuple[Text, ...] = Field(description="The acids in which this holds, as a method names them.")
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
        if entry.titrant == titrant and acid in entry.acids:
            return entry
    return None


def objections(titrant: str, acid: str, wetted: Iterable[str]) -> list[str]:
    """Return what speaks against each of these materials, a phrase each; empty where all of them serve."""
    entry = entry_of(titrant, acid)
    serving = {each.material for each in entry.serves} if entry else set()
    suffering = {each.material: each for each in entry.suffers} if entry else {}
    found = []
    for material in wetted:
        if material in suffering:
            judged = suffering[material]
            found.append(f"{material} suffers ({judged.why}; {judged.source})")
        elif material not in serving:
            found.append(f"{material} (nothing is known of it with this titrant)")
    return found


def serving(titrant: str, acid: str) -> list[str]:
    """Return the materials that stand a titrant, the most usual first."""
    entry = entry_of(titrant, acid)
    return [each.material for each in entry.serves] if entry else []
