"""Acid-base systems: pools and master for the balance, from the tables of `acids`.

The master is H+ and its balance is the charge balance in other words: electroneutrality fixes how many protons the
solution holds. V(pH) is explicit; pH(V) is the root of the same balance. pH is −log10 of the activity of H+ where a
model of activity is used, of its concentration where none is. Source: charge and mass balances, mass action.
"""

from collections.abc import Sequence
from typing import Literal

from titrator.chemistry.acids import Acid, HydrolysingMetal
from titrator.chemistry.activity import Davies
from titrator.chemistry.pools import Master, Pool, Species
from titrator.chemistry.sourced import REFERENCE_C
from titrator.chemistry.system import System, spectator
from titrator.chemistry.water import pKw

SPECTATORS: dict[str, int] = {"Na+": 1, "K+": 1, "Cl-": -1, "NO3-": -1, "ClO4-": -1, "Br-": -1}
"""Ions that neither give nor take protons, with their charges: in every system."""


def acid_pool(acid: Acid, temperature_C: float) -> Pool:
    """The acid as a pool over its bare form, with constants at `temperature_C`."""
    n = len(acid.pKa)
    log_beta, species = 0.0, [Species(acid.forms[n], 0, 0.0, acid.charge - n)]
    for protons in range(1, n + 1):
        log_beta += acid.pKa[n - protons].at(temperature_C)
        species.append(Species(acid.forms[n - protons], protons, log_beta, acid.charge - n + protons))
    return Pool(acid.name, tuple(species), acid.charge - n, formal=acid.formal)


def metal_pool(metal: HydrolysingMetal, temperature_C: float, *, precipitates: bool) -> Pool:
    """The metal as a pool over its free ion; with its hydroxide as a solid if it `precipitates`."""
    species = [Species(metal.ion, 0, 0.0, metal.charge)]
    for k, constant in enumerate(metal.hydrolysis, start=1):
        name = f"{metal.ion} -{k}H"
        species.append(Species(name, -k, constant.at(temperature_C), metal.charge - k))
    solid = None
    if precipitates and metal.hydroxide is not None:
        solid = Species(f"{metal.ion} hydroxide(s)", -metal.charge, -metal.hydroxide.at(temperature_C))
    return Pool(metal.name, tuple(species), metal.charge, solid)


def acid_base_system(
    acids: Sequence[Acid] = (),
    metals: Sequence[HydrolysingMetal] = (),
    *,
    temperature_C: float = REFERENCE_C,
    activity: Davies | Literal["davies", "none"] = "none",
    precipitates: bool = True,
    pKw_told: float | None = None,
) -> System:
    """A system of acids and hydrolysing metals with the usual spectator ions at `temperature_C`.

    `activity`: "none" takes every constant as it stands (the limit of infinite dilution; right for formal constants);
    "davies" corrects the thermodynamic ones. `pKw_told` replaces the ionic product of water (molar scale), for tables
    that were computed with 14.00. Raises ValueError outside 0 to 50 °C.
    """
    water = pKw(temperature_C) if pKw_told is None else pKw_told
    master = Master("H+", 1, (Species("H+", 1, 0.0, 1), Species("OH-", -1, -water, -1)))
    pools = [spectator(name, charge) for name, charge in SPECTATORS.items()]
    pools += [acid_pool(acid, temperature_C) for acid in acids]
    pools += [metal_pool(metal, temperature_C, precipitates=precipitates) for metal in metals]
    davies = Davies.at(temperature_C) if activity == "davies" else None
    return System(master, pools, activity if isinstance(activity, Davies) else davies)
