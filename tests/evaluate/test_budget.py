"""Budgets of measurement models: worked by hand, and properties that hold for any."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from titrator.evaluate.budget import budget
from titrator.evaluate.measurement import Model, mean_of_replicates, model_of
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.sensitivity import sensitivities

values = st.floats(0.01, 1e4)
relative = st.floats(1e-6, 0.05)
dofs = st.one_of(st.just(math.inf), st.integers(1, 60).map(float))


@st.composite
def quantities(draw, count=4):
    """Independent sources named x0, x1, ...; no t, whose degrees of freedom must be finite."""
    return [
        Quantity(f"x{k}", value := draw(values), value * draw(relative), "mL", dof=draw(dofs)) for k in range(count)
    ]


def test_a_quotient_and_a_difference_by_hand():
    """y = (a - b)/c: a 12, u 0.03; b 2, u 0.04; c 5, u 0.01: y 2, u² = 0.05²/25 + (2 × 0.01/5)² = 1e-4 + 1.6e-5."""
    a, b, c = Quantity("a", 12.0, 0.03, "mL"), Quantity("b", 2.0, 0.04, "mL"), Quantity("c", 5.0, 0.01, "mL")
    found = budget((model_of(a) - b) / c)
    assert (found.value, found.u) == (2.0, pytest.approx(math.sqrt(1.16e-4), rel=1e-12))
    assert [line.share for line in found.budget] == pytest.approx([0.36e-4 / 1.16e-4, 0.64e-4 / 1.16e-4, 16.0 / 116.0])
    assert pytest.approx(found.k * found.u) == found.U
    assert found.interval_95 == pytest.approx((2.0 - found.U, 2.0 + found.U))


def test_declared_correlation_is_told():
    """a + b, u 3 and 4, r 0.5: u² = 9 + 16 + 12 = 37; r = -1 leaves 1; shares with the correlation's add to 1."""
    total = model_of(Quantity("a", 1.0, 3.0)) + Quantity("b", 1.0, 4.0)
    found = budget(total, {("a", "b"): 0.5})
    assert found.u == pytest.approx(math.sqrt(37.0))
    assert found.correlations[0].share == pytest.approx(12.0 / 37.0)
    assert budget(total, {("a", "b"): -1.0}).u == pytest.approx(1.0)


@pytest.mark.parametrize(
    "wrong",
    [
        {("a", "z"): 0.5},
        {("a", "b"): 0.1, ("b", "a"): 0.1},
        {("a", "a"): 1.0},
        {("a", "b"): 1.5},
        {("a", "b"): math.nan},
    ],
)
def test_wrong_correlations(wrong):
    total = model_of(Quantity("a", 1.0, 3.0)) + Quantity("b", 1.0, 4.0)
    with pytest.raises(ValueError, match="expected"):
        budget(total, wrong)


def test_correlations_that_contradict_each_other():
    total = model_of(Quantity("a", 1.0, 1.0)) + Quantity("b", 1.0, 1.0) + Quantity("c", 1.0, 1.0)
    with pytest.raises(ValueError, match="contradict"):
        budget(total, {("a", "b"): 1.0, ("b", "c"): 1.0, ("a", "c"): -1.0})


def test_one_name_is_one_source():
    with pytest.raises(ValueError, match="two came"):
        model_of(Quantity("burette", 1.0, 0.1)) + Quantity("burette", 1.0, 0.2)


@pytest.mark.parametrize(
    ("part", "match"),
    [
        (lambda: model_of(1.0) / Quantity("x", 0.0, 0.1), "finite"),
        (lambda: Quantity("", 1.0, 0.1), "name"),
        (lambda: Quantity("x", math.nan, 0.1), "finite value"),
        (lambda: Quantity("x", 1.0, -0.1), "uncertainty"),
        (lambda: Quantity("x", 1.0, 0.1, dof=0.0), "degrees"),
        (lambda: Quantity("x", 1.0, 0.1, distribution="t"), "finite degrees"),
        (lambda: Quantity.bounded("x", 1.0, 0.1, shape="normal"), "bounds"),
        (lambda: Quantity.mean_of("x", [1.0]), "two readings"),
        (lambda: model_of(math.inf), "finite number"),
        (lambda: mean_of_replicates([]), "replicate"),
    ],
)
def test_refused(part, match):
    with pytest.raises(ValueError, match=match):
        budget(part())


@given(quantities(), st.lists(st.sampled_from([-2.0, -1.0, -0.5, 0.5, 1.0, 3.0]), min_size=4, max_size=4))
def test_powers_in_three_ways(sources, exponents):
    """Analytic, complex-step and central differences agree, and with the propagation of a product of powers."""
    product = model_of(2.5)
    for each, exponent in zip(sources, exponents, strict=True):
        product = product * model_of(each) ** exponent
    by_numbers = Model(product.function, product.quantities)
    # np.abs takes the imaginary part away: only the central difference is left.
    real = Model(lambda v: np.abs(product.function(v)), product.quantities)
    exact, stepped, central = (sensitivities(each) for each in (product, by_numbers, real))
    for name in exact:
        assert (exact[name].by, stepped[name].by, central[name].by) == (
            "analytic", "complex-step", "central-difference",
        )  # fmt: skip
        assert stepped[name].value == pytest.approx(exact[name].value, rel=1e-10)
        assert abs(central[name].value - exact[name].value) <= central[name].error
        assert central[name].value == pytest.approx(exact[name].value, rel=1e-4)
    # A quotient by hand: relative parts p u/x, their root sum of squares, Welch and Satterthwaite's formula.
    found = budget(product)
    parts = [found.value * e * q.u / q.value for q, e in zip(sources, exponents, strict=True)]
    u = math.sqrt(math.fsum(part**2 for part in parts))
    per_dof = math.fsum(part**4 / q.dof for part, q in zip(parts, sources, strict=True))
    assert found.u == pytest.approx(u, rel=1e-9)
    assert found.dof == pytest.approx(u**4 / per_dof if per_dof > 0.0 else math.inf, rel=1e-6)


def test_a_function_that_drops_the_imaginary_part_on_its_way():
    """y = x + |x| at 3 has slope 2; a complex step alone would say 1."""
    found = sensitivities(Model(lambda v: v["x"] + abs(v["x"]), (Quantity("x", 3.0, 0.1),)))["x"]
    assert (found.by, found.value) == ("central-difference", pytest.approx(2.0, rel=1e-9))


def chain(sources):
    a, b, c, d = (model_of(each) for each in sources)
    return (a * 3.0 - b / c) * d + a**2


@given(quantities())
def test_shares_add_to_one(sources):
    found = budget(chain(sources))
    assert math.fsum(line.share for line in found.budget) == pytest.approx(1.0, abs=1e-9)
    assert found.dof >= min(each.dof for each in sources) * (1.0 - 1e-9)
    assert all(math.isfinite(each) for each in (found.value, found.u, found.k, found.U, *found.interval_95))


@given(quantities(), st.sampled_from([1e-6, 1e-3, 1000.0]))
def test_another_unit_changes_nothing(sources, scale):
    """An input told in µL in place of mL, the model with it: the same result and the same shares."""
    changed = Quantity("x0", sources[0].value * scale, sources[0].u * scale, "other", dof=sources[0].dof)
    a, b, c, d = (model_of(each) for each in [changed, *sources[1:]])
    told = a / scale
    found, other = budget(chain(sources)), budget((told * 3.0 - b / c) * d + told**2)
    assert other.value == pytest.approx(found.value, rel=1e-9, abs=1e-9)
    assert other.u == pytest.approx(found.u, rel=1e-6)
    assert [line.share for line in other.budget] == pytest.approx([line.share for line in found.budget], abs=1e-6)


@settings(max_examples=50)
@given(st.integers(1, 12), relative, relative, values)
def test_what_is_shared_never_shrinks(n, u_shared, u_own, value):
    """Mean of n replicates shared × own_i: u²/y² = u_shared² + u_own²/n, whatever n."""
    shared = Quantity("titrant", value, value * u_shared, "mol/L")
    replicates = [model_of(shared) * Quantity(f"volume {k}", 1.0, u_own, "mL") for k in range(n)]
    found = budget(mean_of_replicates(replicates))
    assert found.u / found.value == pytest.approx(math.sqrt(u_shared**2 + u_own**2 / n), rel=1e-9)
    assert found.u >= value * u_shared * (1.0 - 1e-12)


def test_without_uncertainty():
    found = budget(model_of(Quantity("x", 2.0, 0.0)) * 3.0)
    assert (found.value, found.u, found.U, found.dof) == (6.0, 0.0, 0.0, math.inf)


@pytest.mark.parametrize("scale", [1e-150, 1e-90, 1e90, 1e150])
def test_no_unit_is_too_small(scale):
    """The degrees of freedom are a ratio: u 3 (ν 5) and 4 (ν 10) give 625/(81/5 + 256/10), in any unit."""
    found = budget(model_of(Quantity("a", scale, 3.0 * scale, dof=5.0)) + Quantity("b", scale, 4.0 * scale, dof=10.0))
    assert (found.u / scale, found.dof) == (pytest.approx(5.0), pytest.approx(625.0 / (16.2 + 25.6)))


def test_an_infinite_uncertainty_is_refused():
    with pytest.raises(ValueError, match="finite"):
        budget(model_of(Quantity("a", 1.0, 1e200)) * Quantity("b", 1e200, 1.0))
