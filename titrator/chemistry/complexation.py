"""Titrations with EDTA in a buffer: conditional constants and the curve of one metal or of several.

At a held pH only the share α(Y4−) of free EDTA is Y4−, and only the share α(M) of the metal not bound to EDTA is free
M2+ (the buffer's ammonia and hydroxide hold the rest), so that the balance is written with a conditional constant

    K'' = α(M)·α(Y4−)·K(MY)      K'' = [MY]/(c'(M)·c'(Y)),  c' = what is not in the complex

Two forms of the same balance, each explicit: with EDTA as the master (any number of metals), V(pY'); with the metal as
the master (one metal), V(pM'). Source: mass balances and mass action.

Idealised: pH and free ammonia are held by the buffer (EDTA sets protons free: the buffer must be strong), only 1:1
complexes (no MHY, MOHY), no precipitation of hydroxides, constants of one ionic strength throughout.
"""

import math
from collections.abc import Sequence

from titrator.chemistry.acids import AMMONIUM
from titrator.chemistry.chelates import DEFAULT_EDTA_SET, EDTA_SETS, Chelate
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.pools import Master, Pool, Species
from titrator.chemistry.sourced import REFERENCE_C, Sourced
from titrator.chemistry.system import System
from titrator.chemistry.titration import Titration


def edta_fraction(pH: float, constants: str | Sequence[float] = DEFAULT_EDTA_SET) -> float:
    """α(Y4−): share of free EDTA that is Y4− at `pH`, by a named set of pKa or by pKa in rising order.

    Source: mass action of the protonated forms. Raises KeyError for a set that is not in the table.
    """
    if isinstance(constants, str):
        if constants not in EDTA_SETS:
            raise KeyError(f"a set of pKa of EDTA was expected ({', '.join(EDTA_SETS)}), {constants!r} came")
        constants = [pKa.value for pKa in EDTA_SETS[constants]]
    exponent, terms = 0.0, [0.0]
    for pKa in reversed(constants):
        exponent += pKa - pH
        terms.append(exponent)
    return _share(terms)


def metal_fraction(chelate: Chelate, pH: float, ammonia_mol_per_L: float = 0.0) -> float:
    """α(M): share of the metal outside the EDTA complex that is the free ion, at `pH` and free NH3 in mol/L.

    Complexes with NH3 and hydroxide; the hydrolysis constants are those at infinite dilution, taken as they stand.
    Raises ValueError for a negative or infinite concentration.
    """
    if not 0.0 <= ammonia_mol_per_L < math.inf:
        raise ValueError(f"a concentration of ammonia of 0 mol/L or above was expected, {ammonia_mol_per_L!r} came")
    terms = [0.0] + [constant.value + k * pH for k, constant in enumerate(chelate.hydrolysis, start=1)]
    if ammonia_mol_per_L > 0.0:
        ligand = math.log10(ammonia_mol_per_L)
        terms += [constant.value + k * ligand for k, constant in enumerate(chelate.ammonia, start=1)]
    return _share(terms)


def _share(terms: Sequence[float]) -> float:
    """The first of the terms (log10) as a share of their sum, without overflow."""
    top = max(terms)
    return math.pow(10.0, terms[0] - top) / math.fsum(math.pow(10.0, term - top) for term in terms)


def free_ammonia_mol_per_L(total_mol_per_L: float, pH: float, pKa: float = AMMONIUM.pKa[0].value) -> float:
    """[NH3] of an ammonia buffer of that total concentration at `pH`."""
    return total_mol_per_L / (1.0 + math.pow(10.0, min(pKa - pH, 300.0)))


def conditional_log_K(
    chelate: Chelate,
    pH: float,
    ammonia_mol_per_L: float = 0.0,
    edta_constants: str | Sequence[float] = DEFAULT_EDTA_SET,
) -> Sourced:
    """log10 K'' at the pH and free ammonia of a buffer, with where it comes from."""
    value = chelate.log_K.value + math.log10(edta_fraction(pH, edta_constants))
    value += math.log10(metal_fraction(chelate, pH, ammonia_mol_per_L))
    medium = f"pH {pH:g}, {ammonia_mol_per_L:g} mol/L NH3, {chelate.log_K.medium}"
    return Sourced(value, "formal", medium, f"{chelate.log_K.source}; α by this module", "computed by us")


def edta_system(log_K: dict[str, float]) -> System:
    """EDTA as the master; metals by name with conditional log10 K''. Names: "EDTA", the metals, "metal-EDTA"."""
    pools = [
        Pool(metal, (Species(metal, 0), Species(f"{metal}-EDTA", 1, value)), formal=True)
        for metal, value in log_K.items()
    ]
    return System(Master("EDTA", 0, (Species("EDTA", 1),)), pools)


def metal_system(metal: str, log_K: float) -> System:
    """One metal as the master with EDTA as the pool: V(pM') is explicit. Names: the metal, "EDTA", "metal-EDTA"."""
    pool = Pool("EDTA", (Species("EDTA", 0), Species(f"{metal}-EDTA", 1, log_K)), formal=True)
    return System(Master(metal, 0, (Species(metal, 1),)), [pool])


def pM(titration: Titration, volume_mL: float, metal: str, free_fraction: float = 1.0) -> float:
    """−log10 [M2+] after `volume_mL`, for either form of the balance; `free_fraction` is α(M) of the buffer.

    inf where none of the metal was put in. Raises ValueError as `Titration.state`.
    """
    state = titration.state(volume_mL)
    found = titration.system.equilibrium(state)
    if titration.system.master.name == metal:
        return found.p - math.log10(free_fraction)
    held = titration.system.species_mol(state, found.y, found.g)[metal]
    return -math.log10(1000.0 * free_fraction * held / state.volume_mL) if held > 0.0 else math.inf


def ion_electrode_mV(pM_value: float, charge: int = 2, temperature_C: float = REFERENCE_C) -> float:
    """Potential of an ideal metal-ion electrode in mV against its own value at pM 0: −(slope/charge)·pM."""
    return -nernst_slope_per_decade_mV(temperature_C) / charge * pM_value
