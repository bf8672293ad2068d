"""The curve of a redox titration from its exact electron balance: scalar, `math` only.

An analyte (reduced at the start) meets an oxidant. Electrons given and taken are equal:

    n_A·z_A·(a(E) − f0) = n_T·z_T·b(E)

with n amounts, z electrons, f0 the fraction of the analyte that was oxidised at the start, and from the Nernst equation

    a(E) = 1/(1 + exp(−z_A·(E − E_A)/s))     oxidised fraction of the analyte
    b(E) = 1/(1 + exp(+z_T·(E − E_T)/s))     reduced fraction of the titrant
    s = RT/F

so that the *degree* v = n_T·z_T/(n_A·z_A) of titration is explicit in the potential, v(E) = (a − f0)/b, for every
ratio of electrons. Both factors rise with E: the curve is monotone, and E(v) is the only root of a bracketed function.
Source: the balance of electrons and the Nernst equation, nothing else; textbooks give its approximations before, at and
after the equivalence point (`before_mV`, `equivalence_mV`, `after_mV` below).

Assumed: couples with one atom of the element on either side (homonuclear: not Cr2O7(2-)/Cr(3+)), no H+ in the
potentials that changes during the run, both couples in equilibrium at once, formal potentials that hold all activity
effects, and a titrant that brings no reduced form with it. Potentials and slope are in mV, against any one reference.
"""

import math
from dataclasses import dataclass

_STEP_TOLERANCE = 1e-7
"""A Newton step below this (in units of s) ends the search: convergence is quadratic, so about 1e-14·s is left."""

_MOST_STEPS = 400
"""A fence, never met: halving alone ends after some 70 steps from a bracket of practical width."""

_LONGEST_STEP_MV = 1000.0
_LEAST_RISE_PER_MV = 1e-300


def oxidised_fraction(x: float) -> float:
    """1/(1 + exp(−x)) without overflow for any finite or infinite x; x = z·(E − E°')/s is dimensionless."""
    if x >= 0.0:
        return 1.0 / (1.0 + math.exp(-x))
    small = math.exp(x)
    return small / (1.0 + small)


def log_oxidised_fraction(x: float) -> float:
    """ln(1/(1 + exp(−x))) without overflow or underflow: exact where the fraction itself is 0 or 1."""
    if x >= 0.0:
        return -math.log1p(math.exp(-x))
    return x - math.log1p(math.exp(x))


@dataclass(frozen=True, slots=True)
class RedoxBalance:
    """The balance without amounts: potentials and slope in mV, electrons, oxidised fraction at the start.

    Raises ValueError for electrons or a slope that are not positive, potentials that are not finite, an oxidised
    fraction outside 0 <= f0 < 1.
    """

    analyte_mV: float
    titrant_mV: float
    slope_mV: float
    analyte_electrons: float = 1.0
    titrant_electrons: float = 1.0
    oxidised_at_start: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what has no curve."""
        if not (math.isfinite(self.analyte_mV) and math.isfinite(self.titrant_mV)):
            raise ValueError(f"finite potentials were expected, {self.analyte_mV!r} and {self.titrant_mV!r} mV came")
        for what, value in (
            ("slope RT/F in mV", self.slope_mV),
            ("number of electrons of the analyte", self.analyte_electrons),
            ("number of electrons of the titrant", self.titrant_electrons),
        ):
            if not 0.0 < value < math.inf:
                raise ValueError(f"a positive {what} was expected, {value!r} came")
        if not 0.0 <= self.oxidised_at_start < 1.0:
            raise ValueError(f"an oxidised fraction from 0 to below 1 was expected, {self.oxidised_at_start!r} came")

    @property
    def equivalence_degree(self) -> float:
        """v at the equivalence point, 1 − f0: what was oxidised at the start needs no titrant."""
        return 1.0 - self.oxidised_at_start

    @property
    def equivalence_mV(self) -> float:
        """Potential at the equivalence point of an analyte fully reduced at the start, (z_A·E_A + z_T·E_T)/(z_A + z_T).

        Exact for f0 = 0, because a = b there. Source: common textbook formula.
        """
        z_A, z_T = self.analyte_electrons, self.titrant_electrons
        return (z_A * self.analyte_mV + z_T * self.titrant_mV) / (z_A + z_T)

    def before_mV(self, degree: float) -> float:
        """Textbook formula before equivalence, E_A + (s/z_A)·ln([ox]/[red]) as if all titrant reacted: 0 < v < 1 − f0.

        Always above the exact curve, by (s/z_A)·(1 − b)·v/((f0 + v)(1 − f0 − v)) to first order.
        """
        ratio = (self.oxidised_at_start + degree) / (self.equivalence_degree - degree)
        return self.analyte_mV + self.slope_mV / self.analyte_electrons * math.log(ratio)

    def after_mV(self, degree: float) -> float:
        """Textbook formula after equivalence, E_T + (s/z_T)·ln(v/(1 − f0) − 1) as if all analyte reacted: v > 1 − f0.

        Always below the exact curve, by (s/z_T)·(1 − a)·v/((1 − f0)(v − 1 + f0)) to first order.
        """
        excess = (degree - self.equivalence_degree) / self.equivalence_degree
        return self.titrant_mV + self.slope_mV / self.titrant_electrons * math.log(excess)

    def degree(self, potential_mV: float) -> float:
        """v(E), closed form. Negative below the potential of the initial solution; inf where v overflows."""
        y = self.titrant_electrons * (potential_mV - self.titrant_mV) / self.slope_mV
        x = self.analyte_electrons * (potential_mV - self.analyte_mV) / self.slope_mV
        if y > 700.0:
            return math.inf
        return (oxidised_fraction(x) - self.oxidised_at_start) * (1.0 + math.exp(y))

    def degree_slope_per_mV(self, potential_mV: float) -> float:
        """dv/dE in 1/mV, analytic: z_A·a·(1 − a)/(s·b) + v·z_T·(1 − b)/s; inf where v overflows."""
        y = self.titrant_electrons * (potential_mV - self.titrant_mV) / self.slope_mV
        x = self.analyte_electrons * (potential_mV - self.analyte_mV) / self.slope_mV
        if y > 700.0:
            return math.inf
        return self._rise(x, y, self.degree(potential_mV)) / self.slope_mV

    def potential_mV(self, degree: float) -> float:
        """E(v) in mV, the root of the balance; −inf at v = 0 without any oxidised analyte (the limit of Nernst).

        Rounding leaves some 1e-15·s·max(1, v): far below a nanovolt anywhere in a titration.

        Raises ValueError for a degree that is negative, infinite or not a number.
        """
        return self.point(degree)[0]

    def point(self, degree: float) -> tuple[float, float]:
        """(E in mV, s·dv/dE without dimension) at the degree v >= 0: the potential and how well poised the solution is.

        Raises ValueError as `potential_mV`.
        """
        if not 0.0 <= degree < math.inf:
            raise ValueError(f"a finite degree of titration >= 0 was expected, {degree!r} came")
        if degree == 0.0:
            return self._start()
        potential_mV = self._solve(degree, self._guess_mV(degree))
        y = self.titrant_electrons * (potential_mV - self.titrant_mV) / self.slope_mV
        x = self.analyte_electrons * (potential_mV - self.analyte_mV) / self.slope_mV
        return potential_mV, self._rise(x, y, degree)

    def _start(self) -> tuple[float, float]:
        """The point at v = 0."""
        f0 = self.oxidised_at_start
        if f0 == 0.0:
            return -math.inf, 0.0
        x = math.log(f0) - math.log1p(-f0)
        potential_mV = self.analyte_mV + self.slope_mV / self.analyte_electrons * x
        return potential_mV, self._rise(
            x, self.titrant_electrons * (potential_mV - self.titrant_mV) / self.slope_mV, 0.0
        )

    def _rise(self, x: float, y: float, degree: float) -> float:
        """s·dv/dE at the reduced potentials x and y (y <= 700)."""
        poise_A = self.analyte_electrons * oxidised_fraction(x) * oxidised_fraction(-x) * (1.0 + math.exp(y))
        return poise_A + degree * self.titrant_electrons * oxidised_fraction(y)

    def _guess_mV(self, degree: float) -> float:
        """Start of the search: the textbook formula of the region, which bounds the exact potential on one side."""
        if degree < self.equivalence_degree:
            return min(self.before_mV(degree), max(self.equivalence_mV, self.analyte_mV))
        if degree > self.equivalence_degree:
            return max(self.after_mV(degree), min(self.equivalence_mV, self.titrant_mV))
        return self.equivalence_mV

    def _solve(self, degree: float, guess_mV: float) -> float:
        """Newton on a logarithm of the balance, fenced by a bracket that only shrinks: it cannot diverge.

        A Newton step is taken while it stays inside and is at most half as long as the step before; else the bracket
        is halved. Three forms of the same balance, each without cancellation where it is used (c = 1 − a, d = 1 − b):
        while little has reacted  ln a = ln(f0 + v·b);  up to equivalence  ln(g + v·d) = ln c  with g = 1 − f0 − v;
        beyond it  ln(v·d) = ln(c − g).  All rise with E, nearly in straight lines, so a step or two suffice.
        """
        f0, gap = self.oxidised_at_start, self.equivalence_degree - degree
        k_A, k_T = self.analyte_electrons / self.slope_mV, self.titrant_electrons / self.slope_mV
        early = f0 + degree < 0.5
        log_degree = math.log(degree)
        low_mV, high_mV = -math.inf, math.inf
        potential_mV = guess_mV
        last_mV = 2.0 * _LONGEST_STEP_MV
        for _ in range(_MOST_STEPS):
            x, y = k_A * (potential_mV - self.analyte_mV), k_T * (potential_mV - self.titrant_mV)
            a, d = oxidised_fraction(x), oxidised_fraction(y)
            if early:
                b = oxidised_fraction(-y)
                taken = f0 + degree * b
                residual = log_oxidised_fraction(x) - (math.log(taken) if taken > 0.0 else log_degree - y)
                rise = k_A * (1.0 - a) + (degree * b * d * k_T / taken if taken > 0.0 else k_T)
            elif gap > 0.0:
                left = gap + degree * d
                residual = math.log(left) - log_oxidised_fraction(-x)
                rise = degree * d * (1.0 - d) * k_T / left + k_A * a
            else:
                c = oxidised_fraction(-x)
                over = c - gap
                residual = log_degree + log_oxidised_fraction(y) - (math.log(over) if over > 0.0 else -x)
                rise = k_T * (1.0 - d) + (k_A * a * c / over if over > 0.0 else k_A)
            if residual > 0.0:
                high_mV = potential_mV
            else:
                low_mV = potential_mV
            step_mV = -residual / max(rise, _LEAST_RISE_PER_MV)
            if abs(step_mV) <= _STEP_TOLERANCE * self.slope_mV:
                return potential_mV + step_mV
            if abs(step_mV) > 0.5 * last_mV or not low_mV < potential_mV + step_mV < high_mV:
                step_mV = _fenced_step_mV(potential_mV, low_mV, high_mV, 2.0 * last_mV)
            last_mV = abs(step_mV)
            if potential_mV + step_mV == potential_mV:
                return potential_mV  # no finer float exists
            potential_mV += step_mV
        return potential_mV


def _fenced_step_mV(at_mV: float, low_mV: float, high_mV: float, reach_mV: float) -> float:
    """The step to the middle of the bracket, or outwards by `reach_mV` while one side of it is open."""
    reach_mV = min(reach_mV, _LONGEST_STEP_MV)
    if low_mV == -math.inf:
        return -reach_mV
    if high_mV == math.inf:
        return reach_mV
    return 0.5 * (low_mV + high_mV) - at_mV


@dataclass(frozen=True, slots=True)
class RedoxTitration:
    """A balance with amounts; `total_mL` is the volume of titrant equivalent to *all* analyte, in both states."""

    balance: RedoxBalance
    total_mL: float

    def __post_init__(self) -> None:
        """Refuse amounts that have no curve."""
        if not 0.0 < self.total_mL < math.inf:
            raise ValueError(f"a positive volume equivalent to the analyte was expected, {self.total_mL!r} mL came")

    @classmethod
    def of_amounts(cls, balance: RedoxBalance, analyte_mmol: float, titrant_mol_per_L: float) -> "RedoxTitration":
        """From n_A in mmol (both oxidation states together) and c_T in mol/L: total volume n_A·z_A/(c_T·z_T) in mL.

        Raises ValueError for a concentration or an amount that is not positive.
        """
        if not 0.0 < titrant_mol_per_L < math.inf:
            raise ValueError(f"a positive concentration of the titrant was expected, {titrant_mol_per_L!r} mol/L came")
        per_mL = titrant_mol_per_L * balance.titrant_electrons
        return cls(balance, analyte_mmol * balance.analyte_electrons / per_mL)

    @property
    def equivalence_mL(self) -> float:
        """Volume of titrant at the equivalence point, in mL."""
        return self.total_mL * self.balance.equivalence_degree

    def volume_mL(self, potential_mV: float) -> float:
        """V(E) in mL; negative below the potential of the initial solution, inf where it overflows."""
        return self.total_mL * self.balance.degree(potential_mV)

    def volume_slope_mL_per_mV(self, potential_mV: float) -> float:
        """dV/dE in mL/mV, analytic."""
        return self.total_mL * self.balance.degree_slope_per_mV(potential_mV)

    def potential_mV(self, volume_mL: float) -> float:
        """E(V) in mV; −inf at 0 mL without oxidised analyte. Raises ValueError for a negative or non-finite volume."""
        return self.balance.potential_mV(volume_mL / self.total_mL)
