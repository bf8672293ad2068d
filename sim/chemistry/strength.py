"""The ionic strength of a solution, quick enough for every sample: `System.ionic_strength` with its loops laid out."""

import math
from collections.abc import Sequence

from titrator.chemistry.system import System


class Strength:
    """I = ½ Σ c z² of one system; equal to `System.ionic_strength` (tested)."""

    def __init__(self, system: System) -> None:
        balance = system.balance
        self._balance = balance
        self._solvent = [(f.ln_beta, f.shift, f.level, f.charge**2) for f in balance.solvent if f.charge]
        self._single: list[tuple[int, int]] = []
        self._ladders: list[tuple[int, list[tuple[float, float, float, int]]]] = []
        self._others: list[int] = []
        for index, forms in enumerate(balance.forms):
            if balance.solids[index] is not None or balance.polynuclear[index]:
                self._others.append(index)
            elif len(forms) == 1:
                self._single.append((index, forms[0].charge ** 2))
            else:
                self._ladders.append((index, [(f.ln_beta, f.shift, f.level, f.charge**2) for f in forms]))

    def __call__(self, y: float, amounts: Sequence[float], volume_L: float, g: float) -> float:
        """Ionic strength in mol/L at y = ln x of an equilibrium and g of its activity coefficients."""
        exp = math.exp
        doubled = 0.0
        for ln_beta, shift, level, squared in self._solvent:
            doubled += squared * exp(ln_beta - shift * g + level * y)
        doubled *= volume_L
        for index, squared in self._single:
            doubled += squared * amounts[index]
        for index, rows in self._ladders:
            n = amounts[index]
            if n <= 0.0:
                continue
            exponents = [ln_beta - shift * g + level * y for ln_beta, shift, level, _ in rows]
            top = max(exponents)
            whole = squares = 0.0
            for exponent, row in zip(exponents, rows, strict=True):
                weight = exp(exponent - top)
                whole += weight
                squares += row[3] * weight
            doubled += n * squares / whole
        for index in self._others:
            if amounts[index] > 0.0:
                held = self._balance.populations(index, amounts[index], volume_L, y, g)[1]
                forms = self._balance.forms[index]
                doubled += sum(f.charge**2 * row[2] for f, row in zip(forms, held, strict=False))
        return 0.5 * doubled / volume_L
