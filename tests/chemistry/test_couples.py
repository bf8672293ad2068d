"""The table of couples."""

import pytest

from titrator.chemistry.couples import CERIUM, COUPLES, IRON


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
