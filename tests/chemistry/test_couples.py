"""The table of couples and the reactions known."""

import pytest

from titrator.chemistry.couples import CERIUM, COUPLES, IRON, REACTIONS, find_reaction


def test_every_potential_names_medium_kind_and_source():
    for couple in COUPLES.values():
        assert len({potential.medium for potential in couple.potentials}) == len(couple.potentials)
        for potential in couple.potentials:
            assert potential.source
            assert (potential.kind == "thermodynamic") == (potential.medium == "standard")


@pytest.mark.parametrize(
    ("couple", "medium", "value_V"),
    [
        # A textbook's table of formal potentials (by its layout that of Skoog et al.).
        (IRON, "1 mol/L sulfuric acid", 0.68),
        (IRON, "1 mol/L hydrochloric acid", 0.70),
        (IRON, "standard", 0.771),
        (CERIUM, "1 mol/L sulfuric acid", 1.44),
        (CERIUM, "1 mol/L nitric acid", 1.61),
        # Harvey, Modern Analytical Chemistry (2000), Table 9.17, p. 335.
        (IRON, "1 mol/L perchloric acid", 0.767),
        (CERIUM, "1 mol/L perchloric acid", 1.70),
        # A lecture table.
        (CERIUM, "1 mol/L hydrochloric acid", 1.28),
    ],
)
def test_potentials(couple, medium, value_V):
    assert couple.in_medium(medium).value_V == value_V


def test_an_unknown_medium_names_those_that_are_known():
    with pytest.raises(KeyError, match=r"1 mol/L sulfuric acid.*'sea water' came"):
        IRON.in_medium("sea water")


def test_iron_with_cerium_is_known_in_two_acids():
    reaction = find_reaction("iron(II)", "cerium(IV)")
    assert reaction.analyte_per_titrant == 1
    analyte, titrant = reaction.potentials("sulfuric acid")
    assert (analyte.value_V, titrant.value_V) == (0.68, 1.44)
    with pytest.raises(KeyError, match="'sulfuric acid' or 'perchloric acid'"):
        reaction.potentials("hydrochloric acid")


def test_an_unknown_reaction_names_those_that_are_known():
    with pytest.raises(KeyError, match=r"iron\(II\) with cerium\(IV\) in sulfuric acid or perchloric acid.*tin\(II\)"):
        find_reaction("tin(II)", "cerium(IV)")


@pytest.mark.parametrize("reaction", REACTIONS)
def test_every_known_reaction_has_potentials_in_each_of_its_acids(reaction):
    for acid in reaction.acids:
        analyte, titrant = reaction.potentials(acid)
        assert titrant.value_V > analyte.value_V
        assert (analyte.kind, titrant.kind) == ("formal", "formal")
