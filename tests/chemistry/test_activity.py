"""Davies' equation against a table."""

import math

import pytest

from titrator.chemistry.activity import Davies, davies_term, range_warning

# A 0.509, factor 0.3: γ for charges 1, 2, 3. Computed by us with pencil and paper from the equation.
TABLE = {
    0.01: (0.902, 0.662, 0.396),
    0.05: (0.822, 0.455, 0.170),
    0.1: (0.782, 0.373, 0.109),
    0.5: (0.734, 0.290, 0.062),
}


@pytest.mark.parametrize(("strength", "gammas"), TABLE.items())
def test_table(strength, gammas):
    davies = Davies(0.509)
    for charge, gamma in enumerate(gammas, start=1):
        assert abs(davies.gamma(charge, strength) - gamma) <= 0.0005
        assert davies.gamma(-charge, strength) == davies.gamma(charge, strength)


def test_limits():
    davies = Davies(0.509)
    assert davies.gamma(2, 0.0) == 1.0
    assert davies.gamma(0, 0.3) == 1.0
    # the limiting law of Debye and Hückel
    assert davies.log10_gamma(1, 1e-8) == pytest.approx(-0.509e-4, rel=2e-4)


def test_out_of_range_is_said_and_held():
    assert range_warning(0.5) is None
    assert "0.5 mol/L" in range_warning(0.6)
    assert davies_term(3.0) == davies_term(0.5)


@pytest.mark.parametrize("A", [0.0, -0.5, math.nan, math.inf])
def test_constants_without_meaning_are_refused(A):
    with pytest.raises(ValueError, match="positive Debye-Hückel constant"):
        Davies(A)


def test_a_negative_strength_held_is_refused():
    with pytest.raises(ValueError, match="held at 0 mol/L or above"):
        Davies(0.5, -0.1)
