"""Volumes, masses and chains; the numbers beside the checks are worked by hand."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from titrator.evaluate.budget import budget
from titrator.evaluate.evaluation import EquivalencePoint, Evaluation
from titrator.evaluate.measurement import mean_of_replicates
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.results import ResultInputs, results
from titrator.evaluate.sample_chain import (
    dilution_factor,
    mass_fraction,
    sample_g_per_L,
    sample_mol_per_L,
    titrated_mmol,
    with_factor,
)
from titrator.evaluate.titrant_chain import (
    amount_mmol,
    less_blank_mL,
    made_up_mol_per_L,
    portion_mmol,
    standardised_mol_per_L,
)
from titrator.evaluate.volumes import Burette, Glassware, Warmth
from titrator.evaluate.weighing import buoyancy_factor, weighed_g


@pytest.mark.parametrize(("density", "factor"), [(998.2067, 1.001053), (1636.0, 1.000584)])
def test_buoyancy(density, factor):
    """Water at 20 °C and hydrogen phthalate in air of 1.2 kg/m3 (computed by us from OIML R 111's formula)."""
    assert buoyancy_factor(density) == pytest.approx(factor, abs=0.5e-6)


def test_titrant_by_weighing():
    """Silver nitrate 16.987 g of 99.9 % (M 169.87) in 1 L: 0.0999 mol/L; u: purity 0.05 %/√3, flask 0.4 mL/√6."""
    flask = Glassware.within("flask", 1000.0, 0.4)
    mass = weighed_g("silver nitrate", 16.987, 0.0)
    titrant = made_up_mol_per_L(
        amount_mmol(mass, Quantity.bounded("purity", 0.999, 0.0005), 169.87), flask.filled()
    )  # fmt: skip
    found = budget(titrant)
    assert found.value == pytest.approx(0.0999, rel=1e-9)
    relative = math.hypot(0.0005 / 0.999 / math.sqrt(3.0), 0.0004 / math.sqrt(6.0))
    assert found.u / found.value == pytest.approx(relative, rel=1e-9)


def test_temperature_of_the_titrant():
    """At 30 °C a burette's 20.000 mL hold what takes 20 (1 + 1e-4)/(1 + 2.1e-3) = 19.9601 mL at 20 °C."""
    warm = Warmth(Quantity("temperature of the titrant", 30.0, 1.0, "°C"))
    found = budget(Burette().delivered(20.0, warm))
    assert found.value == pytest.approx(20.0 * 1.0001 / 1.0021, rel=1e-12)
    assert found.u == pytest.approx(20.0 * 2.0e-4, rel=0.01)


def test_same_warmth_cancels_between_aliquot_and_burette():
    """One aliquot against one volume of titrant, both at the same temperature: nothing of it is left."""
    warm = Warmth(Quantity.bounded("temperature", 24.0, 3.0, "°C"))
    pipette, burette = Glassware.within("pipette", 10.0, 0.02), Burette.within(0.002)
    found = budget(sample_mol_per_L(titrated_mmol(0.1, burette.delivered(17.0, warm)), pipette.filled(warmth=warm)))
    shares = {line.name: line.share for line in found.budget}
    assert found.value == pytest.approx(0.17, rel=1e-12)
    assert shares["temperature"] == pytest.approx(0.0, abs=1e-20)
    aside = budget(titrated_mmol(0.1, burette.delivered(17.0, warm)))
    assert {line.name: line.share for line in aside.budget}["temperature"] > 0.05


def test_blank_takes_a_constant_shift_off():
    """(V + shift) - (V_b + shift): only the readings are left."""
    burette = Burette(shift=Quantity.bounded("zero of the burette", 0.0, 0.05, "mL"))
    sample = burette.delivered(Quantity("sample", 17.05, 0.003, "mL"))
    blank = burette.delivered(Quantity("blank", 0.05, 0.004, "mL"))
    found = budget(less_blank_mL(sample, blank))
    assert (found.value, found.u) == (pytest.approx(17.0), pytest.approx(0.005, rel=1e-9))


def test_chain_of_dilutions_with_one_pipette():
    """10 → 100 → 1000 by the same pipette twice: its mark counts twice (2 × 0.1 %), its fillings √2 × 0.05 %."""
    pipette = Glassware("pipette", 10.0, Quantity("pipette, calibration", 0.0, 0.010, "mL"), 0.005)
    factor = dilution_factor([(pipette.filled("first"), 100.0), (pipette.filled("second"), 100.0)])
    found = budget(factor)
    assert found.value == pytest.approx(100.0)
    assert found.u / found.value == pytest.approx(math.hypot(0.002, math.sqrt(2.0) * 0.0005), rel=1e-9)
    assert dilution_factor([]).value == 1.0


def test_units_of_the_result():
    """1.7 mmol of iron in 10 mL of a tenfold dilution: 1.7 mol/L, 94.94 g/L; in 0.5 g of sample wholly: 18.99 %."""
    amount = titrated_mmol(0.1, 17.0)
    bath = sample_mol_per_L(amount, 10.0, 10.0)
    assert bath.value == pytest.approx(1.7)
    assert sample_g_per_L(bath, 55.845).value == pytest.approx(94.9365)
    assert mass_fraction(amount, 55.845, 0.5).value == pytest.approx(1.7 * 55.845 / 500.0)
    assert mass_fraction(amount, 55.845, 5.0, 0.1).value == pytest.approx(1.7 * 55.845 / 500.0)
    assert portion_mmol(17.0, 10.0, 100.0).value == pytest.approx(1.7)


def test_permanganate_against_oxalate():
    """2 MnO4- take 5 oxalate: 0.2680 g (2.000 mmol at 134.0 g/mol) on 40.00 mL: 2/(2.5 × 40) = 0.02000 mol/L."""
    found = standardised_mol_per_L(amount_mmol(0.2680, 1.0, 134.0), 40.0, 2.5)
    assert found.value == pytest.approx(0.02, rel=1e-12)


def test_sampling_is_a_line():
    found = budget(with_factor(Quantity("result", 2.0, 0.002, "mol/L"), "sampling", 0.003))
    shares = {line.name: line.share for line in found.budget}
    assert shares["sampling"] == pytest.approx(0.9, rel=1e-9)


@pytest.mark.parametrize("part", [
    lambda: standardised_mol_per_L(1.0, 10.0, 0.0),
    lambda: titrated_mmol(0.1, 10.0, -1.0),
    lambda: weighed_g("salt", 0.0, 0.0001),
    lambda: buoyancy_factor(1.0),
    lambda: Glassware.within("pipette", 0.0, 0.01),
])  # fmt: skip
def test_refused(part):
    with pytest.raises(ValueError, match="expected"):
        part()


@settings(max_examples=40)
@given(
    st.integers(1, 5),
    st.floats(0.0, 0.01),
    st.floats(1e-6, 0.05),
    st.floats(0.0, 0.5),
    st.tuples(st.floats(5.0, 35.0), st.floats(1.0, 45.0)),
)
def test_replicates_never_shrink_the_shared_part(n, calibration, u_mL, pipette_mL, run):
    """Mean of n: u² is at least that of one replicate with its own volume and filling known; nothing is NaN."""
    temperature_C, volume_mL = run
    burette, pipette = Burette.within(calibration), Glassware.within("pipette", 10.0, pipette_mL, filling_u_mL=u_mL)
    titrant = Quantity("titrant", 0.1, 0.0002, "mol/L")
    warm = Warmth(Quantity("temperature", temperature_C, 1.0, "°C"))

    def replicate(k):
        volume = burette.delivered(Quantity(f"volume {k}", volume_mL, u_mL, "mL"), warm)
        return sample_mol_per_L(titrated_mmol(titrant, volume), pipette.filled(str(k), warm))

    found = budget(mean_of_replicates([replicate(k) for k in range(n)]))
    known = Glassware("pipette", 10.0, pipette.error)
    one = sample_mol_per_L(
        titrated_mmol(titrant, burette.delivered(volume_mL, warm)), known.filled(warmth=warm)
    )  # fmt: skip
    assert found.u >= budget(one).u * (1.0 - 1e-9)
    assert all(math.isfinite(each) for each in (found.value, found.u, found.k, *found.interval_95))
    assert math.fsum(line.share for line in found.budget) == pytest.approx(1.0, abs=1e-9)


def test_the_plain_result_is_a_chain():
    """What results() gives for a stated titrant, aliquot and dilution, line by line (two routes of ours)."""
    stated = Quantity("titrant concentration", 0.1, 0.0002, "mol/L")
    aliquot, dilution = Quantity("aliquot", 10.0, 0.01, "mL"), Quantity("dilution", 10.0, 0.005)
    inputs = ResultInputs("iron(II)", stated, aliquot, dilution, 1.0, Burette.within(0.002))
    point = EquivalencePoint(17.0, 0.001, 12.0, (16.998, 17.002), 860.0, "mV", "model-fit")
    plain = results(Evaluation((point,)), inputs)[0]
    volume = Quantity("equivalence volume (random)", 17.0, 0.001, "mL", "t", 12.0)
    amount = titrated_mmol(
        Quantity("titrant concentration", 0.1, 0.0002, "mol/L"), Burette.within(0.002).delivered(volume)
    )
    chain = budget(
        sample_mol_per_L(amount, Quantity("aliquot", 10.0, 0.01, "mL"), Quantity("dilution", 10.0, 0.005))
    )  # fmt: skip
    assert (chain.value, chain.u) == (pytest.approx(plain.value), pytest.approx(plain.u, rel=1e-12))
    assert (chain.dof, chain.k) == (pytest.approx(plain.dof), pytest.approx(plain.k))
    shares = {line.name: line.share for line in chain.budget}
    assert shares == {line.name: pytest.approx(line.share) for line in plain.budget}
