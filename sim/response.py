"""The response time of an electrode by how well the solution is poised."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ResponseLaw:
    """τ = response + slowing·w, w = G^p/(G^p + half^p).

    G = Ve·|dE/dV|/s is the steepness of the curve. An invented law for the demonstration: a metal electrode answers
    slowly where little of one form of each couple is left to exchange electrons. G does not know how much that is: a
    dilute solution has the same curve. Where `poised_at_mol_per_L` is given, the law holds as it stands at that
    concentration of what is titrated (as the titrant that it takes), and with G times poised_at/c at another, c.
    """

    response_s: float
    slowing_s: float
    half_at: float
    power: float
    poised_at_mol_per_L: float | None = None

    def tau_s(self, poise: float, mol_per_L: float = math.inf) -> float:
        """Time constant in s at the poise 1/G (0: vertical curve, all of the slowing) and the concentration."""
        if self.poised_at_mol_per_L is not None and mol_per_L < math.inf:
            poise *= mol_per_L / self.poised_at_mol_per_L
        return self.response_s + self.slowing_s / (1.0 + math.pow(self.half_at * poise, self.power))
