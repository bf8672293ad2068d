"""Eurachem/CITAC CG4 (2012), examples A2 and A3, through the whole chain, component by component.

Inputs and results as retold in the documentation of the GTC package (sections A2.4 and A3.4). Beside them the same
formulas written out in GTC itself (an independent implementation of JCGM 100): value, u and every line of the budget.
The guide's atomic weights are those of its time, not our table.
"""

import math

import pytest
from GTC import component, tb, ureal

from titrator.evaluate.budget import budget
from titrator.evaluate.measurement import model_of
from titrator.evaluate.molar_mass import molar_mass
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.sample_chain import sample_mol_per_L, titrated_mmol, with_factor
from titrator.evaluate.titrant_chain import amount_mmol, less_blank_mL, standardised_mol_per_L
from titrator.evaluate.volumes import Burette, Glassware, Warmth
from titrator.evaluate.weighing import weighed_g

WEIGHTS = {"C": (12.0107, 0.0008), "H": (1.00794, 0.00007), "O": (15.9994, 0.0003), "K": (39.0983, 0.0001)}
PURITY = Quantity.bounded("purity", 1.0, 0.0005)


def phthalate_mmol():
    mass = weighed_g("phthalate", 0.3888, 0.00015)
    return amount_mmol(mass, PURITY, molar_mass("C8H5KO4", WEIGHTS))


# ±3 K at 95 %, which the guide's 19 mL × 2.1e-4 /K turn into 0.006 mL (rounded there); it leaves the glass out.
A2_U_K = 3.0 / 1.96
A2_PER_K = 0.006 / (18.64 * A2_U_K)


def sodium_hydroxide():
    burette = Burette(shift=Quantity.bounded("burette", 0.0, 0.03, "mL", "triangular"))
    volume = burette.delivered(18.64, Warmth(Quantity("temperature", 20.0, A2_U_K, "°C"), A2_PER_K, 0.0))
    return with_factor(standardised_mol_per_L(phthalate_mmol(), volume), "repeatability", 0.0005)


def in_gtc():
    """The inputs of A2 in GTC's own terms."""
    x = {
        "phthalate, balance linearity (gross)": ureal(0.0, tb.uniform(0.00015)),
        "phthalate, balance linearity (tare)": ureal(0.0, tb.uniform(0.00015)),
        "purity": ureal(1.0, tb.uniform(0.0005)),
        "repeatability": ureal(1.0, 0.0005),
    }
    for symbol, (value, half) in WEIGHTS.items():
        x[f"atomic weight of {symbol}"] = ureal(value, tb.uniform(half))
    weight = {symbol: x[f"atomic weight of {symbol}"] for symbol in WEIGHTS}
    x_mass = 0.3888 + x["phthalate, balance linearity (gross)"] - x["phthalate, balance linearity (tare)"]
    molar = 8 * weight["C"] + 5 * weight["H"] + 4 * weight["O"] + weight["K"]
    return x, 1000.0 * x_mass * x["purity"] / molar


def assert_as_gtc(found, wanted, inputs):
    """Value, u, and every share as GTC gives them, to nine figures."""
    assert found.value == pytest.approx(wanted.x, rel=1e-12)
    assert found.u == pytest.approx(wanted.u, rel=1e-9)
    assert {line.name for line in found.budget} == set(inputs)
    for line in found.budget:
        part = component(wanted, inputs[line.name])
        assert line.contribution == pytest.approx(part, rel=1e-9, abs=1e-18), line.name
        assert line.share == pytest.approx((part / wanted.u) ** 2, rel=1e-8, abs=1e-18), line.name


def test_example_a2_published():
    """CG4 (2012), A2: c(NaOH) 0.10214 mol/L, u 0.00010; M 204.2212 g/mol, u 0.0038; u(m) 0.122 mg; u(V) 0.0136 mL.

    Unrounded 0.1021362, u 0.00010050; parts 6.7e-5 (calibration), 5.1e-5 (repeatability), 3.3e-5 (temperature): the
    components worked by hand.
    """
    found = budget(sodium_hydroxide())
    assert found.value == pytest.approx(0.10214, abs=0.5e-5)
    assert found.value == pytest.approx(0.1021362, abs=0.5e-7)
    assert found.u == pytest.approx(0.00010, abs=0.5e-5)
    assert found.u == pytest.approx(0.00010050, abs=0.5e-8)
    part = {line.name: line.contribution for line in found.budget}
    assert part["burette"] == pytest.approx(6.7e-5, abs=0.05e-5)
    assert part["repeatability"] == pytest.approx(5.1e-5, abs=0.05e-5)
    assert part["temperature"] == pytest.approx(3.3e-5, abs=0.05e-5)
    molar = budget(molar_mass("KHC8H4O4", WEIGHTS))
    assert (molar.value, molar.u) == (pytest.approx(204.2212, abs=5e-5), pytest.approx(0.0038, abs=5e-5))
    mass = budget(weighed_g("phthalate", 0.3888, 0.00015))
    assert mass.u == pytest.approx(0.000122, abs=5e-7)


def test_example_a2_by_the_rounded_figures_of_its_table():
    """The table of A2, from memory: each relative standard uncertainty, and 0.00097 (u 0.0000986) for the result."""
    printed = {
        "repeatability": (Quantity("repeatability", 1.0, 0.0005), 0.0005, 5e-5),
        "mass": (Quantity("mass", 0.3888, 0.00013, "g"), 0.00033, 5e-6),
        "purity": (Quantity("purity", 1.0, 0.00029), 0.00029, 5e-6),
        "molar mass": (Quantity("molar mass", 204.2212, 0.0038, "g/mol"), 0.000019, 5e-7),
        "volume": (Quantity("volume", 18.64, 0.013, "mL"), 0.0007, 5e-5),
    }
    inputs = {name: quantity for name, (quantity, _, _) in printed.items()}
    standard = amount_mmol(inputs["mass"], inputs["purity"], inputs["molar mass"])
    found = budget(standardised_mol_per_L(standard, inputs["volume"]) * inputs["repeatability"])
    for line in found.budget:
        _, relative, half_digit = printed[line.name]
        assert line.contribution / found.value == pytest.approx(relative, abs=half_digit), line.name
    assert found.u / found.value == pytest.approx(0.00097, abs=5e-6)
    assert found.u == pytest.approx(0.0000986, abs=0.5e-7)


def test_example_a2_as_gtc():
    """Every share of A2 as GTC 1.5 gives it."""
    x, amount = in_gtc()
    x["burette"] = ureal(0.0, tb.triangular(0.03))
    x["temperature"] = ureal(20.0, A2_U_K)
    volume = (18.64 + x["burette"]) / (1.0 + A2_PER_K * (x["temperature"] - 20.0))
    assert_as_gtc(budget(sodium_hydroxide()), x["repeatability"] * amount / volume, x)


A3_VOLUMES = {"acid": (14.89, 0.03, 15.0), "phthalate": (18.64, 0.03, 19.0), "aliquot": (15.0, 0.02, 15.0)}


def a3_warmth(name: str) -> Warmth:
    """±4 K, rectangular; the guide takes the effect on the volumes as 15, 19 and 15 mL, each for itself."""
    volume_mL, _, heated_mL = A3_VOLUMES[name]
    return Warmth(
        Quantity.bounded(f"temperature ({name})", 20.0, 4.0, "°C"), 2.1e-4 * heated_mL / volume_mL, 0.0
    )  # fmt: skip


def hydrochloric_acid(repeatability_u: float, excess_mL: tuple[float, float] | None = None):
    """c(HCl) = 1000 m P V_T2 / (V_T1 M V_HCl): the guide takes the three volumes as independent."""

    def volume(name: str):
        shift = Quantity.bounded(f"burette ({name})", 0.0, A3_VOLUMES[name][1], "mL", "triangular")
        found = Burette(shift=shift).delivered(A3_VOLUMES[name][0], a3_warmth(name))
        if excess_mL is None:
            return found
        return less_blank_mL(found, Quantity(f"excess ({name})", *excess_mL, "mL"))

    pipette = Glassware(
        "pipette", 15.0, Quantity.bounded("burette (aliquot)", 0.0, 0.02, "mL", "triangular")
    )  # fmt: skip
    titrant = standardised_mol_per_L(phthalate_mmol(), volume("phthalate"))
    acid = titrated_mmol(titrant, volume("acid"))
    found = sample_mol_per_L(acid, pipette.filled(warmth=a3_warmth("aliquot")))
    return with_factor(found, "repeatability", repeatability_u)


@pytest.mark.parametrize(
    ("repeatability_u", "printed_u", "u"),
    [(0.001, 0.00018, 0.00018434), (0.001 / math.sqrt(3.0), 0.00016, 0.00016471)],
)
def test_example_a3_published(repeatability_u, printed_u, u):
    """CG4 (2012), A3: 0.10139 mol/L, u 0.00018; three titrations (A3.6): u 0.00016. Unrounded figures by hand."""
    found = budget(hydrochloric_acid(repeatability_u))
    assert found.value == pytest.approx(0.10139, abs=0.5e-5)
    assert found.value == pytest.approx(0.1013872, abs=0.5e-7)
    assert found.u == pytest.approx(printed_u, abs=0.5e-5)
    assert found.u == pytest.approx(u, abs=0.5e-8)


def test_example_a3_as_gtc():
    """Every share of A3 as GTC 1.5 gives it."""
    x, amount = in_gtc()
    x["repeatability"] = ureal(1.0, 0.001)
    volume = {}
    for name, (volume_mL, half_mL, heated_mL) in A3_VOLUMES.items():
        x[f"burette ({name})"] = ureal(0.0, tb.triangular(half_mL))
        x[f"temperature ({name})"] = ureal(20.0, tb.uniform(4.0))
        above_K = x[f"temperature ({name})"] - 20.0
        volume[name] = (volume_mL + x[f"burette ({name})"]) / (1.0 + 2.1e-4 * heated_mL / volume_mL * above_K)
    wanted = x["repeatability"] * amount * volume["acid"] / (volume["phthalate"] * volume["aliquot"])
    assert_as_gtc(budget(hydrochloric_acid(0.001)), wanted, x)


def test_end_point_bias_of_a3():
    """CG4 (2012), A3.6: an excess of 0.05 mL, u 0.03 mL, in both titrations: 0.10132 mol/L, u 0.00031."""
    found = budget(hydrochloric_acid(0.001 / math.sqrt(3.0), (0.05, 0.03)))
    assert found.value == pytest.approx(0.10132, abs=0.5e-5)
    assert found.u == pytest.approx(0.00031, abs=0.5e-5)


def test_bath_with_everything_shared_as_gtc():
    """A bath by titrant standardised on the same burette, with the same pipette, at the same warmth: as GTC.

    Standardisation: stock of primary standard, pipetted; sample: diluted by pipette and flask, aliquot by the pipette.
    Blank taken off both. Figures invented (Marrow Quay Galvanizing); the oracle is GTC's own propagation.
    """
    room = Quantity.bounded("temperature", 22.5, 2.0, "°C")
    warm = Warmth(room)
    burette = Burette(
        Quantity.bounded("burette calibration", 1.0, 0.002), Quantity.bounded("burette shift", 0.0, 0.01, "mL")
    )
    pipette = Glassware.within("pipette", 10.0, 0.02, "triangular", 0.005)
    flask = Glassware.within("flask", 100.0, 0.10, "triangular", 0.03)
    blank = Quantity("blank", 0.05, 0.01, "mL", "t", 2.0)
    iron = Quantity("iron", 0.5585, 0.0001, "g")
    weight = Quantity("molar mass", 55.845, 0.001, "g/mol")
    stock = amount_mmol(iron, PURITY, weight) * pipette.filled("stock", warm) / flask.filled("stock", warm)
    standard_mL = less_blank_mL(burette.delivered(Quantity("first", 10.05, 0.002, "mL", "t", 9.0), warm), blank)
    titrant = standardised_mol_per_L(stock, standard_mL)
    sample_mL = less_blank_mL(burette.delivered(Quantity("second", 17.05, 0.002, "mL", "t", 14.0), warm), blank)
    dilution = flask.filled("bath", warm) / pipette.filled("bath", warm)
    found = budget(sample_mol_per_L(titrated_mmol(titrant, sample_mL), pipette.filled("aliquot", warm), dilution))

    x = {
        "temperature": ureal(22.5, tb.uniform(2.0)),
        "burette calibration": ureal(1.0, tb.uniform(0.002)),
        "burette shift": ureal(0.0, tb.uniform(0.01)),
        "pipette, calibration": ureal(0.0, tb.triangular(0.02)),
        "flask, calibration": ureal(0.0, tb.triangular(0.10)),
        "blank": ureal(0.05, 0.01, 2),
        "iron": ureal(0.5585, 0.0001),
        "molar mass": ureal(55.845, 0.001),
        "purity": ureal(1.0, tb.uniform(0.0005)),
        "first": ureal(10.05, 0.002, 9),
        "second": ureal(17.05, 0.002, 14),
    }
    for name in ("stock", "bath", "aliquot"):
        x[f"pipette, filling {name}"] = ureal(0.0, 0.005)
    for name in ("stock", "bath"):
        x[f"flask, filling {name}"] = ureal(0.0, 0.03)
    above = x["temperature"] - 20.0
    warmed = (1.0 + 1.0e-5 * above) / (1.0 + 2.1e-4 * above)
    ten = {n: (10.0 + x["pipette, calibration"] + x[f"pipette, filling {n}"]) * warmed for n in ("stock", "bath")}
    ten["aliquot"] = (10.0 + x["pipette, calibration"] + x["pipette, filling aliquot"]) * warmed
    hundred = {n: (100.0 + x["flask, calibration"] + x[f"flask, filling {n}"]) * warmed for n in ("stock", "bath")}
    first = (x["first"] + x["burette shift"]) * x["burette calibration"] * warmed - x["blank"]
    second = (x["second"] + x["burette shift"]) * x["burette calibration"] * warmed - x["blank"]
    c = 1000.0 * x["iron"] * x["purity"] / x["molar mass"] * ten["stock"] / hundred["stock"] / first
    wanted = c * second / ten["aliquot"] * hundred["bath"] / ten["bath"]
    assert_as_gtc(found, wanted, x)
    assert found.dof == pytest.approx(wanted.df, rel=1e-6)


def test_what_is_shared_cancels():
    """By hand: with one burette for both titrations its factor divides itself out, and the flask of both dilutions."""
    both = Burette.within(0.002)
    titrant = standardised_mol_per_L(Quantity("standard", 1.0, 0.001, "mmol"), both.delivered(10.0))
    shared = budget(titrated_mmol(titrant, both.delivered(17.0)))
    other = budget(titrated_mmol(titrant, Burette.within(0.002, "another burette").delivered(17.0)))
    assert shared.u / shared.value == pytest.approx(0.001, rel=1e-12)
    assert other.u / other.value == pytest.approx(math.sqrt(0.001**2 + 2 * 0.002**2 / 3), rel=1e-12)
    assert {line.name: line.share for line in shared.budget}["burette calibration"] == pytest.approx(0.0, abs=1e-24)
    assert model_of(titrant).value == pytest.approx(0.1)
