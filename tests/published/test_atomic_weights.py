"""Standard atomic weights and molar masses against the `periodictable` package (IUPAC 2021, Prohaska et al. 2022)."""

import periodictable
import pytest

from titrator.chemistry.atomic_weights import ATOMIC_WEIGHTS
from titrator.chemistry.formula import atoms
from titrator.evaluate.budget import budget
from titrator.evaluate.molar_mass import molar_mass


@pytest.mark.parametrize("symbol", ATOMIC_WEIGHTS)
def test_weight(symbol):
    element = getattr(periodictable, symbol)
    assert ATOMIC_WEIGHTS[symbol] == pytest.approx((element.mass, element._mass_unc), rel=1e-9)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ("KHC8H4O4", "KHC8H4O4"),
        ("(NH4)2Fe(SO4)2·6H2O", "(NH4)2Fe(SO4)2+6H2O"),
        ("Ce(SO4)2*4H2O", "Ce(SO4)2+4H2O"),
        ("Na2C2O4", "Na2C2O4"),
        ("AgNO3", "AgNO3"),
        ("C10H14N2Na2O8·2H2O", "C10H14N2Na2O8+2H2O"),
        ("K2Cr2O7", "K2Cr2O7"),
        ("K4Fe(CN)6·3H2O", "K4Fe(CN)6+3H2O"),
    ],
)
def test_formula(ours, theirs):
    formula = periodictable.formula(theirs)
    assert {str(atom): int(count) for atom, count in formula.atoms.items()} == atoms(ours)
    assert molar_mass(ours).value == pytest.approx(formula.mass, rel=1e-9)


def test_uncertainty_by_hand():
    """Na2C2O4: 2 × 2e-8, 2 × 0.002, 4 × 0.001 as half-widths: √(0.004² + 0.004²)/√3 = 0.003266 g/mol."""
    found = budget(molar_mass("Na2C2O4"))
    assert found.u == pytest.approx(0.003266, abs=5e-7)


@pytest.mark.parametrize("wrong", ["", "fe2", "Fe(", "Fe)", "()", "Fe2)3", "Xx2", "Fe·", "H2O ·· H2O", "Fe-3", "(2)3"])
def test_what_is_no_formula(wrong):
    with pytest.raises(ValueError, match="expected"):
        molar_mass(wrong)
