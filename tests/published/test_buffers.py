"""Standard buffers: what thermodynamic constants and Davies give for solutions whose pH is published.

The equation of Davies is an approximation: at 0.1 mol/L it is good to some 0.02 in log γ of a double charge, and the
published values contain the convention of a single-ion coefficient. So 0.02 is asked for at 25 °C, 0.04 by temperature
(the change of the constants with temperature is from memory), which is enough to find a wrong constant or sign.
"""

import pytest

from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import BORIC, CARBONIC, CITRIC, OXALIC, PHOSPHORIC, PHTHALIC

# JIS Z 8802:2011 at 0 5 10 15 20 25 30 35 40 50 °C.
CELSIUS = (0, 5, 10, 15, 20, 25, 30, 35, 40, 50)
BUFFERS = {
    # mol in 1 L (the standards are 0.05 or 0.025 mol per kg of water; the litre stands for the kilogram)
    "phthalate": (
        PHTHALIC, {"HPht-": 0.05, "K+": 0.05},
        (4.01, 4.01, 4.00, 4.00, 4.00, 4.01, 4.01, 4.02, 4.03, 4.06), 0.04),
    "equimolal phosphate": (
        PHOSPHORIC, {"H2PO4-": 0.025, "HPO4-2": 0.025, "K+": 0.025, "Na+": 0.05},
        (6.98, 6.95, 6.92, 6.90, 6.88, 6.86, 6.85, 6.84, 6.84, 6.83), 0.04),
    "borax": (
        BORIC, {"B(OH)3": 0.02, "B(OH)4-": 0.02, "Na+": 0.02},
        (9.46, 9.39, 9.33, 9.27, 9.22, 9.18, 9.14, 9.10, 9.07, 9.01), 0.04),
    "carbonate": (
        CARBONIC, {"HCO3-": 0.025, "CO3-2": 0.025, "Na+": 0.075},
        (10.32, 10.25, 10.18, 10.12, 10.07, 10.02, 9.97, 9.93, None, None), 0.04),
}  # fmt: skip


@pytest.mark.parametrize("name", BUFFERS)
def test_buffers_by_temperature(name):
    acid, recipe, table, tolerance = BUFFERS[name]
    for temperature_C, pH in zip(CELSIUS, table, strict=True):
        if pH is not None:  # not in the table
            system = acid_base_system([acid], temperature_C=temperature_C, activity="davies")
            assert abs(system.equilibrium(system.state(recipe, 1000.0)).p - pH) <= tolerance


# At 25 °C with three decimals. NBS 1946 (phthalate), NBS 1969 (borax, carbonate, citrate); IUPAC 2002 from memory
# (phosphates, tetroxalate).
AT_25_C = {
    "phthalate": (PHTHALIC, {"HPht-": 0.05, "K+": 0.05}, 4.005),
    "borax": (BORIC, {"B(OH)3": 0.02, "B(OH)4-": 0.02, "Na+": 0.02}, 9.180),
    "citrate": (CITRIC, {"H2Cit-": 0.05, "K+": 0.05}, 3.776),
    "carbonate": (CARBONIC, {"HCO3-": 0.025, "CO3-2": 0.025, "Na+": 0.075}, 10.012),
    "equimolal phosphate": (PHOSPHORIC, {"H2PO4-": 0.025, "HPO4-2": 0.025, "K+": 0.025, "Na+": 0.05}, 6.865),
    "1:3.5 phosphate": (
        PHOSPHORIC, {"H2PO4-": 0.008695, "HPO4-2": 0.03043, "K+": 0.008695, "Na+": 0.06086}, 7.413),
    "tetroxalate": (OXALIC, {"H2C2O4": 0.05, "HC2O4-": 0.05, "K+": 0.05}, 1.679),
}  # fmt: skip


@pytest.mark.parametrize("name", AT_25_C)
def test_buffers_at_25_C(name):
    acid, recipe, published = AT_25_C[name]
    system = acid_base_system([acid], activity="davies")
    assert abs(system.equilibrium(system.state(recipe, 1000.0)).p - published) <= 0.02
