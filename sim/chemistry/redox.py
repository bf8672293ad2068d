"""Redox titrations of any stoichiometry at a platinum electrode: the electron balance, then what the electrode adds.

Equilibrium: `titrator.chemistry.redox_cell`, warm-started with the last result. The acid that a couple takes up is
counted by stoichiometry. On top of it: the background current (mixed potential), slow limbs, hydrolysis of iron where
acid is missing, oxidation by air. Formal potentials do not change with temperature here; the slope does.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sim.chemistry.iron_water import TIN_PER_ATM_S, IronInWater
from sim.chemistry.limbs import Shown, SlowLimb
from sim.chemistry.titrant import Titrant
from sim.chemistry.warm import WarmRoot
from sim.contents import Contents
from titrator.chemistry.balance import Balance
from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.couples import Couple
from titrator.chemistry.redox_cell import RedoxCell

REBUILT_AFTER_C = 0.05
"""The constants are made anew when the temperature has moved by more than this."""

_AIR_EVERY_S = 1.0
_LEAST_AIR_SHARE = 1e-8
"""What air has done is put into the contents once it comes to this share of the analytes, not sooner."""

_LEAST_ACID_MOL_PER_L = 1e-7
_FULL_ACID_MOL_PER_L = 1.0 - 1e-9
"""From 1 mol/L on hydrolysis is what the formal potential holds (rounding of amounts left aside)."""


@dataclass(frozen=True, slots=True)
class CoupleInCell:
    """A couple, its formal potential in mV against the reference (pH 0), its rate of exchange, and whether it is slow.

    The rate is relative: i0 = exchange·√([ox][red]).
    """

    couple: Couple
    formal_mV: float
    exchange: float
    slow: SlowLimb | None = None


@dataclass(frozen=True, slots=True)
class RedoxPlan:
    """What does not change during a run. Couples in the order of the pools: analytes, others of the sample, titrant.

    `analytes` is how many of them count as analytes, `oxidant` whether the titrant oxidises. `electrons_mol` is what
    the last equivalence point takes. `lost_share` of the titrant is lost to an induced reaction while an analyte is
    left. `oxygen_atm` is the partial pressure of oxygen above the vessel.
    """

    couples: tuple[CoupleInCell, ...]
    analytes: int
    oxidant: bool
    slope_share: float
    background_mol_per_L: float
    titrant: Titrant
    electrons_mol: float
    lost_share: float = 0.0
    oxygen_atm: float = 0.0


class RedoxChemistry:
    """The protocol `Chemistry` for redox titrations."""

    def __init__(self, plan: RedoxPlan, temperature_C: float) -> None:
        self.plan = plan
        self._iron_at = self._index("iron(II)")
        self._tin_at = self._index("tin(II)")
        couples = [each.couple for each in plan.couples]
        self._per_unit = [couple.electrons / couple.units for couple in couples]
        titrant = couples[-1]
        taken = [c.protons / c.electrons for c in couples]
        self._acid_per_electron = taken[-1] - taken[0] if plan.oxidant else 0.0
        self._protons = any(c.protons for c in couples)
        self._acid_counts = self._protons or self._iron_at is not None
        # A titrant may bring its reduced form along (iodide with iodine): electrons per base unit of its pool.
        pool = plan.titrant.amounts_mol[-1]
        self._titrant_per_unit = -plan.titrant.total_mol / pool if plan.oxidant else titrant.electrons / titrant.units
        self._limbs = [Shown(each.slow) for each in plan.couples if each.slow is not None]
        self._waited_s, self._due_s = 0.0, _AIR_EVERY_S
        self._build(temperature_C)

    def _index(self, reduced: str) -> int | None:
        names = [each.couple.reduced for each in self.plan.couples]
        return names.index(reduced) if reduced in names else None

    def _build(self, temperature_C: float) -> None:
        """Make everything that depends on temperature."""
        plan = self.plan
        self._built_at_C = temperature_C
        self.slope_mV = plan.slope_share * nernst_slope_mV(temperature_C)
        cell = RedoxCell([(e.couple, e.formal_mV / 1000.0) for e in plan.couples], slope_mV=self.slope_mV)
        self._balance: Balance = cell.system.balance
        self._root = WarmRoot(self._balance)
        self._water = IronInWater(temperature_C)
        self._iron_row = None if self._iron_at is None else _row_of(self._balance, self._iron_at)
        self._lowered = 0.0
        self._iron_E_mV = 0.0 if self._iron_at is None else plan.couples[self._iron_at].formal_mV
        # What the mixed potential asks of each couple, ten times a second.
        self._rates = tuple(
            (k, e.couple.units, e.couple.electrons, e.couple.protons, e.exchange, e.formal_mV)
            for k, e in enumerate(plan.couples)
        )
        self._kept: tuple[float, float] = (math.nan, math.nan)
        self._kept_for: tuple[object, ...] = ()

    @property
    def scale_mol(self) -> float:
        """Mol of titrant that the last equivalence point takes."""
        titrant = self.plan.couples[-1].couple
        per_mol = titrant.electrons if self.plan.oxidant else titrant.electrons / titrant.units
        return self.plan.electrons_mol / per_mol

    @property
    def scale_mL(self) -> float:
        """The same as a volume of titrant as delivered, in mL."""
        return self.scale_mol / self.plan.titrant.active_mol

    def add_titrant(self, contents: Contents, volume_mL: float) -> None:
        """Put titrant in; the share lost to an induced reaction is reduced at once and oxidises no analyte."""
        plan = self.plan
        before = contents.total_mol
        plan.titrant.add(contents, volume_mL)
        if plan.lost_share and volume_mL > 0.0:
            room = sum(self._per_unit[i] * contents.amounts_mol[i] for i in range(plan.analytes)) + before
            # Of the electrons that come, `lost_share` goes astray until the rest has filled the room.
            beside = min(before - contents.total_mol, max(room, 0.0) / (1.0 - plan.lost_share))
            contents.total_mol += plan.lost_share * beside

    def hydrogen_mol_per_L(self, contents: Contents) -> float:
        """[H+] from the strong acid that is left, by stoichiometry, and from the hydrolysis of iron."""
        acid = max(self._acid_left_mol(contents), 0.0)
        per_L = 1000.0 / contents.volume_mL
        if self._iron_at is None:
            return max(acid * per_L, _LEAST_ACID_MOL_PER_L)
        iron = contents.amounts_mol[self._iron_at]
        lower = 0.0
        for i in range(self._iron_at):
            lower += self._per_unit[i] * contents.amounts_mol[i]
        oxidised = min(max(-contents.total_mol - lower, 0.0), iron)
        return self._water.hydrogen_mol_per_L(acid * per_L, oxidised * per_L, (iron - oxidised) * per_L)

    def _acid_left_mol(self, contents: Contents) -> float:
        if self._acid_per_electron == 0.0:
            return contents.acid_mol
        amounts = contents.amounts_mol
        brought = amounts[-1] * self._titrant_per_unit
        before = max(-contents.total_mol - brought, 0.0)
        room = sum(n * z for n, z in zip(amounts[:-1], self._per_unit[:-1], strict=True)) - before
        return contents.acid_mol - self._acid_per_electron * min(brought, max(room, 0.0))

    def rest(self, contents: Contents) -> tuple[float, float]:
        """(potential after a long wait in mV against the reference, poise 1/G); see `sim.contents.Chemistry`."""
        amounts, volume_mL, acid_mol = contents.amounts_mol, contents.volume_mL, contents.acid_mol
        state = (volume_mL, contents.total_mol, acid_mol, contents.temperature_C, *amounts)
        if state == self._kept_for:
            return self._kept
        if abs(contents.temperature_C - self._built_at_C) > REBUILT_AFTER_C:
            self._build(contents.temperature_C)
        g = 0.0
        if not self._protons and 1000.0 * acid_mol >= _FULL_ACID_MOL_PER_L * volume_mL:
            self._hydrolyse(0.0)
        elif self._acid_counts:
            h = self.hydrogen_mol_per_L(contents)
            g = -math.log(h)
            if self._iron_row is not None:
                self._hydrolyse(self._water.lowered(h))
        volume_L = volume_mL / 1000.0
        total = min(contents.total_mol, 0.0)
        y, capacity = self._root.solve(amounts, total, volume_L, g)
        shown_mV, poise = self._mixed(-self.slope_mV * y, capacity, amounts, volume_L, g)
        for limb in self._limbs:
            shown_mV, slope = limb(shown_mV)
            poise /= slope
        self._kept, self._kept_for = (shown_mV, poise), state
        return self._kept

    def equilibrium_mV(self, contents: Contents) -> float:
        """The potential of the electron balance alone, without background and slow limbs; ±inf in its limits."""
        self._kept_for = ()
        self.rest(contents)
        h = self.hydrogen_mol_per_L(contents) if self._acid_counts else 1.0
        total = min(contents.total_mol, 0.0)
        y, _ = self._root.solve(contents.amounts_mol, total, contents.volume_mL / 1000.0, -math.log(h))
        return -self.slope_mV * y

    def _hydrolyse(self, lowered: float) -> None:
        """Move the iron couple by `lowered` RT/F: one constant of the balance, so it is not made anew."""
        if lowered == self._lowered or self._iron_row is None or self._iron_at is None:
            return
        self._lowered = lowered
        place, row = self._iron_row
        self._balance.pairs[place] = (row[0], row[1] - lowered / self.plan.slope_share, *row[2:])
        formal_mV = self.plan.couples[self._iron_at].formal_mV
        self._iron_E_mV = formal_mV - lowered * self.slope_mV / self.plan.slope_share

    def _mixed(
        self, potential_mV: float, capacity: float, amounts: Sequence[float], volume_L: float, g: float
    ) -> tuple[float, float]:
        """(mixed potential with the background current of reduction, poise) at the potential of the balance.

        With symmetric Butler-Volmer currents E = E_eq + (2s/z)·asinh(j/2i0), i0 = Σ k·√([ox][red]), z of the first
        analyte; with nothing oxidised yet its finite limit E° + (2s/z)·ln(j/(k·[red])).
        """
        plan, slope_mV = self.plan, self.slope_mV
        first = plan.couples[0]
        per_slope = first.couple.electrons / slope_mV
        if potential_mV == -math.inf:
            reduced = first.exchange * amounts[0] / first.couple.units / volume_L
            formal_mV = self._iron_E_mV if self._iron_at == 0 else first.formal_mV
            limit_mV = formal_mV - slope_mV * g * first.couple.protons / first.couple.electrons
            return limit_mV + 2.0 / per_slope * math.log(plan.background_mol_per_L / max(reduced, 1e-30)), 0.0
        twice_i0, reacted, iron_at = 0.0, 1.0, self._iron_at
        titrant_at = len(amounts) - 1 if plan.oxidant else -1
        for index, units, z, protons, exchange, formal_mV in self._rates:
            n = amounts[index]
            if n <= 0.0:
                continue
            if units != 1:
                twice_i0 += 2.0 * exchange * self._several(index, n, volume_L, g, potential_mV) / volume_L
                continue
            x = (z * (potential_mV - (self._iron_E_mV if index == iron_at else formal_mV))) / slope_mV + protons * g
            # √(a·(1 − a)) = 1/(2·cosh(x/2)) for a = 1/(1 + exp(−x)).
            half = 0.5 * x
            share = 1.0 / math.cosh(half if -300.0 <= half <= 300.0 else 300.0)
            twice_i0 += exchange * n / volume_L * share
            if index == titrant_at:
                reacted = 1.0 / (1.0 + math.exp(min(x, 300.0)))
        moved_mV = 2.0 / per_slope * math.asinh(plan.background_mol_per_L / max(twice_i0, 1e-300))
        return potential_mV + moved_mV, capacity / (max(reacted, 1e-300) * plan.electrons_mol)

    def _several(self, index: int, n: float, volume_L: float, g: float, potential_mV: float) -> float:
        """√(ox·red) in mol of a couple with several base units."""
        rows = self._balance.populations(index, n, volume_L, -potential_mV / self.slope_mV, g)[1]
        return math.sqrt(max(rows[0][2], 0.0) * max(rows[1][2], 0.0))

    def age(self, contents: Contents, passed_s: float) -> bool:
        """Air oxidises iron(II) by the rate law of `iron_water`, tin(II) at a steady share; acid goes with it."""
        self._waited_s += passed_s
        if self._waited_s < self._due_s or self.plan.oxygen_atm <= 0.0 or not self.plan.oxidant:
            return False
        moved = self._oxidised_by_air_mol(contents) * self._waited_s
        if moved < _LEAST_AIR_SHARE * self.plan.electrons_mol:
            self._due_s = self._waited_s + _AIR_EVERY_S  # nothing to speak of yet: the time goes on adding up
            return False
        self._waited_s, self._due_s = 0.0, _AIR_EVERY_S
        contents.total_mol -= moved
        contents.acid_mol = max(contents.acid_mol - moved, 0.0)
        return True

    def _oxidised_by_air_mol(self, contents: Contents) -> float:
        """Electrons in mol that air takes in a second."""
        missing, amounts = -contents.total_mol, contents.amounts_mol
        oxygen_atm, rate = self.plan.oxygen_atm, 0.0
        if self._tin_at is not None:
            left = max(2.0 * amounts[self._tin_at] - missing, 0.0)
            rate += TIN_PER_ATM_S * oxygen_atm * left
            missing = max(missing - 2.0 * amounts[self._tin_at], 0.0)
        if self._iron_at is not None:
            left = max(amounts[self._iron_at] - missing, 0.0)
            rate += self._water.oxidised_per_s(self.hydrogen_mol_per_L(contents), oxygen_atm) * left
        return rate


def _row_of(balance: Balance, index: int) -> tuple[int, tuple[int, float, float, float, float, float]]:
    """Where the pool stands among the pairs of the balance, and its row there."""
    for place, row in enumerate(balance.pairs):
        if row[0] == index:
            return place, row
    raise ValueError(f"a couple of one-unit forms was expected at {index}")
