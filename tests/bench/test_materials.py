"""The table of wetted parts: every judgement with its source, and what it must say of cerium(IV)."""

import pytest

from titrator.bench.materials import material_file, objections, serving
from titrator.chemistry.reactions import REACTIONS


def test_every_titrant_of_the_reactions_known_has_an_entry_in_every_acid():
    for reaction in REACTIONS:
        for acid in reaction.acids:
            assert serving(reaction.titrant, acid)


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
    assert objections("bromate", "hydrochloric acid", ["glass"]) == ["glass (nothing is known of it with this titrant)"]
    assert serving("bromate", "hydrochloric acid") == []


def test_alkali_is_kept_in_glass_when_it_is_dilute_only():
    # Common practice: alkali etches glass, the faster the stronger; pistons of ground glass stick.
    assert objections("hydroxide", "none", ["glass", "PTFE"], 0.1) == []
    assert objections("hydroxide", "none", ["glass", "PTFE"], 1.0) == [
        "glass stands no more than 0.5 mol/L, the titrant has 1 mol/L"
    ]


def test_iodine_is_kept_from_plastics_and_rubber_that_take_it_up():
    # Common practice: tables of chemical resistance agree that iodine stains and enters these.
    against = objections(
        "iodine", "sulfuric acid", ["glass", "PTFE", "silicone rubber", "polyethylene", "stainless steel"]
    )
    assert [text.split(" suffers")[0] for text in against] == ["silicone rubber", "polyethylene", "stainless steel"]
