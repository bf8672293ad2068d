"""Redox titrations of any stoichiometry: several couples in one cell, H+ taken up, several atoms in one species.

The master is the electron: a couple `ox` + m H+ + z e− = u `red` is a pool over the reduced form (concentration r) with

    [ox] = 10^(−z·E°/S + m·pH)·x^(−z)·r^u,      x = 10^(−E/S),  S = ln(10)·RT/F

and the balance of electrons is the one balance of `balance`. One analyte with one titrant of one atom each gives the
curve of `redox` again; two analytes (tin(II), then iron(II)) need nothing more. V(E) is explicit at a held pH unless a
species holds several atoms (dichromate, triiodide, tetrathionate), where it is a bracketed root. Source: balance of
electrons, mass balances, Nernst's equation. Potentials are formal: no activity coefficients.

The acid may be held (`pH`) or counted: `AcidLevel` is what is left of the strong acid by stoichiometry.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from titrator.chemistry.constants import LN_10, nernst_slope_mV
from titrator.chemistry.couples import Couple
from titrator.chemistry.pools import Master, Pool, Species
from titrator.chemistry.sourced import REFERENCE_C
from titrator.chemistry.system import Equilibrium, State, System
from titrator.chemistry.titration import Titration

_LEAST_ACID_MOL_PER_L = 1e-7
_MOST_HALVINGS = 200


def couple_pool(couple: Couple, potential_V: float, slope_mV: float) -> Pool:
    """The couple as a pool over its reduced form, for a formal potential in V at pH 0 and a slope RT/F in mV."""
    log_beta = -couple.electrons * potential_V * 1000.0 / (LN_10 * slope_mV)
    oxidised = Species(couple.oxidised, -couple.electrons, log_beta, units=couple.units, protons=float(couple.protons))
    return Pool(couple.name, (Species(couple.reduced, 0), oxidised), formal=True)


class RedoxCell:
    """Couples with the potentials chosen for them (V at pH 0 against any one reference), at one slope.

    The state counts the electrons missing: its total is −z for each mol of an oxidised form that was put in. `slope_mV`
    is RT/F or a share of it. Raises ValueError for a slope that is not positive.
    """

    def __init__(
        self,
        couples: Sequence[tuple[Couple, float]],
        *,
        temperature_C: float = REFERENCE_C,
        slope_mV: float | None = None,
    ) -> None:
        """Prepare the balance."""
        self.slope_mV = nernst_slope_mV(temperature_C) if slope_mV is None else slope_mV
        if not 0.0 < self.slope_mV < math.inf:
            raise ValueError(f"a positive slope RT/F in mV was expected, {self.slope_mV!r} came")
        self.couples = tuple(couple for couple, _ in couples)
        pools = [couple_pool(couple, potential_V, self.slope_mV) for couple, potential_V in couples]
        self.system = System(Master("electrons", 0, ()), pools)

    @classmethod
    def in_medium(
        cls, couples: Sequence[tuple[Couple, str]], *, temperature_C: float = REFERENCE_C, reference_V: float = 0.0
    ) -> "RedoxCell":
        """With potentials of the table, against a reference of `reference_V`. Raises KeyError as `Couple.in_medium`."""
        chosen = [(couple, couple.in_medium(medium).value_V - reference_V) for couple, medium in couples]
        return cls(chosen, temperature_C=temperature_C)

    def state(self, recipe_mol: Mapping[str, float], volume_mL: float) -> State:
        """The state of a vessel with the named forms in mol ("iron(II)"). Raises ValueError as `System.state`."""
        return self.system.state(recipe_mol, volume_mL)

    def equilibrium(self, state: State, pH: float = 0.0, near: Equilibrium | None = None) -> Equilibrium:
        """Equilibrium at a held pH; `near` is a neighbour's result."""
        return self.system.at_pH(pH).equilibrium(state, near)

    def potential_mV(self, state: State, pH: float = 0.0, near: Equilibrium | None = None) -> float:
        """Potential in mV; −inf where nothing is oxidised, inf where nothing is reduced (the limits of Nernst)."""
        return -self.slope_mV * self.equilibrium(state, pH, near).y


@dataclass(frozen=True, slots=True)
class AcidLevel:
    """Strong acid in mol in the vessel and in mol/L of titrant, and what one mol of electrons takes up of it.

    `per_electron` is m/z of the titrant's couple less m/z of the analyte's: 8/5 for permanganate with iron(II).
    """

    vessel_mol: float
    titrant_mol_per_L: float = 0.0
    per_electron: float = 0.0

    def __post_init__(self) -> None:
        """Refuse amounts that are none."""
        if not (0.0 <= self.vessel_mol < math.inf and 0.0 <= self.titrant_mol_per_L < math.inf):
            raise ValueError(
                f"amounts of acid of 0 or above were expected, {self.vessel_mol!r} mol and "
                f"{self.titrant_mol_per_L!r} mol/L came"
            )

    def pH(self, electrons_mol: float, titrant_mL: float, volume_mL: float) -> float:
        """pH after `titrant_mL`, in `volume_mL` altogether, when `electrons_mol` have changed hands.

        Never above 7: without acid the chemistry is another (manganese dioxide, hydroxides).
        """
        left_mol = self.vessel_mol + titrant_mL / 1000.0 * self.titrant_mol_per_L - self.per_electron * electrons_mol
        return -math.log10(max(1000.0 * left_mol / volume_mL, _LEAST_ACID_MOL_PER_L))


class CellTitration:
    """A vessel (mol of named forms, mL) titrated with named forms in mol/L, in a redox cell.

    `acid` is a pH that is held, or an `AcidLevel` that is counted. Raises ValueError as `System.state`.
    """

    def __init__(
        self,
        cell: RedoxCell,
        vessel_mol: Mapping[str, float],
        volume_mL: float,
        titrant_mol_per_L: Mapping[str, float],
        *,
        acid: AcidLevel | float = 0.0,
    ) -> None:
        """Prepare the curve."""
        self.cell = cell
        self.acid = acid
        self.counted = isinstance(acid, AcidLevel)
        held = cell.system.at_pH(acid) if isinstance(acid, float | int) else cell.system
        self.titration = Titration(held, vessel_mol, volume_mL, titrant_mol_per_L)
        # Electrons that the vessel gives to an oxidant, or takes from a reductant; what the titrant brings along of its
        # own couple (manganese(II) or iodide in the vessel) does not count.
        oxidant = not self.titration.rising
        own = {c.name for c in cell.couples if {c.oxidised, c.reduced} & titrant_mol_per_L.keys()}
        strangers = [couple for couple in cell.couples if couple.name not in own]
        self._room_mol = _electrons(strangers, vessel_mol, oxidised=not oxidant)
        self._per_L = _electrons(cell.couples, titrant_mol_per_L, oxidised=oxidant)

    @property
    def equivalence_mL(self) -> float:
        """Volume of titrant that all analytes together use up, in mL; inf for a titrant that does nothing."""
        return 1000.0 * self._room_mol / self._per_L if self._per_L > 0.0 else math.inf

    def pH(self, volume_mL: float) -> float:
        """pH after `volume_mL` of titrant: the held one, or from the acid that is left."""
        if not isinstance(self.acid, AcidLevel):
            return float(self.acid)
        moved_mol = min(self._room_mol, self._per_L * volume_mL / 1000.0)
        return self.acid.pH(moved_mol, volume_mL, self.titration.start.volume_mL + volume_mL)

    def potential_mV(self, volume_mL: float, near: Equilibrium | None = None) -> float:
        """E(V) in mV; ±inf in the limits of Nernst. Raises ValueError for a negative or infinite volume."""
        state = self.titration.state(volume_mL)
        return self.cell.potential_mV(state, self.pH(volume_mL), near)

    def volume_mL(self, potential_mV: float) -> float:
        """V(E) in mL at a held pH, as `Titration.volume_mL`.

        Raises ValueError where the acid is counted: far behind the jump E then falls again, and V(E) is not unique.
        """
        if self.counted:
            raise ValueError("a held pH was expected for V(E), an acid level that is counted came: use potential_mV")
        return self.titration.volume_mL(potential_mV / (LN_10 * self.cell.slope_mV))


def _electrons(couples: Sequence[Couple], recipe_mol: Mapping[str, float], *, oxidised: bool) -> float:
    """Electrons in mol that the oxidised forms of a recipe can take, or the reduced ones give."""
    if oxidised:
        return math.fsum(couple.electrons * recipe_mol.get(couple.oxidised, 0.0) for couple in couples)
    return math.fsum(couple.electrons / couple.units * recipe_mol.get(couple.reduced, 0.0) for couple in couples)
