"""Titrations with silver: halides that precipitate, alone and in mixtures.

The master is Ag+; each halide is a pool of X− and the solid AgX. At a given [Ag+] the free halide is what it is without
solid, or Ksp/[Ag+] if that is less; so V(pAg) is piecewise explicit, and a mixture needs no case of its own. Source:
mass balances of silver and halides with the solubility products.

Idealised: pure solids in equilibrium at once (no mixed crystals of AgBr and AgCl, no adsorption, no ageing of the
precipitate), and by default no soluble AgX and no AgX2−, as in textbooks.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from titrator.chemistry.acid_base import SPECTATORS
from titrator.chemistry.activity import Davies
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.pools import Master, Pool, Species
from titrator.chemistry.sourced import REFERENCE_C, Sourced
from titrator.chemistry.system import System, spectator
from titrator.chemistry.titration import Titration

_NIST46 = "NIST critical stability constants (database 46), as carried by minteq.v4.dat of USGS PHREEQC"

SILVER_V = Sourced(0.7996, "thermodynamic", "standard", "P. Vanýsek in the CRC Handbook series", "published")
"""Ag+ + e− = Ag, V against SHE at 25 °C."""


def _constant(value: float, enthalpy_kJ: float | None = None) -> Sourced:
    return Sourced(value, "thermodynamic", "infinite dilution", _NIST46, "library", None, enthalpy_kJ)


@dataclass(frozen=True, slots=True)
class Halide:
    """An anion X− with log10 Ksp of AgX and log10 of the constant of Ag+ + X− = AgX (dissolved)."""

    name: str
    ion: str
    log_Ksp: Sourced
    log_pair: Sourced

    @property
    def solid(self) -> str:
        """Name of the solid as a species: "AgCl(s)"."""
        return f"Ag{self.ion.rstrip('-')}(s)"

    def told(self, Ksp: float) -> "Halide":
        """The same anion with a solubility product told by the user, used as it stands (formal)."""
        if not 0.0 < Ksp < math.inf:
            raise ValueError(f"{self.name}: a positive solubility product was expected, {Ksp!r} came")
        constant = Sourced(math.log10(Ksp), "formal", "told by the user", "told by the user", "computed by us")
        return Halide(self.name, self.ion, constant, self.log_pair)


CHLORIDE = Halide("chloride", "Cl-", _constant(-9.75, 65.2), _constant(3.31, -12.0))
BROMIDE = Halide("bromide", "Br-", _constant(-12.30, 84.5), _constant(4.6))
IODIDE = Halide("iodide", "I-", _constant(-16.08, 110.0), _constant(6.6))
HALIDES: tuple[Halide, ...] = (CHLORIDE, BROMIDE, IODIDE)
"""The halides of this version."""


def silver_system(
    halides: Sequence[Halide] = HALIDES,
    *,
    temperature_C: float = REFERENCE_C,
    activity: Davies | Literal["davies", "none"] = "none",
    soluble_pairs: bool = False,
) -> System:
    """Silver with the halides and the usual spectator ions; `soluble_pairs` adds dissolved AgX. Names: "Ag+", "Cl-" …

    Raises ValueError outside 0 to 50 °C where activity coefficients are asked for.
    """
    pools = []
    for halide in halides:
        species = [Species(halide.ion, 0, 0.0, -1)]
        if soluble_pairs:
            species.append(Species(f"Ag{halide.ion.rstrip('-')}(aq)", 1, halide.log_pair.at(temperature_C)))
        solid = Species(halide.solid, 1, -halide.log_Ksp.at(temperature_C))
        formal = halide.log_Ksp.kind == "formal"
        pools.append(Pool(halide.name, tuple(species), -1, solid, formal))
    taken = {halide.ion for halide in halides}
    pools += [spectator(name, charge) for name, charge in SPECTATORS.items() if name not in taken]
    davies = Davies.at(temperature_C) if activity == "davies" else None
    master = Master("Ag+", 1, (Species("Ag+", 1, 0.0, 1),))
    return System(master, pools, activity if isinstance(activity, Davies) else davies)


def silver_potential_mV(pAg: float, temperature_C: float = REFERENCE_C) -> float:
    """Potential of a silver electrode in mV against SHE at pAg (of the activity), from the Nernst equation.

    The standard potential is held at its value of 25 °C. −inf where there is no silver.
    """
    return 1000.0 * SILVER_V.value - nernst_slope_per_decade_mV(temperature_C) * pAg


def saturation(halide: Halide, titration: Titration, volume_mL: float) -> float:
    """log10 of the ion product of AgX over Ksp after `volume_mL` if no AgX had formed; positive: it forms."""
    system = titration.system
    index = next(i for i, pool in enumerate(system.pools) if pool.name == halide.name)
    state = titration.state(volume_mL)
    found = system.equilibrium(state)
    held = state.amounts_mol[index]
    if held <= 0.0 or found.p == math.inf:
        return -math.inf
    solid = system.balance.solids[index]
    assert solid is not None
    ln_free = math.log(1000.0 * held / state.volume_mL)
    return (ln_free + found.y + solid.ln_beta - solid.shift * found.g) / math.log(10.0)


def onset_mL(halide: Halide, titration: Titration, most_mL: float = 1e4) -> float:
    """Volume of silver titrant at which solid AgX first forms, in mL; inf if it does not below `most_mL`.

    In a mixture the second solid starts beside the first equivalence point, by the ratio of the solubility products.
    """
    low, high = 0.0, most_mL
    if saturation(halide, titration, high) < 0.0:
        return math.inf
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in {low, high}:
            break
        if saturation(halide, titration, middle) > 0.0:
            high = middle
        else:
            low = middle
    return high


def solubility_mol_per_L(halide: Halide, *, temperature_C: float = REFERENCE_C, soluble_pairs: bool = False) -> float:
    """Solubility of AgX in pure water in mol/L: what is dissolved at the equivalence point, √Ksp without pairs."""
    log_Ksp = halide.log_Ksp.at(temperature_C)
    pair = math.pow(10.0, log_Ksp + halide.log_pair.at(temperature_C)) if soluble_pairs else 0.0
    return math.pow(10.0, 0.5 * log_Ksp) + pair
