"""The table of wetted parts: every judgement with its source, and what it must say of cerium(IV)."""

import pytest

from titrator.bench.materials import material_file, objections, serving
from titrator.chemistry.couples import REACTIONS


def test_every_titrant_of_the_reactions_known_has_an_entry_in_every_acid():
    for reaction in REACTIONS:
        for acid in reaction.acids:
            assert serving(reaction.titrant.oxidised, acid)


def test_every_judgement_says_why_and_what_it_rests_on():
    for entry in material_file().titrants:
        for judged in (*entry.serves, *entry.suffers):
            assert len(judged.why) > 10
            assert judged.source in ("common practice", "from memory")


@pytest.mark.parametrize("acid", ["sulfuric acid", "perchloric acid"])
def test_what_serves_and_what_suffers_with_cerium(acid):
    # Common practice: general tables of chemical resistance agree on these; none was measured by us.
    assert serving("cerium(IV)", acid)[:4] == ["glass", "PTFE", "FEP", "PVDF"]
    against = objections("cerium(IV)", acid, ["glass", "acetal", "nylon", "brass", "steel", "natural rubber"])
    assert [text.split(" suffers")[0] for text in against] == ["acetal", "nylon", "brass", "steel", "natural rubber"]


def test_of_an_unknown_titrant_no_material_is_known_to_serve():
    assert objections("permanganate", "sulfuric acid", ["glass"]) == [
        "glass (nothing is known of it with this titrant)"
    ]
    assert serving("permanganate", "sulfuric acid") == []
