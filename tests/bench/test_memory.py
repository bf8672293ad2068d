"""What a rig remembers of its titrant."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from titrator.bench.memory import (
    HeldTitrant,
    RigMemoryError,
    check_titrant,
    forget,
    held,
    memory_path,
    purge_due_mL,
    remember,
)

CERIUM = HeldTitrant("cerium(IV)", 0.1, "sulfuric acid")
WEAKER = HeldTitrant("cerium(IV)", 0.05, "sulfuric acid")
SILVER = HeldTitrant("silver(I)", 0.1, "nitric acid")


@pytest.fixture
def tubed(rig):
    return rig.model_copy(update={"burette": rig.burette.model_copy(update={"dead_volume_mL": 0.25})})


def test_the_memory_lies_beside_the_rig_file_unless_the_rig_names_another(rig):
    assert memory_path(rig, Path("rigs/left_bench.yaml")) == Path("rigs/left_bench.memory.json")
    named = rig.model_copy(update={"memory": Path("/var/lib/left.json")})
    assert memory_path(named, Path("rigs/left_bench.yaml")) == Path("/var/lib/left.json")


def test_what_is_remembered_comes_back(tmp_path):
    path = tmp_path / "rig.memory.json"
    remember(path, CERIUM)
    assert held(path) == CERIUM
    remember(path, SILVER)
    assert held(path) == SILVER
    assert [file.name for file in tmp_path.iterdir()] == ["rig.memory.json"]


@given(st.text(min_size=1, max_size=20), st.floats(1e-6, 20.0), st.text(max_size=20))
def test_any_titrant_comes_back(tmp_path_factory, name, mol_per_L, medium):
    path = tmp_path_factory.mktemp("memory") / "rig.memory.json"
    remember(path, HeldTitrant(name, mol_per_L, medium))
    assert held(path) == HeldTitrant(name, mol_per_L, medium)


def test_the_same_titrant_needs_no_purge_and_another_one_three_dead_volumes(tmp_path, tubed):
    path = tmp_path / "rig.memory.json"
    remember(path, CERIUM)
    assert purge_due_mL(path, CERIUM, tubed) == 0.0
    check_titrant(path, CERIUM, tubed, 0.0)
    for other in (SILVER, WEAKER):
        assert purge_due_mL(path, other, tubed) == pytest.approx(0.75)
        with pytest.raises(RigMemoryError, match=r"got one that holds cerium.* purge at least 0\.75 mL .* got 0\.7 mL"):
            check_titrant(path, other, tubed, 0.7)
        check_titrant(path, other, tubed, 0.75)


def test_the_same_titrant_standardised_again_is_the_same(tmp_path, tubed):
    path = tmp_path / "rig.memory.json"
    remember(path, CERIUM)
    check_titrant(path, HeldTitrant("cerium(IV)", 0.1004, "sulfuric acid"), tubed, 0.0)
    with pytest.raises(RigMemoryError):
        check_titrant(path, HeldTitrant("cerium(IV)", 0.102, "sulfuric acid"), tubed, 0.0)


def test_a_rig_of_which_nothing_is_known_or_whose_purge_was_broken_off_is_purged(tmp_path, tubed):
    path = tmp_path / "rig.memory.json"
    with pytest.raises(RigMemoryError, match="got one whose content is not known"):
        check_titrant(path, CERIUM, tubed, 0.0)
    remember(path, CERIUM)
    forget(path)
    assert held(path) is None
    with pytest.raises(RigMemoryError, match="got one whose content is not known"):
        check_titrant(path, CERIUM, tubed, 0.0)


def test_without_a_dead_volume_nobody_can_say_how_much_a_purge_is(tmp_path, rig):
    with pytest.raises(RigMemoryError, match=r"state burette\.dead_volume"):
        check_titrant(tmp_path / "none.json", CERIUM, rig, 100.0)


GOOD = {"format": 1, "titrant": {"name": "cerium(IV)", "mol_per_L": 0.1, "medium": "sulfuric acid"}}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\0",
        "[]",
        "{}",
        '"cerium(IV)"',
        json.dumps(GOOD | {"format": 2}),
        json.dumps({"format": 1}),
        json.dumps(GOOD | {"titrant": {"name": "cerium(IV)"}}),
        json.dumps(GOOD | {"titrant": GOOD["titrant"] | {"mol_per_L": "0.1"}}),
        json.dumps(GOOD | {"titrant": GOOD["titrant"] | {"mol_per_L": -1.0}}),
        json.dumps(GOOD)[:-3],
        "[" * 100_000,
    ],
)
def test_a_spoilt_memory_is_named_and_never_taken_for_an_empty_one(tmp_path, text):
    path = tmp_path / "rig.memory.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RigMemoryError, match=r"rig\.memory\.json, got: .* mend the file; if not, delete it and purge"):
        held(path)


def test_a_memory_that_cannot_be_written_says_what_to_do(tmp_path):
    with pytest.raises(RigMemoryError, match="make room or mend the permissions"):
        remember(tmp_path / "no such folder" / "rig.memory.json", CERIUM)
