"""The simulated cell: titrant runs in, mixes, equilibrates, and an electrode follows with lag, drift and noise."""

import math

from sim.electrode import ResponseLaw, lagged
from sim.noise import NoiseSource
from sim.solution import Electrochemistry, Solution

_STILL_MV = 1e-4
"""Mixing counts as over when what is not yet mixed would move the potential by less than this."""

_SLOPE_BOUND_MV = 40.0
"""Above s = RT/F at any temperature of a bench, in mV: for the test of stillness only."""


class SimulatedCell:
    """A vessel with stirrer, electrode and titrant, in virtual time from t = 0.

    Its state is what `solution` holds (amounts, volume, temperature), the time, the volume delivered and the potential
    that the electrode has reached. Mixing: the mixed volume of titrant follows the delivered one, first order. The
    electrode follows the potential of the mixed solution, first order, with the response time of the present
    composition. Both updates are exact for straight lines between calls. At the start the electrode is at rest.
    """

    def __init__(
        self,
        solution: Solution,
        constants: Electrochemistry,
        law: ResponseLaw,
        *,
        titrant_mol_per_L: float,
        mixing_s: float,
        drift_mV_per_s: float = 0.0,
        noise: tuple[NoiseSource, ...] = (),
    ) -> None:
        """Start with `solution` in the vessel and nothing delivered; the solution is changed in place."""
        self.solution = solution
        self.constants = constants
        self.law = law
        self.t_s = 0.0
        self.delivered_mL = 0.0
        self.mixed_mL = 0.0
        self._titrant_mol_per_L = titrant_mol_per_L
        self._mixing_s = mixing_s
        self._drift_mV_per_s = drift_mV_per_s
        self._noise = noise
        self._still = True
        self._rest_mV, self._poise = constants.rest(solution)
        self._tau_s = law.tau_s(self._poise)
        self.electrode_mV = self._rest_mV

    @property
    def rest_mV(self) -> float:
        """Potential that the electrode would reach in what is mixed now, in mV against the reference, without drift."""
        return self._rest_mV

    @property
    def tau_s(self) -> float:
        """Response time of the electrode in what is mixed now, in s."""
        return self._tau_s

    def sample(self, t_s: float, delivered_mL: float) -> float:
        """Potential in mV at the amplifier's input, noise and drift included, at `t_s` with `delivered_mL` delivered.

        Call it with times that do not decrease. Raises ValueError as `advance`.
        """
        self.advance(t_s, delivered_mL)
        potential_mV = self.electrode_mV + self._drift_mV_per_s * t_s
        for source in self._noise:
            potential_mV += source(t_s)
        return potential_mV

    def advance(self, t_s: float, delivered_mL: float) -> None:
        """Let time pass to `t_s` while the delivered volume went straight to `delivered_mL`; no noise is drawn.

        Raises ValueError if time or volume go backwards: nothing in a real cell does.
        """
        passed_s = t_s - self.t_s
        before_mL = self.delivered_mL
        if passed_s < 0.0 or delivered_mL < before_mL:
            raise ValueError(
                f"time and delivered volume that do not decrease were expected (last {self.t_s} s, {before_mL} mL), "
                f"{t_s} s and {delivered_mL} mL came"
            )
        start_mV = self._rest_mV
        if not self._still or delivered_mL != before_mL:
            self._mix(passed_s, before_mL, delivered_mL)
        self.t_s = t_s
        self.electrode_mV = lagged(self.electrode_mV, start_mV, self._rest_mV, passed_s / self._tau_s)

    def _mix(self, passed_s: float, before_mL: float, delivered_mL: float) -> None:
        """Move the mixed volume towards the delivered one and the potential of rest with it."""
        ratio = passed_s / self._mixing_s if self._mixing_s > 0.0 else math.inf
        mixed_mL = lagged(self.mixed_mL, before_mL, delivered_mL, ratio)
        waiting_mmol = abs(delivered_mL - mixed_mL) * self._titrant_mol_per_L
        solution = self.solution
        # dE = G·s·dV/Ve; a poise of 0 (nothing oxidised yet) counts as not still.
        steps = self.constants.titrant_electrons * waiting_mmol
        room = self._poise * max(solution.analyte_mmol - solution.oxidised_mmol, 0.0) * self.constants.analyte_electrons
        self._still = steps * _SLOPE_BOUND_MV <= _STILL_MV * room or waiting_mmol == 0.0
        if self._still:
            mixed_mL = delivered_mL
        self._settle_at(mixed_mL)
        self.delivered_mL = delivered_mL

    def _settle_at(self, mixed_mL: float) -> None:
        """Put the solution at a mixed volume."""
        solution = self.solution
        added_mL = mixed_mL - self.mixed_mL
        solution.titrant_mmol += added_mL * self._titrant_mol_per_L
        solution.volume_mL += added_mL
        self.mixed_mL = mixed_mL
        self._rest_mV, self._poise = self.constants.rest(solution)
        self._tau_s = self.law.tau_s(self._poise)
