"""Properties of the redox curve that hold for any couples: monotone, closed balance, finite, invertible."""

import math
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from titrator.chemistry.redox import RedoxBalance, RedoxTitration, log_oxidised_fraction, oxidised_fraction

EPS = sys.float_info.epsilon
ELECTRONS = st.sampled_from([1, 2, 3, 5])


@st.composite
def balances(draw):
    """Couples with a jump of 50 to 1500 mV (or none), any electrons, up to 90 % oxidised at the start."""
    analyte_mV = draw(st.floats(-500, 900))
    return RedoxBalance(
        analyte_mV=analyte_mV,
        titrant_mV=analyte_mV + draw(st.one_of(st.floats(50, 1500), st.floats(-200, 50))),
        slope_mV=draw(st.floats(20, 35)),
        analyte_electrons=draw(ELECTRONS),
        titrant_electrons=draw(ELECTRONS),
        oxidised_at_start=draw(st.one_of(st.just(0.0), st.floats(1e-12, 0.9))),
    )


DEGREES = st.one_of(
    st.floats(1e-3, 3),
    st.floats(-12, 4).map(lambda power: 10.0**power),
    st.tuples(st.sampled_from([-1, 1]), st.floats(-15, -1)).map(lambda pair: 1.0 + pair[0] * 10.0 ** pair[1]),
)


@given(balances(), DEGREES)
def test_electron_balance_closes(balance, degree):
    """a = f0 + v·b to 1e-9 of itself, with the fractions computed here."""
    potential_mV = balance.potential_mV(degree)
    x = balance.analyte_electrons * (potential_mV - balance.analyte_mV) / balance.slope_mV
    y = balance.titrant_electrons * (potential_mV - balance.titrant_mV) / balance.slope_mV
    a, b = 1 / (1 + math.exp(-x)), 1 / (1 + math.exp(y))
    assert math.isclose(a, balance.oxidised_at_start + degree * b, rel_tol=1e-9)


@given(balances(), DEGREES, DEGREES)
def test_curve_rises(balance, one, other):
    low, high = sorted((one, other))
    assert balance.potential_mV(low) <= balance.potential_mV(high) + 1e-9


@given(balances(), st.floats(0.0, 1.0))
def test_potential_of_volume_of_potential(balance, place):
    """E(V(E)) = E, within what the rounding of V leaves open: in the middle of a jump V says little about E."""
    low_mV = balance.potential_mV(1e-6)
    potential_mV = low_mV + place * (max(balance.titrant_mV, low_mV) + 200.0 - low_mV)
    degree = balance.degree(potential_mV)
    left_open_mV = 32 * EPS * max(1.0, degree) * (1 / balance.degree_slope_per_mV(potential_mV) + balance.slope_mV)
    if degree > 0.0:
        assert abs(balance.potential_mV(degree) - potential_mV) <= 1e-8 + left_open_mV


@given(balances(), DEGREES)
def test_slope_is_the_derivative(balance, degree):
    """dv/dE against central differences of h = s/1000 and h/2, extrapolated to h = 0 (Richardson).

    A central difference errs by terms in h² and h⁴; extrapolation leaves h⁴/480 times the fifth derivative. v is made
    of exponentials up to (z_A + z_T)·E/s, so that is of the order of ((z_A + z_T)/s)⁴ times dv/dE; the whole of it is
    allowed, undivided. Each difference of two degrees rounds by a few units of the last place, which 1/h magnifies.
    """
    potential_mV = balance.potential_mV(degree)

    def difference(h_mV: float) -> float:
        return (balance.degree(potential_mV + h_mV) - balance.degree(potential_mV - h_mV)) / (2 * h_mV)

    h_mV = balance.slope_mV / 1000
    extrapolated = (4 * difference(h_mV / 2) - difference(h_mV)) / 3
    slope = balance.degree_slope_per_mV(potential_mV)
    rounding = 64 * EPS * max(1.0, degree) / h_mV
    own = ((balance.analyte_electrons + balance.titrant_electrons) / 1000) ** 4
    assert abs(extrapolated - slope) <= own * slope + rounding


@given(balances(), st.floats(min_value=5e-324, max_value=1e300))
def test_any_degree_has_a_finite_potential(balance, degree):
    potential_mV, rise = balance.point(degree)
    assert math.isfinite(potential_mV)
    assert rise >= 0.0


@given(balances(), st.floats(-1e6, 1e6))
def test_any_potential_has_a_degree(balance, potential_mV):
    assert not math.isnan(balance.degree(potential_mV))
    assert not math.isnan(balance.degree_slope_per_mV(potential_mV))


@given(balances(), DEGREES)
def test_point_and_slope_agree(balance, degree):
    potential_mV, rise = balance.point(degree)
    slope = balance.degree_slope_per_mV(potential_mV)
    assert math.isclose(rise / balance.slope_mV, slope, rel_tol=1e-6, abs_tol=4 * EPS)


@given(balances(), DEGREES)
def test_textbook_formulas_bound_the_curve(balance, degree):
    """Neglected turnover puts the formula before equivalence above the curve, the one after it below."""
    if degree < balance.equivalence_degree:
        assert balance.potential_mV(degree) <= balance.before_mV(degree) + 1e-9
    elif degree > balance.equivalence_degree:
        assert balance.potential_mV(degree) >= balance.after_mV(degree) - 1e-9


def test_start_of_the_curve():
    pure, aged = RedoxBalance(680, 1440, 25), RedoxBalance(680, 1440, 25, oxidised_at_start=0.01)
    assert pure.potential_mV(0.0) == -math.inf  # the limit of Nernst
    assert math.isclose(aged.potential_mV(0.0), 680 + 25 * math.log(0.01 / 0.99), rel_tol=1e-12)
    assert math.isclose(aged.potential_mV(1e-12), aged.potential_mV(0.0), rel_tol=1e-9)


def test_what_is_oxidised_at_the_start_needs_no_titrant():
    titration = RedoxTitration.of_amounts(RedoxBalance(680, 1440, 25, oxidised_at_start=0.2), 2.0, 0.1)
    assert math.isclose(titration.equivalence_mL, 16.0)


@pytest.mark.parametrize("x", [-1e308, -800.0, -1.0, 0.0, 1.0, 800.0, 1e308, math.inf, -math.inf])
def test_the_logistic_does_not_overflow(x):
    assert 0.0 <= oxidised_fraction(x) <= 1.0
    assert math.isclose(oxidised_fraction(x) + oxidised_fraction(-x), 1.0, rel_tol=1e-15)
    if abs(x) < 30:
        assert math.isclose(log_oxidised_fraction(x), math.log(oxidised_fraction(x)), rel_tol=1e-12)
    assert log_oxidised_fraction(-800.0) == -800.0


@pytest.mark.parametrize("degree", [-1e-9, math.nan, math.inf])
def test_impossible_degrees_are_refused(degree):
    with pytest.raises(ValueError, match="finite degree of titration >= 0"):
        RedoxBalance(680, 1440, 25).potential_mV(degree)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"analyte_mV": math.nan}, "finite potentials"),
        ({"slope_mV": 0.0}, "positive slope"),
        ({"titrant_electrons": 0}, "electrons of the titrant"),
        ({"oxidised_at_start": 1.0}, "oxidised fraction"),
    ],
)
def test_impossible_balances_are_refused(changed, message):
    with pytest.raises(ValueError, match=message):
        RedoxBalance(**({"analyte_mV": 680, "titrant_mV": 1440, "slope_mV": 25} | changed))


@pytest.mark.parametrize(("analyte_mmol", "titrant_mol_per_L"), [(0.0, 0.1), (1.0, 0.0), (math.inf, 0.1)])
def test_impossible_amounts_are_refused(analyte_mmol, titrant_mol_per_L):
    with pytest.raises(ValueError, match="positive"):
        RedoxTitration.of_amounts(RedoxBalance(680, 1440, 25), analyte_mmol, titrant_mol_per_L)
