"""The pages of the chemistry: tables current with the data, every reaction on a page, every link and picture there."""

import importlib.util
import re
import sys
from pathlib import Path

import pytest

from titrator.chemistry.reactions import REACTIONS

DOCS = Path(__file__).parents[2] / "docs"


def script(name):
    """A script of docs, which is no package."""
    spec = importlib.util.spec_from_file_location(f"docs_{name}", DOCS / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


constants = script("constants")


@pytest.mark.parametrize("name", constants.PAGES)
def test_tables_are_current(name):
    """Else: python docs/constants.py."""
    text = (DOCS / "chemistry" / f"{name}.md").read_text(encoding="utf-8")
    assert constants.filled(text, constants.PAGES[name]) == text


def test_a_page_without_its_marks_is_told():
    with pytest.raises(ValueError, match="a page with the lines"):
        constants.filled("nothing", next(iter(constants.PAGES.values())))


@pytest.mark.parametrize("reaction", REACTIONS, ids=lambda r: "-".join((*r.analytes, r.titrant)))
def test_every_reaction_is_on_one_page_with_its_side_reactions(reaction):
    pages = [page for page in constants.PAGES.values() if reaction in page.known()]
    assert len(pages) == 1
    couples = [*(step.couple for step in reaction.steps), reaction.titrant_couple]
    assert {couple.name for couple in couples if couple} <= {couple.name for couple in pages[0].couples}


@pytest.mark.parametrize("name", constants.PAGES)
def test_every_page_is_whole(name):
    """Its sections, its picture, and the index that leads to it."""
    text = (DOCS / "chemistry" / f"{name}.md").read_text(encoding="utf-8")
    headings = re.findall(r"^## (.+)$", text, flags=re.MULTILINE)
    assert headings == [
        "Why the curve has this shape", "Equations", "Constants", "Electrode", "What is idealised", "Cautions",
    ]  # fmt: skip
    assert f"(pictures/{name}.svg)" in text
    assert f"({name}.md)" in (DOCS / "chemistry" / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("page", sorted((DOCS / "chemistry").glob("*.md")), ids=lambda page: page.name)
def test_every_link_leads_somewhere(page):
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), target


def test_every_picture_is_shown_and_names_its_axes():
    pages = "".join(page.read_text(encoding="utf-8") for page in (DOCS / "chemistry").glob("*.md"))
    pictures = sorted((DOCS / "chemistry" / "pictures").glob("*.svg"))
    assert len(pictures) >= len(constants.PAGES)
    for picture in pictures:
        assert f"(pictures/{picture.name})" in pages
        drawn = picture.read_text(encoding="utf-8")
        assert "volume of titrant / mL" in drawn
        assert re.search(r"E / mV \(SHE\)|>pH<|>pM<", drawn)
