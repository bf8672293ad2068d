"""A chemical system at one temperature: the state of a vessel in, its equilibrium out.

The state is what the vessel holds: amounts of the pools and the total of the master in mol, the volume in mL. Whatever
happens to it (titrant, air, a rinse, evaporation) is a change of these figures, never a special case of a curve.
"""

import math
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import NamedTuple

from titrator.chemistry.activity import Davies, davies_term, range_warning
from titrator.chemistry.balance import Balance
from titrator.chemistry.constants import LN_10
from titrator.chemistry.pools import Master, Pool, Species

_STRENGTH_TOLERANCE = 1e-10
_MOST_ROUNDS = 60


class State(NamedTuple):
    """Amounts of the pools in mol (in the system's order), total of the master in mol, volume in mL."""

    amounts_mol: tuple[float, ...]
    total_mol: float
    volume_mL: float


class Equilibrium(NamedTuple):
    """What the solution does: p = −log10 of the master's activity, its concentration, ionic strength, y = ln x, g.

    The ionic strength is None where no activity coefficients are used (`System.ionic_strength` computes it). `warning`
    is a sentence where the activity model is out of its range. y and g serve as a warm start and are what the other
    functions of the system take.
    """

    p: float
    master_mol_per_L: float
    ionic_strength_mol_per_L: float | None
    y: float
    g: float
    warning: str | None


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a substance of a recipe belongs: its pool (None: the master or the solvent), units, level, charge."""

    pool: int | None
    units: int
    level: float
    charge: int


class System:
    """A master with pools; `davies` corrects the thermodynamic constants among theirs, None leaves all as they are."""

    def __init__(self, master: Master, pools: Sequence[Pool], davies: Davies | None = None) -> None:
        """Prepare the balance and the names that a recipe may use."""
        self.master = master
        self.pools = tuple(pools)
        self.davies = davies
        self.held_g = 0.0
        self.balance = Balance(master, pools)
        self._places: dict[str, _Place] = {s.name: _Place(None, 0, s.level, s.charge) for s in master.solvent}
        for index, pool in enumerate(self.pools):
            for s in pool.forms:
                if s.name in self._places:
                    raise ValueError(f"names of species that differ were expected, {s.name!r} came twice")
                self._places[s.name] = _Place(index, s.units, s.level, s.charge)

    def state(self, recipe_mol: Mapping[str, float], volume_mL: float) -> State:
        """The state of a vessel into which the named species were put, in mol, made up to `volume_mL`.

        For H+ as the master the recipe must be electrically neutral: the ions of salts are all named. Raises
        ValueError for a volume that is not positive, an amount that is negative, an unknown name, a charge left over.
        """
        if not 0.0 < volume_mL < math.inf:
            raise ValueError(f"a positive volume was expected, {volume_mL!r} mL came")
        amounts = [0.0] * len(self.pools)
        levels, charges = [], []
        for name, mol in recipe_mol.items():
            if name not in self._places:
                raise ValueError(f"a species of this system was expected ({', '.join(self._places)}), {name!r} came")
            if not 0.0 <= mol < math.inf:
                raise ValueError(f"{name}: an amount of 0 mol or above was expected, {mol!r} came")
            place = self._places[name]
            if place.pool is not None:
                amounts[place.pool] += place.units * mol
            levels.append(place.level * mol)
            charges.append(place.charge * mol)
        if self.master.charge == 1 and len(self.master.solvent) == 2:
            left = math.fsum(charges)
            if abs(left) > 1e-9 * math.fsum(map(abs, charges)):
                raise ValueError(
                    f"a neutral recipe was expected, a charge of {left:g} mol is left: name the counter-ions too"
                )
        return State(tuple(amounts), math.fsum(levels), volume_mL)

    def at_pH(self, pH: float) -> "System":
        """The same system at a held pH, for formal redox couples that take up H+; costs next to nothing.

        Raises ValueError for a pH that is not finite, or with an activity model (its g is taken).
        """
        if not math.isfinite(pH) or self.davies is not None:
            raise ValueError(f"a finite pH and formal constants were expected, pH {pH!r} and {self.davies!r} came")
        other = copy(self)
        other.held_g = LN_10 * pH
        return other

    def g(self, ionic_strength_mol_per_L: float) -> float:
        """What the medium does to the constants: ln(10)·A·f(I), so that ln γ = −z²·g; ln(10)·pH at a held pH; or 0."""
        if self.davies is None:
            return self.held_g
        held = self.davies.held_mol_per_L
        return LN_10 * self.davies.A * davies_term(ionic_strength_mol_per_L if held is None else held)

    def y_of(self, p: float, g: float) -> float:
        """y = ln x of the concentration at p = −log10 of the activity."""
        return -LN_10 * p + self.master.charge**2 * g

    def p_of(self, y: float, g: float) -> float:
        """p = −log10 of the master's activity at y = ln x."""
        return (self.master.charge**2 * g - y) / LN_10

    def equilibrium(self, state: State, near: Equilibrium | None = None) -> Equilibrium:
        """Equilibrium of a state; `near` (a neighbour's result) makes it faster and changes nothing else.

        p is ±inf where the master is absent. Raises ValueError for a state that no solution can have.
        """
        amounts, total, volume_mL = state
        if not 0.0 < volume_mL < math.inf:
            raise ValueError(f"a positive volume was expected, {volume_mL!r} mL came")
        volume_L = volume_mL / 1000.0
        guess = None if near is None else near.y
        strength = warning = None
        if self.davies is None or self.davies.held_mol_per_L is not None:
            g = self.g(0.0)
            y = self.balance.solve(amounts, total, volume_L, g, guess)
            strength = None if self.davies is None else self.davies.held_mol_per_L
        else:
            y, strength, g = self._consistent(state, guess, near)
        if strength is not None:
            warning = range_warning(strength)
        return Equilibrium(self.p_of(y, g), math.exp(y) if y < 700.0 else math.inf, strength, y, g, warning)

    def _consistent(self, state: State, y: float | None, near: Equilibrium | None) -> tuple[float, float, float]:
        """(y, I, g) that agree with each other: I is sought by the secant method from two rounds of substitution."""
        amounts, total, volume_mL = state
        volume_L = volume_mL / 1000.0
        tried = 0.0 if near is None else near.ionic_strength_mol_per_L or 0.0
        before: tuple[float, float] | None = None
        g = self.g(tried)
        for _ in range(_MOST_ROUNDS):
            g = self.g(tried)
            y = self.balance.solve(amounts, total, volume_L, g, y)
            found = self.ionic_strength(y, amounts, volume_L, g)
            miss = found - tried
            if abs(miss) <= _STRENGTH_TOLERANCE * found + 1e-30:
                return y, found, g
            before, tried = (tried, miss), secant_strength(tried, found, before)
        assert y is not None
        return y, tried, g

    def capacity_mol(self, state: State, y: float, g: float = 0.0) -> float:
        """Mol of the master that one unit of ln x takes up at y: how well buffered or poised the solution is."""
        up, down, d_up, d_down = self.balance.terms(
            _within(y), state.amounts_mol, state.total_mol, state.volume_mL / 1000.0, g
        )
        del up, down
        return d_up - d_down

    def species_mol(self, state: State, y: float, g: float = 0.0) -> dict[str, float]:
        """Mol of every species, solids included, at y and g of an equilibrium."""
        volume_L, y = state.volume_mL / 1000.0, _within(y)
        held = {
            s.name: volume_L * math.exp(f.ln_beta - f.shift * g + f.level * y)
            for s, f in zip(self.master.solvent, self.balance.solvent, strict=True)
        }
        for index, pool in enumerate(self.pools):
            n = state.amounts_mol[index]
            if n > 0.0:
                rows = self.balance.populations(index, n, volume_L, y, g)[1]
            else:
                rows = [(0.0, 1, 0.0, 0.0)] * len(pool.forms)
            amounts = [row[2] for row in rows] + [0.0] * (len(pool.forms) - len(rows))
            held.update(zip((s.name for s in pool.forms), amounts, strict=True))
        return held

    def ionic_strength(self, y: float, amounts: Sequence[float], volume_L: float, g: float) -> float:
        """I = ½ Σ c z² in mol/L over dissolved species."""
        y = _within(y)
        doubled = 0.0
        for f in self.balance.solvent:
            if f.charge:
                doubled += f.charge**2 * volume_L * math.exp(f.ln_beta - f.shift * g + f.level * y)
        for index, n in enumerate(amounts):
            forms = self.balance.forms[index]
            if n <= 0.0:
                continue
            if len(forms) == 1 and self.balance.solids[index] is None and forms[0].units == 1:
                doubled += forms[0].charge ** 2 * n
            else:
                rows = self.balance.populations(index, n, volume_L, y, g)[1]
                doubled += sum(f.charge**2 * row[2] for f, row in zip(forms, rows, strict=False))
        return 0.5 * doubled / volume_L


def secant_strength(tried: float, found: float, before: tuple[float, float] | None) -> float:
    """The next ionic strength to try: by the secant through `before` (tried, its miss), or what was found."""
    miss = found - tried
    if before is not None and miss != before[1]:
        secant = tried - miss * (tried - before[0]) / (miss - before[1])
        if 0.5 * found < secant < 2.0 * found:
            return secant
    return found


def _within(y: float) -> float:
    """y, or a number that stands for ±inf: 10^∓130 mol/L."""
    return y if math.isfinite(y) else math.copysign(300.0, y)


def spectator(name: str, charge: int) -> Pool:
    """An ion that takes no part: Na+, Cl− beside H+. It counts in the charge and in the ionic strength."""
    return Pool(name, (Species(name, 0.0, 0.0, charge),), charge)
