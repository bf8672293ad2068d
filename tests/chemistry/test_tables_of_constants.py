"""The tables of constants: each number with source, kind and mark; figures against a library and textbooks."""

import math
import re
from importlib.resources import files

import pytest

from titrator.chemistry.acids import ACIDS, METALS, PHOSPHORIC, Acid
from titrator.chemistry.chelates import CHELATES, EDTA_SETS
from titrator.chemistry.couple_table import ALL_COUPLES, DICHROMATE, PERMANGANATE, TIN
from titrator.chemistry.couples import COUPLES
from titrator.chemistry.precipitation import HALIDES, SILVER_V
from titrator.chemistry.side_reactions import SIDE_REACTIONS, concerning
from titrator.chemistry.sourced import Sourced


def every_constant():
    yield SILVER_V
    for acid in ACIDS:
        yield from acid.pKa
    for metal in METALS:
        yield from (*metal.hydrolysis, metal.hydroxide)
    for halide in HALIDES:
        yield from (halide.log_Ksp, halide.log_pair)
    for chelate in CHELATES:
        yield from (chelate.log_K, *chelate.ammonia, *chelate.hydrolysis)
    for constants in EDTA_SETS.values():
        yield from constants


def test_every_constant_says_where_it_comes_from_and_what_it_is():
    for constant in every_constant():
        assert constant.source
        assert constant.mark in {"published", "library", "from memory", "computed by us"}
        assert (constant.kind == "thermodynamic") == (constant.medium in {"infinite dilution", "standard"})


def test_every_potential_says_where_it_comes_from():
    assert COUPLES.keys() <= ALL_COUPLES.keys()
    for couple in ALL_COUPLES.values():
        for potential in couple.potentials:
            assert potential.source
            assert potential.mark in {"published", "from memory"}
            assert (potential.kind == "thermodynamic") == (potential.medium == "standard")


# log10 K of association in minteq.v4.dat (NIST 46), which the package phreeqc carries.
NIST46 = files("phreeqc") / "databases" / "minteq.v4.dat"


def in_library(reaction):
    text = NIST46.read_text(encoding="latin-1")
    found = re.search(rf"^[ \t]*{re.escape(reaction)}\s*\n\s*log_k\s+(\S+)", text, flags=re.MULTILINE)
    assert found, reaction
    return float(found[1])


@pytest.mark.parametrize(
    ("acid", "reactions"),
    [
        ("acetic acid", ["H+ + Acetate- = H(Acetate)"]),
        ("phosphoric acid", ["H+ + PO4-3 = HPO4-2", "2 H+ + PO4-3 = H2PO4-", "3 H+ + PO4-3 = H3PO4"]),
        (
            "citric acid",
            ["H+ + Citrate-3 = H(Citrate)-2", "2 H+ + Citrate-3 = H2(Citrate)-", "3 H+ + Citrate-3 = H3(Citrate)"]),
        ("phthalic acid", ["H+ + Phthalate-2 = H(Phthalate)-", "2 H+ + Phthalate-2 = H2(Phthalate)"]),
        ("hydrogen sulfate", ["H+ + SO4-2 = HSO4-"]),
    ],
)  # fmt: skip
def test_acids_against_a_library(acid, reactions):
    pKa = next(a for a in ACIDS if a.name == acid).pKa
    cumulative = [math.fsum(p.value for p in reversed(pKa[-k:])) for k in range(1, len(pKa) + 1)]
    assert cumulative == pytest.approx([in_library(reaction) for reaction in reactions], abs=0.0015)


def test_ammonium_and_boric_acid_against_a_library():
    values = {acid.name: acid.pKa[0].value for acid in ACIDS}
    assert values["ammonium"] == -in_library("NH4+ = NH3 + H+")
    assert values["boric acid"] == -in_library("H3BO3 = H2BO3- + H+")


@pytest.mark.parametrize(
    ("metal", "reactions"),
    [
        ("iron(III)", ["Fe+3 + H2O = FeOH+2 + H+", "Fe+3 + 2 H2O = Fe(OH)2+ + 2 H+", "Fe+3 + 3 H2O = Fe(OH)3 + 3 H+"]),
        ("iron(II)", ["Fe+2 + H2O = FeOH+ + H+", "Fe+2 + 2 H2O = Fe(OH)2 + 2 H+", "Fe+2 + 3 H2O = Fe(OH)3- + 3 H+"]),
        ("zinc(II)", ["Zn+2 + H2O = ZnOH+ + H+", "Zn+2 + 2 H2O = Zn(OH)2 + 2 H+", "Zn+2 + 3 H2O = Zn(OH)3- + 3 H+"]),
    ],
)
def test_hydrolysis_against_a_library(metal, reactions):
    constants = next(m for m in METALS if m.name == metal).hydrolysis
    assert [c.value for c in constants[:3]] == [in_library(reaction) for reaction in reactions]


def test_solubility_products_against_a_library():
    for halide, reaction in zip(HALIDES, ("AgCl = Ag+ + Cl-", "AgBr = Ag+ + Br-", "AgI = Ag+ + I-"), strict=True):
        assert halide.log_Ksp.value == in_library(reaction)


def test_phosphoric_pK3_lies_between_the_sources():
    """12.375 (NIST 46), 12.346 (phreeqc.dat), 12.35 (textbooks, from memory): they agree to 0.03."""
    assert abs(PHOSPHORIC.pKa[2].value - 12.35) <= 0.03


def test_textbook_pKa():
    """LibreTexts, table E1: acetic 4.756, citric 3.13 4.76 6.40, carbonic 6.35 10.33."""
    values = {acid.name: [p.value for p in acid.pKa] for acid in ACIDS}
    assert values["acetic acid"] == pytest.approx([4.756], abs=0.0015)
    assert values["citric acid"] == pytest.approx([3.13, 4.76, 6.40], abs=0.005)
    assert values["carbonic acid"] == pytest.approx([6.35, 10.33], abs=0.005)


def test_potentials():
    """A textbook's table (1.33, 1.51), a worked solution to Harris (0.139)."""
    assert DICHROMATE.in_medium("standard").value_V == 1.33
    assert PERMANGANATE.in_medium("standard").value_V == 1.51
    assert TIN.in_medium("1 mol/L hydrochloric acid").value_V == 0.139


def test_a_constant_by_temperature():
    """van 't Hoff: 55.81 kJ/mol moves pKw from 13.997 at 25 °C to 14.164 at 20 °C (IAPWS R11-07, molar: 14.166)."""
    constant = Sourced(-13.997, "thermodynamic", "infinite dilution", "NIST 46", "library", None, 55.81)
    assert constant.at(25.0) == -13.997
    assert constant.at(20.0) == pytest.approx(-14.166, abs=0.003)
    assert constant.varies
    held = Sourced(4.0, "formal", "somewhere", "somebody", "from memory")
    assert held.at(40.0) == 4.0
    assert not held.varies


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="finite constant"):
        Sourced(math.nan, "formal", "somewhere", "somebody", "from memory")
    with pytest.raises(ValueError, match="one form more than pKa"):
        Acid("x", ("a", "b", "c"), 0, ())


def test_side_reactions():
    bath = {"permanganate", "iron(II)", "chloride", "water"}
    speeds = [r.speed for r in concerning(bath)]
    assert speeds.count("induced") == 1
    assert not [r for r in concerning(bath, protected=True) if r.speed == "induced"]
    assert {r.speed for r in SIDE_REACTIONS} == {"frozen", "slow", "induced"}
    for reaction in SIDE_REACTIONS:
        assert reaction.idealised
        assert reaction.prevented_by
        assert (reaction.titrant_share > 0) <= (reaction.speed == "induced")
