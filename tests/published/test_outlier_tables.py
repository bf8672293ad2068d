"""Critical values of outlier tests against published tables."""

import numpy as np
import pytest

from titrator.evaluate.outliers import dixon, dixon_critical, grubbs, grubbs_critical, grubbs_pair, pair_critical

# LibreTexts (Harvey) prints the two-sided values to 0.001, with two misprints (n = 7 at 5 % "2.202", n = 15 at 1 %
# "2.755"); the further digits computed by us from tables of Student's t. n = 4 at 1 % is 1.49625 exactly.
FIVE = [1.1543, 1.4813, 1.7150, 1.8871, 2.0200, 2.1266, 2.2150, 2.2900, 2.3547, 2.4116, 2.4620, 2.5073, 2.5483]
ONE = [1.1547, 1.49625, 1.7637, 1.9728, 2.1391, 2.2744, 2.3868, 2.4821, 2.5641, 2.6357, 2.6990, 2.7554, 2.8061]


@pytest.mark.parametrize("n", range(3, 16))
def test_grubbs(n):
    assert grubbs_critical(n) == pytest.approx(FIVE[n - 3], abs=0.5e-4)
    assert grubbs_critical(n, 0.01) == pytest.approx(ONE[n - 3], abs=0.5e-4)


@pytest.mark.parametrize(("n", "critical"), [(3, 1.1531), (4, 1.4625), (5, 1.6714), (6, 1.8221), (10, 2.1761)])
def test_grubbs_one_sided(n, critical):
    """One-sided 5 % is two-sided 10 % (computed from t, as above)."""
    assert grubbs_critical(n, 0.10) == pytest.approx(critical, abs=0.5e-4)


@pytest.mark.parametrize("n", range(4, 16))
def test_grubbs_pair_by_simulation(n):
    """ISO 5725-2:1994, table 5, from memory: the pair on either side falls below it in 5 % (1 %) of normal samples."""
    draws = np.sort(np.random.default_rng(n).standard_normal((200_000, n)), axis=1)

    def squares(x):
        return ((x - x.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)

    least = np.minimum(squares(draws[:, 2:]), squares(draws[:, :-2])) / squares(draws)
    assert np.mean(least < pair_critical(n)) == pytest.approx(0.05, abs=0.0025 if n > 4 else 0.02)
    if n > 4:  # printed 0.0000 for four
        assert np.mean(least < pair_critical(n, 0.01)) == pytest.approx(0.01, abs=0.0015)


@pytest.mark.parametrize("n", range(3, 11))
def test_dixon_by_simulation(n):
    """Rorabacher (1991), two-sided 90 %; 95 % from memory: rejected in 10 and 5 % of normal samples."""
    draws = np.sort(np.random.default_rng(n).standard_normal((200_000, n)), axis=1)
    gap = np.maximum(draws[:, 1] - draws[:, 0], draws[:, -1] - draws[:, -2])
    q = gap / (draws[:, -1] - draws[:, 0])
    assert np.mean(q > dixon_critical(n)) == pytest.approx(0.05, abs=0.004)
    assert np.mean(q > dixon_critical(n, 0.90)) == pytest.approx(0.10, abs=0.005)


def test_dixon_statistic_by_hand():
    """0.189 0.167 0.187 0.183 0.186 0.182 0.181 0.184 0.181 0.177: gap 0.010, range 0.022."""
    values = [0.189, 0.167, 0.187, 0.183, 0.186, 0.182, 0.181, 0.184, 0.181, 0.177]
    found = dixon(values)
    assert found.statistic == pytest.approx(0.010 / 0.022)
    assert (found.suspects, found.flagged) == ((1,), False)  # 0.455 against 0.466


def test_grubbs_statistic_by_hand():
    """Values 10.0 10.1 9.9 10.0 11.0: mean 10.2, s √(0.82/4) = 0.45277, G = 0.8/0.45277 = 1.7669 above 1.7150."""
    found = grubbs([10.0, 10.1, 9.9, 10.0, 11.0])
    assert found.statistic == pytest.approx(1.7669, abs=5e-5)
    assert (found.suspects, found.flagged) == ((4,), True)
    pair = grubbs_pair([10.0, 10.1, 9.9, 10.0, 11.0, 11.1])
    # Without 11.0 and 11.1: squares 0.02; all six: mean 10.35, squares 1.495: 0.01338, below 0.0349.
    assert pair.statistic == pytest.approx(0.02 / 1.495, rel=1e-9)
    assert (pair.suspects, pair.flagged) == ((4, 5), True)
