"""The table of titrations: ratios follow from electrons, protons and compounds; every couple has its potential."""

import itertools

import pytest

from titrator.chemistry.acids import ACIDS
from titrator.chemistry.chelates import CHELATES
from titrator.chemistry.precipitation import HALIDES
from titrator.chemistry.reactions import INDICATORS, REACTIONS, find_reaction

IDS = ["-".join((*r.analytes, r.titrant)).replace(" ", "_") for r in REACTIONS]
EVERY = pytest.mark.parametrize("reaction", REACTIONS, ids=IDS)

# The equations as every textbook balances them: mol of analyte for one mol of titrant.
RATIOS = {
    ("iron(II)", "cerium(IV)"): 1,  # Ce4+ + Fe2+
    ("iron(II)", "permanganate"): 5,  # MnO4− + 5 Fe2+ + 8 H+
    ("iron(II)", "dichromate"): 6,  # Cr2O7(2−) + 6 Fe2+ + 14 H+
    ("tin(II)", "cerium(IV)"): 1 / 2,  # 2 Ce4+ + Sn2+
    ("ascorbic acid", "iodine"): 1,  # I2 + C6H8O6
    ("iodine", "thiosulfate"): 1 / 2,  # 2 S2O3(2−) + I2
    ("citric acid", "hydroxide"): 1 / 3,  # all three protons at one point
}


def electrons_per_mol(couple, species):
    """Electrons that one mol of the form gives or takes."""
    return couple.electrons if species == couple.oxidised else couple.electrons / couple.units


@EVERY
def test_ratios_are_those_of_the_balanced_equations(reaction):
    for step in reaction.steps:
        expected = RATIOS.get((step.analyte, reaction.titrant), 1)
        assert step.analyte_per_titrant == pytest.approx(expected, rel=1e-15)


@EVERY
def test_redox_ratios_follow_from_electrons(reaction):
    for step in reaction.steps:
        if step.couple is None:
            assert reaction.family != "redox"
            continue
        taken = electrons_per_mol(reaction.titrant_couple, reaction.titrant_species)
        given = electrons_per_mol(step.couple, step.species)
        assert step.analyte_per_titrant == pytest.approx(taken / given, rel=1e-15)


@EVERY
def test_acid_base_ratios_follow_from_protons(reaction):
    """A step ends where its species has lost (or taken) its protons; citric acid gives all three, others one."""
    if reaction.family != "acid-base":
        return
    for step in reaction.steps:
        protons = 3 if step.species == "H3Cit" else 1
        assert step.analyte_per_titrant * protons == pytest.approx(1.0)
        forms = [form for acid in ACIDS for form in acid.forms] + ["H+"]
        assert step.species in forms


@EVERY
def test_every_couple_has_a_potential_in_every_medium(reaction):
    """Rising: the titrant oxidises, so its potential is the highest, and analytes come in order of theirs."""
    for medium in reaction.media:
        if reaction.family != "redox":
            assert medium.potentials == ()
            with pytest.raises(ValueError, match="a redox reaction was expected"):
                reaction.potentials_V(medium.name)
            continue
        assert len(medium.potentials) == len(reaction.steps) + 1
        potentials = reaction.potentials_V(medium.name)
        assert list(potentials) == sorted(potentials, reverse=not reaction.rising)
        assert len(set(potentials)) == len(potentials)
        shifted = reaction.potentials_against_mV(medium.name, 0.210)
        assert shifted == pytest.approx([1000 * value - 210 for value in potentials])


@EVERY
def test_an_acid_s_medium_takes_the_potential_of_that_acid(reaction):
    """A formal potential of another acid would be a mistake; a standard one is taken where no other is tabulated."""
    couples = [*(step.couple for step in reaction.steps), reaction.titrant_couple]
    for medium in reaction.media:
        for couple, key in zip(couples, medium.potentials, strict=False):
            own = f"1 mol/L {medium.name}"
            tabulated = {potential.medium for potential in couple.potentials}
            assert key == (own if own in tabulated else "standard")


@EVERY
def test_media_and_indicators_are_whole(reaction):
    assert reaction.media
    assert set(reaction.indicators) <= set(INDICATORS)
    assert reaction.acids == tuple(medium.name for medium in reaction.media)
    assert len(set(reaction.acids)) == len(reaction.acids)
    for medium in reaction.media:
        assert 0.0 <= medium.least_mol_per_L <= medium.most_mol_per_L
        assert (medium.pH is not None) == (medium.kind == "buffer")
        assert reaction.medium(medium.name) is medium
    with pytest.raises(KeyError, match="'lemonade' came"):
        reaction.medium("lemonade")


def test_halides_come_down_in_the_order_of_their_solubility():
    """NIST 46 (minteq.v4.dat): log Ksp AgI −16.08, AgBr −12.30, AgCl −9.75."""
    product = {halide.name: halide.log_Ksp.value for halide in HALIDES}
    for reaction in REACTIONS:
        if reaction.titrant == "silver":
            products = [product[analyte] for analyte in reaction.analytes]
            assert products == sorted(products)
    assert {r.analytes for r in REACTIONS if r.titrant == "silver"} == {
        chosen for n in (1, 2, 3) for chosen in itertools.combinations(("iodide", "bromide", "chloride"), n)
    }


def test_every_metal_with_edta_has_its_constants():
    metals = {chelate.metal for chelate in CHELATES}
    for reaction in REACTIONS:
        if reaction.titrant == "EDTA":
            assert set(reaction.analytes) <= metals


@EVERY
def test_a_reaction_is_found_by_its_names(reaction):
    assert find_reaction(reaction.analytes, reaction.titrant) is reaction
    if len(reaction.analytes) == 1:
        assert find_reaction(reaction.analytes[0], reaction.titrant) is reaction


@pytest.mark.parametrize(
    ("analytes", "titrant", "came"),
    [
        ("gold(III)", "cerium(IV)", r"gold\(III\) with cerium\(IV\) came"),
        (("iron(II)", "tin(II)"), "cerium(IV)", r"iron\(II\) and tin\(II\) with cerium\(IV\) came"),
        ((), "silver", "with silver came"),
    ],
)
def test_an_unknown_reaction_lists_those_that_are_known(analytes, titrant, came):
    with pytest.raises(KeyError, match="a reaction known in this version was expected") as caught:
        find_reaction(analytes, titrant)
    told = caught.value.args[0]
    for reaction in REACTIONS:
        assert f"{' and '.join(reaction.analytes)} with {reaction.titrant}" in told
    assert caught.match(came)
