"""What acid-base, silver and EDTA titrations share: an equilibrium of ions and an electrode for one of them."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from sim.chemistry.strength import Strength
from sim.chemistry.titrant import Titrant
from sim.chemistry.warm import FARTHEST_Y, WarmRoot
from sim.contents import Contents
from titrator.chemistry.system import System

REBUILT_AFTER_C = 0.05
"""The constants are made anew when the temperature has moved by more than this."""

_NEAR = 2e-4
"""An ionic strength taken at a y so near to the result is that of the result: 1e-4 in pH would be a change of I by as
much at most, and that of pH by 1e-5."""

_MOST_ROUNDS = 40


class Indicator(Protocol):
    """An ideal electrode: what it shows at an equilibrium."""

    def shown(self, y: float, p: float, contents: Contents) -> tuple[float, float]:
        """(potential in mV against the reference, its slope in y = ln x in units of the electrode's own RT/F)."""
        ...


Build = Callable[[float], tuple[System, Indicator]]
"""System and electrode at a temperature in °C."""


class IonChemistry:
    """The protocol `Chemistry` on a system of ions; the master is H+, Ag+, EDTA or the metal.

    Activity coefficients (where the system has them) agree with the ionic strength of the very solution. Air is left
    out: carbon dioxide from it is not taken up.
    """

    def __init__(self, build: Build, titrant: Titrant, scale_mol: float, temperature_C: float) -> None:
        self._build_at = build
        self._titrant = titrant
        self._scale_mol = scale_mol
        self._g = 0.0
        self._build(temperature_C)

    def _build(self, temperature_C: float) -> None:
        self._built_at_C = temperature_C
        self.system, self._indicator = self._build_at(temperature_C)
        self._root = WarmRoot(self.system.balance)
        self._strength = Strength(self.system)
        self._kept: tuple[float, float] = (math.nan, math.nan)
        self._kept_for: tuple[float, ...] = ()

    @property
    def scale_mol(self) -> float:
        """Mol of titrant that the last equivalence point takes."""
        return self._scale_mol

    @property
    def scale_mL(self) -> float:
        """The same as a volume of titrant as delivered, in mL."""
        return self.scale_mol / self._titrant.active_mol

    def add_titrant(self, contents: Contents, volume_mL: float) -> None:
        """Put titrant in."""
        self._titrant.add(contents, volume_mL)

    def age(self, contents: Contents, passed_s: float) -> bool:
        """Nothing changes: idealised, no carbon dioxide comes from the air and none leaves."""
        del contents, passed_s
        return False

    def rest(self, contents: Contents) -> tuple[float, float]:
        """(potential of the ideal electrode in mV, poise 1/G); see `sim.contents.Chemistry`."""
        amounts = contents.amounts_mol
        state = (contents.volume_mL, contents.total_mol, contents.temperature_C, *amounts)
        if state == self._kept_for:
            return self._kept
        if abs(contents.temperature_C - self._built_at_C) > REBUILT_AFTER_C:
            self._build(contents.temperature_C)
        volume_L = contents.volume_mL / 1000.0
        y, capacity, g = self._solved(amounts, contents.total_mol, volume_L)
        y = min(max(y, -FARTHEST_Y), FARTHEST_Y)
        shown_mV, slope = self._indicator.shown(y, self.system.p_of(y, g), contents)
        poise = max(capacity, 0.0) / (self._scale_mol * slope) if slope > 0.0 else math.inf
        self._kept, self._kept_for = (shown_mV, poise), state
        return self._kept

    def _solved(self, amounts: Sequence[float], total_mol: float, volume_L: float) -> tuple[float, float, float]:
        """(y, capacity, g) of the solution, near the last one."""
        system, root = self.system, self._root
        if system.davies is None:
            return *root.solve(amounts, total_mol, volume_L, 0.0), 0.0
        guess = root.guess(total_mol)
        strength = 0.1 if guess is None else self._strength(guess, amounts, volume_L, self._g)
        y = capacity = g = 0.0
        for _ in range(_MOST_ROUNDS):
            g = system.g(strength)
            y, capacity = root.solve(amounts, total_mol, volume_L, g)
            if guess is not None and abs(y - guess) < _NEAR:
                break
            guess, strength = y, self._strength(y, amounts, volume_L, g)
        self._g = g
        return y, capacity, g


def only(system: System, *recipes: Mapping[str, float]) -> System:
    """The system without the pools that no recipe names: what is not there costs no time."""
    named = {name for recipe in recipes for name, amount in recipe.items() if amount > 0.0}
    pools = [pool for pool in system.pools if named & {form.name for form in pool.forms}]
    return System(system.master, pools, system.davies)


def contents_of(system: System, recipe_mol: Mapping[str, float], volume_mL: float, temperature_C: float) -> Contents:
    """A vessel into which the named species were put. Raises ValueError as `System.state`."""
    state = system.state({name: n for name, n in recipe_mol.items() if n > 0.0}, volume_mL)
    return Contents(volume_mL, temperature_C, state.total_mol, 0.0, list(state.amounts_mol))


def titrant_of(system: System, recipe_mol_per_L: Mapping[str, float], active_mol_per_L: float) -> Titrant:
    """A titrant by named species in mol/L."""
    state = system.state({name: c for name, c in recipe_mol_per_L.items() if c > 0.0}, 1000.0)
    return Titrant(
        tuple(n / 1000.0 for n in state.amounts_mol), state.total_mol / 1000.0, 0.0, active_mol_per_L / 1000.0
    )
