"""Worked uncertainty examples of the Eurachem/CITAC guide QUAM (CG4, 2012), A2 and A3, as quotients.

Inputs and results as retold in the documentation of the GTC package (sections A2.4 and A3.4) and printed in the tables
of the guide's 2000 edition. Standard uncertainties of the inputs are computed here from their components.
"""

import math

import pytest

from titrator.evaluate.propagation import Input, Propagated, coverage_factor, effective_dof, product_of_powers

MASS_U = math.sqrt(2.0) * 0.00015 / math.sqrt(3.0)
PURITY = Input("purity", 1.0, 0.0005 / math.sqrt(3.0), "1", distribution="rectangular")
MASS = Input("mass of hydrogen phthalate", 0.3888, MASS_U, "g")


def molar_mass() -> Input:
    """Hydrogen phthalate C8H5O4K from the atomic weights, one rectangular variable for each element."""
    parts = [(8, 0.0008), (5, 0.00007), (4, 0.0003), (1, 0.0001)]
    u = math.sqrt(sum((count * half / math.sqrt(3.0)) ** 2 for count, half in parts))
    assert u == pytest.approx(0.0038, abs=0.00005), "the guide's 0.0038 g/mol"
    return Input("molar mass", 204.2212, u, "g/mol", -1.0)


def sodium_hydroxide() -> Propagated:
    volume_u = math.hypot(0.03 / math.sqrt(6.0), 0.006)
    return product_of_powers(
        [
            Input("repeatability", 1.0, 0.0005, "1"),
            MASS,
            PURITY,
            molar_mass(),
            Input("volume", 18.64, volume_u, "mL", -1.0),
        ],
        factor=1000.0,
    )


def hydrochloric_acid(repeatability_u: float) -> Propagated:
    def volume(name: str, value_mL: float, half_mL: float, heated_mL: float, exponent: float) -> Input:
        warmth = heated_mL * 2.1e-4 * 4.0 / math.sqrt(3.0)
        return Input(name, value_mL, math.hypot(half_mL / math.sqrt(6.0), warmth), "mL", exponent)

    return product_of_powers(
        [
            Input("repeatability", 1.0, repeatability_u, "1"),
            MASS,
            PURITY,
            molar_mass(),
            volume("titration of the acid", 14.89, 0.03, 15.0, 1.0),
            volume("titration of the phthalate", 18.64, 0.03, 19.0, -1.0),
            volume("aliquot of acid", 15.0, 0.02, 15.0, -1.0),
        ],
        factor=1000.0,
    )


def test_example_a2_sodium_hydroxide():
    """Guide: c(NaOH) = 0.10214 mol/L, u = 0.00010 mol/L."""
    found = sodium_hydroxide()
    assert found.value == pytest.approx(0.10214, abs=0.000005)
    assert found.u == pytest.approx(0.00010, abs=0.000005)


def test_example_a2_contributions():
    """Largest contributions, by hand: volume 0.10214 × 0.01364/18.64 = 7.5e-5, repeatability 5.1e-5 mol/L."""
    lines = {line.name: line for line in sodium_hydroxide().budget}
    assert lines["volume"].contribution == pytest.approx(7.5e-5, abs=0.05e-5)
    assert lines["repeatability"].contribution == pytest.approx(5.1e-5, abs=0.05e-5)
    assert lines["volume"].sensitivity == pytest.approx(-0.10214 / 18.64, rel=1e-4)
    assert sum(line.share for line in lines.values()) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("repeatability_u", "u"), [(0.001, 0.00018), (0.001 / math.sqrt(3.0), 0.00016)])
def test_example_a3_hydrochloric_acid(repeatability_u, u):
    """Guide: 0.10139 mol/L, u 0.00018; with three titrations (A3.6) u 0.00016.

    The guide's summary table prints 0.00016 beside a repeatability of 0.001, which its own inputs do not give.
    """
    found = hydrochloric_acid(repeatability_u)
    assert found.value == pytest.approx(0.10139, abs=0.000005)
    assert found.u == pytest.approx(u, abs=0.000005)


def test_effective_degrees_of_freedom_of_the_end_gauge():
    """JCGM 100, H.1.6 (end-gauge calibration): components in nm with their degrees of freedom; the guide: 16.7."""
    components = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    assert effective_dof(components) == pytest.approx(16.7, abs=0.1)


@pytest.mark.parametrize(("dof", "k"), [(1, 12.71), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01), (math.inf, 1.960)])
def test_coverage_factors(dof, k):
    """JCGM 100, Table G.2, column 95 %."""
    assert coverage_factor(dof) == pytest.approx(k, abs=0.005)
