"""The solution in the vessel: amounts, volume and temperature; and its equilibrium as a function of them alone."""

import math
from dataclasses import dataclass, field

from titrator.chemistry.constants import nernst_slope_mV
from titrator.chemistry.redox import RedoxBalance

TRACE_MOL_PER_L = 1e-9
"""No solution is free of everything that can be oxidised: a blank holds this much, so its potential stays finite."""


@dataclass(slots=True)
class Solution:
    """What is in the vessel and mixed. Air, rinsing or a second addition are changes of these figures.

    `analyte_mmol` counts both oxidation states, `oxidised_mmol` what of it was oxidised without titrant.
    """

    analyte_mmol: float
    oxidised_mmol: float
    titrant_mmol: float
    volume_mL: float
    temperature_C: float


@dataclass(slots=True)
class Electrochemistry:
    """Constants that do not change during a run: potentials in mV against the reference, slope as a share of RT/F.

    `exchange_*` are relative rates of electron exchange (i0 = rate·√([ox][red])), `background_mol_per_L` the
    concentration that would carry the background current of reduction in the same unit.
    """

    analyte_mV: float
    titrant_mV: float
    slope_share: float
    analyte_electrons: int
    titrant_electrons: int
    exchange_analyte: float
    exchange_titrant: float
    background_mol_per_L: float

    _kept: RedoxBalance | None = field(default=None, init=False, repr=False, compare=False)
    _kept_for: tuple[float, float] = field(default=(math.nan, math.nan), init=False, repr=False, compare=False)

    def balance(self, solution: Solution) -> RedoxBalance:
        """The electron balance at the solution's temperature and share oxidised at the start.

        Kept from call to call: in a plain run neither changes.
        """
        analyte_mmol = _analyte_mmol(solution)
        state = (solution.oxidised_mmol / analyte_mmol, solution.temperature_C)
        if self._kept is None or state != self._kept_for:
            self._kept_for = state
            self._kept = RedoxBalance(
                analyte_mV=self.analyte_mV,
                titrant_mV=self.titrant_mV,
                slope_mV=self.slope_share * nernst_slope_mV(solution.temperature_C),
                analyte_electrons=self.analyte_electrons,
                titrant_electrons=self.titrant_electrons,
                oxidised_at_start=state[0],
            )
        return self._kept

    def potential_mV(self, solution: Solution) -> float:
        """Potential of a platinum electrode after a long wait, in mV against the reference."""
        return self.rest(solution)[0]

    def rest(self, solution: Solution) -> tuple[float, float]:
        """(potential after a long wait in mV against the reference, poise 1/G).

        G = Ve·|dE/dV|/s is the steepness of the curve in slopes per equivalence volume; its inverse is 0 where the
        curve is vertical. The potential is the equilibrium of the electron balance, moved by the background current:
        with symmetric Butler-Volmer currents of both couples, E = E_eq + (2s/z_A)·asinh(j/2i0),
        i0 = k_A·√([ox][red]) + k_T·√([ox][red]), and its finite limit E_A + (2s/z_A)·ln(j/(k_A·[red])) where nothing
        is oxidised yet.
        """
        volume_mL = solution.volume_mL
        analyte_mmol = _analyte_mmol(solution)
        balance = self.balance(solution)
        electrons_mmol = analyte_mmol * self.analyte_electrons
        potential_mV, rise = balance.point(solution.titrant_mmol * self.titrant_electrons / electrons_mmol)
        per_slope = self.analyte_electrons / balance.slope_mV
        analyte_mol_per_L = self.exchange_analyte * analyte_mmol / volume_mL
        if potential_mV == -math.inf:
            ratio = self.background_mol_per_L / analyte_mol_per_L
            return self.analyte_mV + 2.0 / per_slope * math.log(ratio), 0.0
        # √(a·(1 − a)) = 1/(2·cosh(x/2)) for a = 1/(1 + exp(−x)).
        half_x = 0.5 * per_slope * (potential_mV - self.analyte_mV)
        half_y = 0.5 * self.titrant_electrons * (potential_mV - self.titrant_mV) / balance.slope_mV
        twice_i0 = analyte_mol_per_L / math.cosh(half_x)
        twice_i0 += self.exchange_titrant * solution.titrant_mmol / volume_mL / math.cosh(half_y)
        moved_mV = 2.0 / per_slope * math.asinh(self.background_mol_per_L / twice_i0)
        return potential_mV + moved_mV, rise / balance.equivalence_degree


def _analyte_mmol(solution: Solution) -> float:
    """The analyte's amount, never less than the trace that every solution holds."""
    return max(solution.analyte_mmol, TRACE_MOL_PER_L * solution.volume_mL)
