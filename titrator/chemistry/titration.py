"""A titration: a vessel, a titrant, and the curve between them, explicit in the master: V(p), and p(V) by its root.

The balance is linear in amounts and volume, so with F(state) = what the state holds of the master at y, less its total,

    V(p) = −F(vessel)/F(one litre of titrant)

Solids make F piecewise linear in V (each appears or dissolves once along a titration), pools with several base units in
one species (dichromate) make it smooth but not linear; both are monotone in V and solved inside a bracket.
"""

import math
from collections.abc import Mapping
from functools import cached_property
from itertools import pairwise

from titrator.chemistry.constants import LN_10
from titrator.chemistry.system import Equilibrium, State, System, secant_strength

_MOST_ROUNDS = 60
MOST_HALVINGS = 200
_VOLUME_TOLERANCE = 1e-13
FARTHEST_mL = 1e9


class Titration:
    """`vessel` (mol, with its volume in mL) titrated with `titrant` (mol/L), both by names of species of `system`."""

    def __init__(
        self, system: System, vessel_mol: Mapping[str, float], volume_mL: float, titrant_mol_per_L: Mapping[str, float]
    ) -> None:
        """Raises ValueError as `System.state`."""
        self.system = system
        self.start = system.state(vessel_mol, volume_mL)
        self.titrant = system.state(titrant_mol_per_L, 1000.0)

    def state(self, volume_mL: float) -> State:
        """The state after `volume_mL` of titrant; volumes add. Raises ValueError for a negative or infinite volume."""
        if not 0.0 <= volume_mL < math.inf:
            raise ValueError(f"a volume of titrant of 0 mL or above was expected, {volume_mL!r} came")
        return self._state(volume_mL)

    def _state(self, volume_mL: float) -> State:
        # Multiplied first: round volumes and concentrations then meet at the equivalence point to the last digit.
        amounts = tuple(
            n + volume_mL * c / 1000.0 for n, c in zip(self.start.amounts_mol, self.titrant.amounts_mol, strict=True)
        )
        total_mol = self.start.total_mol + volume_mL * self.titrant.total_mol / 1000.0
        return State(amounts, total_mol, self.start.volume_mL + volume_mL)

    def equilibrium(self, volume_mL: float, near: Equilibrium | None = None) -> Equilibrium:
        """Equilibrium after `volume_mL` of titrant. Raises ValueError as `state` and `System.equilibrium`."""
        return self.system.equilibrium(self.state(volume_mL), near)

    def p(self, volume_mL: float) -> float:
        """−log10 of the master's activity after `volume_mL`: pH, pAg, pY."""
        return self.equilibrium(volume_mL).p

    def volume_mL(self, p: float) -> float:
        """V(p) in mL: negative for p on the other side of the start, inf where no volume of titrant leads to.

        With a self-consistent ionic strength a fixed point of a few rounds; without one no iteration at all where
        neither solids nor several base units occur.
        """
        system = self.system
        if system.davies is None or system.davies.held_mol_per_L is not None:
            return self.volume_at(system.y_of(p, system.g(0.0)), system.g(0.0))
        strength, volume = self.titrant_strength_mol_per_L, math.nan
        last: tuple[float, float] | None = None
        for _ in range(_MOST_ROUNDS):
            g = system.g(strength)
            y = system.y_of(p, g)
            before, volume = volume, self.volume_at(y, g)
            if not math.isfinite(volume):
                return volume
            if abs(volume - before) <= _VOLUME_TOLERANCE * (self.start.volume_mL + abs(volume)):
                return volume
            amounts, _, total_mL = self._state(max(volume, 0.0))
            found = system.ionic_strength(y, amounts, total_mL / 1000.0, g)
            last, strength = (strength, found - strength), secant_strength(strength, found, last)
        return volume

    @cached_property
    def titrant_strength_mol_per_L(self) -> float:
        """Ionic strength of the titrant, 0 without an activity model: where the search for V(p) begins."""
        return self.system.equilibrium(self.titrant).ionic_strength_mol_per_L or 0.0

    def slope_per_mL(self, volume_mL: float, at: Equilibrium) -> float:
        """dp/dV in 1/mL at constant activity coefficients, analytic; `at` is the equilibrium after `volume_mL`.

        The steepness of the curve, and with it how well poised the solution is. inf where nothing holds the master.
        """
        state = self.state(volume_mL)
        capacity_mol = self.system.capacity_mol(state, at.y, at.g)
        if self.system.balance.explicit and not any(self.system.balance.solids):
            per_mL = self._excess(at.y, at.g, self.titrant) / 1000.0
        else:
            step_mL = 1e-6 * (1.0 + volume_mL)
            after = self._excess(at.y, at.g, self._state(volume_mL + step_mL))
            per_mL = (after - self._excess(at.y, at.g, state)) / step_mL
        return per_mL / (LN_10 * capacity_mol) if capacity_mol > 0.0 else math.copysign(math.inf, per_mL)

    def _excess(self, y: float, g: float, state: State) -> float:
        """F: what the state holds of the master at y, less its total, in mol; 0 at equilibrium."""
        up, down, _, _ = self.system.balance.terms(y, state.amounts_mol, state.total_mol, state.volume_mL / 1000.0, g)
        return up - down

    def volume_at(self, y: float, g: float) -> float:
        """V(y) in mL at constant activity coefficients, told by their g; as `volume_mL`."""
        balance = self.system.balance
        if balance.explicit and not any(balance.solids):
            start, titrant = self._excess(y, g, self.start), self._excess(y, g, self.titrant)
            if start == 0.0:
                return 0.0
            volume = -1000.0 * start / titrant if titrant != 0.0 else math.inf
            return volume if self._on_the_way(start, titrant) else math.inf
        if balance.explicit:
            return self._piecewise(y, g)
        return self._bracketed(y, g, 0.0, FARTHEST_mL)

    def _on_the_way(self, start: float, titrant: float) -> bool:
        """Whether y lies between the start and the titrant's own y, or before the start: not beyond the titrant.

        The titrant raises the master if its own y lies above the start's: then F(titrant) < 0 at every y of the curve.
        """
        return (titrant < 0.0) == self.rising or start == 0.0

    @cached_property
    def rising(self) -> bool:
        """Whether the titrant raises y."""
        return self.system.equilibrium(self.titrant).y > self.system.equilibrium(self.start).y

    def _piecewise(self, y: float, g: float) -> float:
        """V where a balance with solids is met: its kinks are found, then the straight piece that holds the root."""
        balance = self.system.balance
        kinks = [0.0]
        for index, solid in enumerate(balance.solids):
            if solid is None:
                continue
            forms = balance.forms[index]
            ln_free = -(solid.ln_beta - solid.shift * g + solid.level * y)
            dissolved = sum(math.exp(min(f.ln_beta - f.shift * g + f.level * y + ln_free, 300.0)) for f in forms)
            n, c = self.start.amounts_mol[index], self.titrant.amounts_mol[index]
            if dissolved != c:
                kinks.append((n - self.start.volume_mL / 1000.0 * dissolved) / (dissolved - c) * 1000.0)
        kinks = sorted(k for k in kinks if 0.0 <= k < FARTHEST_mL)
        kinks.append(2.0 * kinks[-1] + 1.0)
        values = [self._excess(y, g, self._state(k)) for k in kinks]
        for (left, f_left), (right, f_right) in pairwise(zip(kinks, values, strict=True)):
            last = right == kinks[-1]
            if f_left == 0.0:
                return left
            if f_right != f_left and ((f_left < 0.0) != (f_right < 0.0) or (last and abs(f_right) < abs(f_left))):
                return left - f_left * (right - left) / (f_right - f_left)
        if self._beyond_start(values[0]):
            return values[0] * (kinks[1] - kinks[0]) / (values[0] - values[1]) if values[1] != values[0] else -math.inf
        return math.inf

    def _beyond_start(self, excess: float) -> bool:
        """Whether y lies on the other side of the start than the titrant."""
        return (excess < 0.0) == self.rising

    def _bracketed(self, y: float, g: float, low_mL: float, high_mL: float) -> float:
        """V by halving and false position between two volumes; −inf or inf where it lies outside."""
        f_low, f_high = (self._excess(y, g, self._state(v)) for v in (low_mL, high_mL))
        if f_low == 0.0:
            return low_mL
        if (f_low < 0.0) == (f_high < 0.0):
            return -math.inf if self._beyond_start(f_low) else math.inf
        low, high, side = low_mL, high_mL, 0
        for count in range(MOST_HALVINGS):
            middle = low - f_low * (high - low) / (f_high - f_low)
            if count % 3 == 2 or not low < middle < high:
                middle = math.sqrt((low + 1e-9) * high) if high > 4.0 * low + 1.0 else 0.5 * (low + high)
            f_middle = self._excess(y, g, self._state(middle))
            if f_middle == 0.0 or high - low <= _VOLUME_TOLERANCE * (1.0 + high):
                return middle
            if (f_middle < 0.0) == (f_low < 0.0):
                low, f_low = middle, f_middle
                f_high *= 0.5 if side == -1 else 1.0
                side = -1
            else:
                high, f_high = middle, f_middle
                f_low *= 0.5 if side == 1 else 1.0
                side = 1
        return 0.5 * (low + high)
