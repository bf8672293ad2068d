"""Series, blanks and recoveries; the numbers beside the checks are worked by hand or by numpy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from titrator.evaluate.blanks import blank_below, blank_below_sentence, blank_of, blank_sentence, spiked_blank_mL
from titrator.evaluate.budget import budget
from titrator.evaluate.measurement import model_of
from titrator.evaluate.outliers import outlier_tests
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.recovery import recovery, spike_recovery
from titrator.evaluate.series import Replicate, Series


def series(*values: float) -> Series:
    return Series(tuple(Replicate(f"run {k}", value) for k, value in enumerate(values, 1)))


def test_mean_scatter_and_repeatability():
    """1.70 1.72 1.71 1.69 1.73: mean 1.71, s √(0.001/4) = 0.015811; limit t(4) √2 s = 2.776 × 1.41421 × 0.015811."""
    found = series(1.70, 1.72, 1.71, 1.69, 1.73)
    assert (found.mean, found.dof) == (pytest.approx(1.71), 4)
    assert found.sd == pytest.approx(0.0158114, abs=5e-8)
    assert found.repeatability_limit == pytest.approx(2.776 * math.sqrt(2.0) * 0.0158114, rel=5e-4)
    assert found.flags() == ()


def test_repeatability_limit_of_many():
    """ISO 5725-6: 2.8 s (1.96 √2 = 2.77) for many."""
    values = np.random.default_rng(1).normal(10.0, 1.0, 5000)
    found = series(*values)
    assert found.repeatability_limit / found.sd == pytest.approx(2.77, abs=0.005)


def test_a_flag_removes_nothing():
    found = series(10.0, 10.1, 9.9, 10.0, 11.0)
    assert any("run 5 stands out" in each for each in found.flags())
    assert (len(found.used), found.mean) == (5, pytest.approx(10.2))
    left = found.without("run 5", "air bubble in the burette, seen at 14 mL")
    assert (left.mean, left.dof) == (pytest.approx(10.0), 3)
    assert [(each.label, each.excluded) for each in left.excluded] == [
        ("run 5", "air bubble in the burette, seen at 14 mL")
    ]
    assert len(left.replicates) == 5


@pytest.mark.parametrize("reason", ["", "  "])
def test_an_exclusion_needs_a_reason(reason):
    with pytest.raises(ValueError, match="stated reason"):
        series(1.0, 1.1, 2.0).without("run 3", reason)


def test_what_no_series_is():
    with pytest.raises(ValueError, match="label"):
        Series((Replicate("a", 1.0), Replicate("a", 2.0)))
    with pytest.raises(ValueError, match="not excluded"):
        Series((Replicate("a", 1.0, excluded="spilled"),))
    with pytest.raises(ValueError, match="run 9"):
        series(1.0, 2.0).without("run 9", "spilled")
    with pytest.raises(ValueError, match="finite"):
        series(1.0, math.nan)
    with pytest.raises(ValueError, match="model"):
        series(1.0, 2.0).mean_model()


def replicates(values, u_own=0.001):
    titrant = Quantity("titrant", 1.0, 0.002)
    return Series(tuple(
        Replicate.of(f"run {k}", (model_of(titrant) * Quantity(f"volume {k}", v, u_own)).in_unit("mol/L"))
        for k, v in enumerate(values, 1)
    ))  # fmt: skip


def test_scatter_in_place_of_the_own_sources():
    """1.70 1.72 1.71 1.69 1.73: shared 0.002 × 1.71 whole, scatter s/√5 = 0.0070711 with 4 degrees of freedom."""
    found = budget(replicates([1.70, 1.72, 1.71, 1.69, 1.73]).mean_with_scatter())
    parts = {line.name: line.contribution for line in found.budget}
    assert parts == {
        "titrant": pytest.approx(0.00342, rel=1e-9), "scatter of 5 replicates": pytest.approx(0.0070711, rel=1e-5),
    }  # fmt: skip
    # Welch and Satterthwaite: u⁴/(s⁴/4).
    assert found.dof == pytest.approx(4.0 * (0.00342**2 + 0.5e-4) ** 2 / 0.25e-8, rel=1e-6)
    by_figures = budget(replicates([1.70, 1.72, 1.71, 1.69, 1.73]).mean_model())
    assert by_figures.u == pytest.approx(math.hypot(0.00342, 0.001 / math.sqrt(5.0)), rel=1e-6)


@given(st.lists(st.floats(0.5, 2.0), min_size=2, max_size=20, unique=True))
def test_as_numpy(values):
    found = series(*values)
    assert found.mean == pytest.approx(np.mean(values), rel=1e-12)
    assert found.sd == pytest.approx(np.std(values, ddof=1), rel=1e-9)
    assert budget(replicates(values).mean_with_scatter()).u >= 0.002 * found.mean * (1.0 - 1e-9)
    for test in found.tests():
        assert math.isfinite(test.statistic)


@pytest.mark.parametrize("values", [[1.0, 1.0, 1.0], [1.0, 2.0], [0.1 + 0.2, 0.3, 0.3, 0.3], [0.0] * 5])
def test_no_test_without_scatter(values):
    assert outlier_tests(values) == ()


def test_blank_without_a_jump():
    """Below 0.10 mL: 0.05 mL, u 0.05/√3 = 0.028868 mL."""
    found = blank_below(0.10)
    assert (found.value, found.u, found.distribution) == (0.05, pytest.approx(0.028868, abs=5e-7), "rectangular")
    assert "less than the first addition, 0.1 mL" in blank_below_sentence(0.10)
    with pytest.raises(ValueError, match="above 0 mL"):
        blank_below(0.0)


def test_blank_by_spiking():
    """1.05 mL for 0.1000 mmol at 0.1 mol/L: 0.05 mL; titrant's 0.2 % acts on 1 mL: √(0.002² + 0.003²) mL."""
    found = budget(spiked_blank_mL(
        Quantity("volume", 1.05, 0.003, "mL"), 0.1, Quantity("titrant", 0.1, 0.0002, "mol/L")
    ))  # fmt: skip
    assert (found.value, found.u) == (pytest.approx(0.05), pytest.approx(math.hypot(0.002, 0.003), rel=1e-9))
    with pytest.raises(ValueError, match="above 0"):
        spiked_blank_mL(1.0, 0.1, 0.1, 0.0)


def test_blank_of_several():
    found = blank_of([0.04, 0.05, 0.06])
    assert (found.value, found.u, found.dof) == (
        pytest.approx(0.05), pytest.approx(0.01 / math.sqrt(3.0)), 2,
    )  # fmt: skip
    assert "differs from 0" in blank_sentence(found, 4.303)
    assert "not told apart" in blank_sentence(Quantity("blank", 0.01, 0.02, "mL"), 1.96)
    assert "negative" in blank_sentence(Quantity("blank", -0.1, 0.02, "mL"), 1.96)


def test_recovery():
    """0.0985 (u 0.0003) on 0.1000 (u 0.0002): 98.5 %, u 0.985 √(0.0030457² + 0.002²) = 0.358900 %; 1.5 % is 4.2 u."""
    low = recovery(Quantity("found", 0.0985, 0.0003), Quantity("certified", 0.1, 0.0002))
    assert low.ratio.u == pytest.approx(0.00358900, abs=5e-9)
    assert low.differs
    assert "differs from 100 % significantly and is low" in low.sentence
    near = recovery(Quantity("found", 0.1003, 0.0003), Quantity("certified", 0.1, 0.0002))
    assert not near.differs
    assert "not told apart from 100 %" in near.sentence
    with pytest.raises(ValueError, match="other than 0"):
        recovery(1.0, 0.0)


def test_recovery_by_few_replicates_needs_more():
    """R = 0.98, u 0.0064, one degree of freedom: t 12.7, so nothing differs; with many it does (1.96 u = 0.0125)."""
    few = recovery(Quantity("found", 0.98, 0.0064, "mol/L", "t", 1.0), 1.0)
    many = recovery(Quantity("found", 0.98, 0.0064, "mol/L"), 1.0)
    assert (few.differs, many.differs) == (False, True)


def test_spike_recovery_cancels_the_titrant():
    """(1.5 c - 0.5 c)/(1.0 c): the titrant's uncertainty is in all three and leaves nothing."""
    c = Quantity("titrant", 0.1, 0.01, "mol/L")
    found = spike_recovery(1.5 * model_of(c), 0.5 * model_of(c), 1.0 * model_of(c))
    assert (found.ratio.value, found.ratio.u) == (pytest.approx(1.0), pytest.approx(0.0, abs=1e-12))
