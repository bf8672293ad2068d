"""Iron in water: its hydrolysis where the acid is missing, and its oxidation by air. Constants with their sources.

Iron(III) binds hydroxide: where the acid runs out, free Fe3+ becomes scarce and the potential of the couple falls. The
formal potential of the medium holds what hydrolysis there is in 1 mol/L acid, so only the change from there counts.
Constants of hydrolysis: `titrator.chemistry.acids` (mononuclear, infinite dilution, taken as they stand). Idealised:
no hydroxide precipitates, no complexes with the acid's anion leave with the acid.
"""

import math

from titrator.chemistry.acids import IRON_II, IRON_III
from titrator.chemistry.water import HIGHEST_C, LOWEST_C, pKw

OXYGEN_ATM = 0.209
"""Partial pressure of oxygen in air."""

# d[Fe(II)]/dt = −(k0 + k2·[OH−]²)·p(O2)·[Fe(II)]: W. Stumm and G. F. Lee (1961) for the second term, k2 = 8.0e13
# L²/(mol² atm min) at 20 °C: a factor of 100 per unit of pH; P. C. Singer and W. Stumm (1970) for the first, which
# is all there is in acid. Both from memory. Anions of the medium change either by some factor; left out.
_BY_HYDROXIDE_PER_ATM_S = 8.0e13 / 60.0
_IN_ACID_PER_ATM_S = 1.0e-7 / 60.0

_LEAST_MOL_PER_L = 1e-12


class IronInWater:
    """Hydrolysis and oxidation at one temperature."""

    def __init__(self, temperature_C: float) -> None:
        within_C = min(max(temperature_C, LOWEST_C), HIGHEST_C)
        self._hydrolysis = [math.pow(10.0, constant.at(within_C)) for constant in IRON_III.hydrolysis]
        self._iron_ii = math.pow(10.0, IRON_II.hydrolysis[0].at(within_C))
        self._Kw = math.pow(10.0, -pKw(within_C))
        self._in_acid = self._ln_bound(1.0)

    def hydrogen_mol_per_L(self, acid: float, iron_iii: float, iron_ii: float) -> float:
        """[H+] from strong acid and what iron sets free by its first hydrolysis, all in mol/L.

        Iron(III): root of h = acid + iron_iii·K/(h + K); iron(II) and water: √(K·iron_ii + Kw), which matters only
        where there is neither acid nor iron(III).
        """
        K = self._hydrolysis[0]
        half = 0.5 * (acid - K)
        # K·(acid + iron_iii) >= 0, written without cancellation for half < 0.
        root = math.sqrt(half * half + K * (acid + iron_iii))
        h = half + root if half >= 0.0 else K * (acid + iron_iii) / (root - half)
        return math.sqrt(h * h + self._iron_ii * iron_ii + self._Kw)

    def lowered(self, hydrogen_mol_per_L: float) -> float:
        """By how many RT/F the iron couple lies below its potential in 1 mol/L acid: ln of the shares of Fe3+."""
        return self._ln_bound(min(hydrogen_mol_per_L, 1.0)) - self._in_acid

    def _ln_bound(self, h: float) -> float:
        """ln of iron(III) over Fe3+."""
        h = max(h, _LEAST_MOL_PER_L)
        total, power = 1.0, 1.0
        for constant in self._hydrolysis:
            power /= h
            total += constant * power
        return math.log(total)

    def oxidised_per_s(self, hydrogen_mol_per_L: float, oxygen_atm: float) -> float:
        """Share of the iron(II) that air oxidises in a second."""
        hydroxide = self._Kw / max(hydrogen_mol_per_L, _LEAST_MOL_PER_L)
        return oxygen_atm * (_IN_ACID_PER_ATM_S + _BY_HYDROXIDE_PER_ATM_S * hydroxide * hydroxide)


TIN_PER_ATM_S = 8e-5
"""Share of tin(II) that oxygen oxidises in a second per atm: 0.1 % a minute in air. Invented for simulation."""
