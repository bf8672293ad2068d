"""Methods whose chemistry does not suit: every refusal with its place and its words (the edits: unsuited.yaml)."""

from pathlib import Path
from typing import Any

import pytest
import yaml

from titrator.chemistry.interferences import COMPANIONS, INTERFERENCES, interferences
from titrator.chemistry.reactions import REACTIONS, find_reaction
from titrator.chemistry.suitability import BRIDGES, JUNCTION_RULES, REAGENTS, junction_objections, reagents_of
from titrator.files import FileProblem
from titrator.method import cautions_text, load_method

HERE = Path(__file__).parent
METHODS = HERE.parents[1] / "configs" / "methods"
CASES = yaml.safe_load((HERE / "unsuited.yaml").read_text("utf-8"))


def told(path: Path, text: str) -> list[tuple[str, str]]:
    """What the file says from the place that is pointed at to the end of its line, and what is said of it."""
    path.write_text(text, "utf-8")
    with pytest.raises(FileProblem) as caught:
        load_method(path)
    lines = text.splitlines()
    return [(lines[problem.line - 1][problem.column - 1 :], problem.text) for problem in caught.value.problems]


@pytest.mark.parametrize("case", CASES, ids=[f"{case['of']}-{number}" for number, case in enumerate(CASES)])
def test_an_edit_that_chemistry_refuses(tmp_path: Path, case: dict[str, Any]) -> None:
    shipped = (METHODS / f"{case['of']}.yaml").read_text("utf-8")
    assert shipped.count(case["was"]) == 1
    found = told(tmp_path / "method.yaml", shipped.replace(case["was"], case["now"]))
    assert [text for _, text in found] == [text for _, text in case["told"]]
    for (there, _), (expected, _) in zip(found, case["told"], strict=True):
        assert there.startswith(expected)


def test_what_disturbs_without_being_refused_stands_among_the_cautions() -> None:
    lines = cautions_text(load_method(METHODS / "free_acid_in_pickling_bath.yaml"))
    assert (
        "The sample contains iron(II): behind the point it precipitates as hydroxide, which makes the jump smaller "
        "(common practice)." in lines
    )


def test_every_entry_of_the_tables_is_of_use() -> None:
    """No rule that no reaction meets, no companion that is nowhere known, no reaction without a bridge that serves."""
    for interference in INTERFERENCES:
        assert set(interference.companions) <= set(COMPANIONS)
        assert any(
            interference.concerns(reaction, medium.name, ()) for reaction in REACTIONS for medium in reaction.media
        ), interference.why
    for rule in JUNCTION_RULES:
        assert any(rule.applies(reaction, medium.name) for reaction in REACTIONS for medium in reaction.media)
    for name, reagent in REAGENTS.items():
        assert any(reagent.serves(reaction) for reaction in REACTIONS), name
    for reaction in REACTIONS:
        for medium in reaction.media:
            assert any(not list(junction_objections(reaction, medium.name, bridge)) for bridge in BRIDGES)


@pytest.mark.parametrize("reaction", [each for each in REACTIONS if each.titrant == "silver"])
def test_the_order_of_the_halides(reaction: Any) -> None:
    """Solubility: silver iodide is the least soluble, then bromide, then chloride (any table of products)."""
    order = ["iodide", "bromide", "chloride"]
    last = max(order.index(analyte) for analyte in reaction.analytes)
    for companion in order:
        if companion in reaction.analytes:
            continue
        ((_, does),) = interferences(reaction, "nitric acid", (), [companion])
        assert does.verdict == ("told" if order.index(companion) > last else "refused")


def test_hydrogen_fluoride_is_refused_everywhere_and_sulfate_nowhere() -> None:
    for reaction in REACTIONS:
        for medium in reaction.media:
            ((_, does),) = interferences(reaction, medium.name, (), ["hydrogen fluoride"])
            assert does.verdict == "refused"
            assert list(interferences(reaction, medium.name, (), ["sulfate"])) == []


def test_reagents_by_reaction() -> None:
    """Common practice: the reagent against chlorine belongs to permanganate; cerium(IV) and dichromate need none."""
    assert reagents_of(find_reaction("iron(II)", "permanganate")) == [
        "manganese(II) sulfate with phosphoric acid",
        "phosphoric acid",
    ]
    assert reagents_of(find_reaction("iron(II)", "dichromate")) == ["phosphoric acid"]
    assert reagents_of(find_reaction("iron(II)", "cerium(IV)")) == []
    assert reagents_of(find_reaction("magnesium", "EDTA")) == ["copper(II) EDTA complex"]
