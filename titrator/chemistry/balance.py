"""The one balance behind every curve, scalar and with `math` only.

The master (H+, Ag+, free EDTA, electrons) is conserved: what is free, what the solvent holds and what the pools hold is
the total that was put in,

    V·Σ m·β·x^m (solvent)  +  Σ n_k·m̄_k(x) (pools)  =  M

with m̄_k the mean level of pool k. The left side rises with x, whatever the pools are, and is linear in the amounts and
the volume: so the volume of titrant is explicit in the master, and x(V) is the only root of a bracketed function.
Source: conservation of matter and mass action, nothing else.

To keep every digit at the ends of a curve, each pool is counted from the level of its most abundant species: what lies
above that level is gathered in P, what lies below in N, the rest of the total joins the side where it is positive, and
the root of ln P − ln N is sought by Newton inside a bracket. All logarithms inside are natural; y = ln x.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from titrator.chemistry.constants import LN_10
from titrator.chemistry.pools import Master, Pool, Species

STEP_TOLERANCE = 1e-7
"""A Newton step below this ends the search: convergence is quadratic, so about 1e-14 of ln x is left."""

SOLID_STEP_TOLERANCE = 1e-11

MOST_STEPS = 200
"""A fence, never met in the tests: halving alone ends after some 70 steps."""

LONGEST_STEP = 40.0
_UNPAIRED_STEPS = 10
_LEAST_SLOPE = 1e-300
_LEAST_SIDE = 1e-300

Terms = tuple[float, float, float, float]
"""(P, N, dP/dy, dN/dy) in mol."""


@dataclass(frozen=True, slots=True)
class Form:
    """A species ready for the balance: ln β, its shift d (ln β changes by −d·g), level, base units, charge."""

    ln_beta: float
    shift: float
    level: float
    units: int
    charge: int


def form(species: Species, base_charge: int, master_charge: int, *, formal: bool) -> Form:
    """`species` ready for use; d = u·z0² + m·zM² − z² from ln γ = −z²·g for every ion of its reaction of formation."""
    z = species.charge
    shift = -species.protons
    if not formal:
        shift += species.units * base_charge**2 + species.level * master_charge**2 - z * z
    return Form(LN_10 * species.log_beta, shift, species.level, species.units, z)


class Balance:
    """Master and pools with their constants, without amounts. Amounts in mol, volumes in litres (`volume_L`), y = ln x.

    g is what the medium does to the constants: ln(10)·A·f(I) of an activity model, ln(10)·pH for redox couples at
    a held pH, 0 for neither.
    """

    def __init__(self, master: Master, pools: Sequence[Pool]) -> None:
        """Prepare the constants."""
        self.master = master
        self.pools = tuple(pools)
        self.solvent = tuple(form(s, 0, master.charge, formal=False) for s in master.solvent)
        self.forms = tuple(
            tuple(form(s, pool.base_charge, master.charge, formal=pool.formal) for s in pool.species)
            for pool in self.pools
        )
        self.solids = tuple(
            None if pool.solid is None else form(pool.solid, pool.base_charge, master.charge, formal=pool.formal)
            for pool in self.pools
        )
        self.polynuclear = tuple(any(f.units != 1 for f in forms) for forms in self.forms)
        self._sort()
        # Where a solid appears the curve has a kink, and Newton's last step does not square its error.
        self.tolerance = STEP_TOLERANCE if all(solid is None for solid in self.solids) else SOLID_STEP_TOLERANCE
        self.explicit = not any(self.polynuclear)
        self._least = tuple(pool.least_level for pool in self.pools)
        self._most = tuple(pool.most_level for pool in self.pools)
        self._open_above = any(f.level > 0.0 for f in self.solvent)
        self._open_below = any(f.level < 0.0 for f in self.solvent)

    def _sort(self) -> None:
        """Pools by the work they make: one form, two, several, one form and its solid, and all others."""
        self.fixed: list[tuple[int, float]] = []
        self.pairs: list[tuple[int, float, float, float, float, float]] = []
        self.ladders: list[tuple[int, list[tuple[float, float, float]]]] = []
        self.salts: list[tuple[int, float, float, float, float, float]] = []
        self.others: list[int] = []
        for index, forms in enumerate(self.forms):
            solid = self.solids[index]
            if solid is not None and len(forms) == 1 and solid.level > forms[0].level:
                one = forms[0]
                row = (solid.ln_beta - one.ln_beta, solid.shift - one.shift, solid.level - one.level)
                self.salts.append((index, *row, one.level, solid.level))
            elif solid is not None or self.polynuclear[index]:
                self.others.append(index)
            elif len(forms) == 1:
                if forms[0].level != 0.0:
                    self.fixed.append((index, forms[0].level))
            elif len(forms) == 2:
                one, two = sorted(forms, key=lambda f: f.level)
                row = (two.ln_beta - one.ln_beta, two.shift - one.shift, two.level - one.level)
                self.pairs.append((index, *row, one.level, two.level))
            else:
                self.ladders.append((index, [(f.ln_beta, f.shift, f.level) for f in forms]))

    def limit(self, amounts: Sequence[float], total: float) -> float | None:
        """y = ±inf where the pools are full or empty of the master and the solvent holds none; None inside.

        Raises ValueError for a total that no solution can hold.
        """
        if self._open_above and self._open_below:
            return None
        least = math.fsum(n * level for n, level in zip(amounts, self._least, strict=True))
        most = math.fsum(n * level for n, level in zip(amounts, self._most, strict=True))
        slack = 4e-16 * (math.fsum(amounts) + abs(total))
        if not self._open_below and total <= least + slack:
            if total < least - 1e3 * slack:
                raise ValueError(
                    f"a total of {self.master.name} of at least {least:g} mol was expected, {total:g} mol came"
                )
            return -math.inf
        if not self._open_above and total >= most - slack:
            if total > most + 1e3 * slack:
                raise ValueError(
                    f"a total of {self.master.name} of at most {most:g} mol was expected, {total:g} mol came"
                )
            return math.inf
        return None

    def terms(self, y: float, amounts: Sequence[float], total: float, volume_L: float, g: float) -> Terms:
        """P, N and their slopes at y."""
        exp = math.exp
        up = down = d_up = d_down = 0.0
        for f in self.solvent:
            m = f.level
            held = volume_L * exp(f.ln_beta - f.shift * g + m * y)
            if m > 0.0:
                up += m * held
                d_up += m * m * held
            else:
                down -= m * held
                d_down -= m * m * held
        rest = total
        for index, level in self.fixed:
            rest -= amounts[index] * level
        for index, ln_beta, shift, gap, low, high in self.pairs:
            n = amounts[index]
            t = ln_beta - shift * g + gap * y
            if t > 0.0:
                e = exp(-t)
                minor = gap * n * e / (1.0 + e)
                rest -= n * high
                down += minor
                d_down -= gap * minor / (1.0 + e)
            else:
                e = exp(t)
                minor = gap * n * e / (1.0 + e)
                rest -= n * low
                up += minor
                d_up += gap * minor / (1.0 + e)
        for index, forms in self.ladders:
            if amounts[index] > 0.0:
                reference, part = _ladder(forms, amounts[index], y, g)
                rest -= amounts[index] * reference
                up, down, d_up, d_down = up + part[0], down + part[1], d_up + part[2], d_down + part[3]
        for index, ln_beta, shift, gap, low, high in self.salts:
            n = amounts[index]
            dissolved = volume_L * _exp(shift * g - ln_beta - gap * y)
            if dissolved >= n:
                rest -= n * low
            elif dissolved < 0.5 * n:
                rest -= n * high
                down += gap * dissolved
                d_down -= gap * gap * dissolved
            else:
                rest -= n * low
                up += gap * (n - dissolved)
                d_up += gap * gap * dissolved
        for index in self.others:
            if amounts[index] > 0.0:
                reference, part = self._other(index, amounts[index], volume_L, y, g)
                rest -= amounts[index] * reference
                up, down, d_up, d_down = up + part[0], down + part[1], d_up + part[2], d_down + part[3]
        if rest > 0.0:
            down += rest
        else:
            up -= rest
        return up, down, d_up, d_down

    def _other(self, index: int, n: float, volume_L: float, y: float, g: float) -> tuple[float, Terms]:
        """(reference level, its part of P, N and their slopes) of a pool with a solid or with several base units."""
        up = down = d_up = d_down = 0.0
        reference, populations = self.populations(index, n, volume_L, y, g)
        for level, units, held, change in populations:
            above = level - units * reference
            if above > 0.0:
                up += above * held
                d_up += above * change
            elif above < 0.0:
                down -= above * held
                d_down -= above * change
        return reference, (up, down, d_up, d_down)

    def populations(
        self, index: int, n: float, volume_L: float, y: float, g: float
    ) -> tuple[float, list[tuple[float, int, float, float]]]:
        """(reference level of a unit, [(level, units, mol, slope in y) of each species]) of a pool, solid included."""
        forms, solid = self.forms[index], self.solids[index]
        if solid is None and len(forms) == 2:
            return _two_forms(forms, n, volume_L, y, g)
        exponents = [f.ln_beta - f.shift * g + f.level * y for f in forms]
        if solid is not None:
            ln_free = -(solid.ln_beta - solid.shift * g + solid.level * y)
            top = max(exponents)
            dissolved = _exp(ln_free + top + math.log(volume_L)) * sum(math.exp(e - top) for e in exponents)
            if dissolved < n:
                held = [volume_L * _exp(ln_free + e) for e in exponents]
                changes = [(f.level - solid.level) * h for f, h in zip(forms, held, strict=True)]
                left = n - sum(held)
                reference = solid.level if left > 0.5 * n else forms[exponents.index(top)].level
                rows = [(f.level, 1, h, c) for f, h, c in zip(forms, held, changes, strict=True)]
                return reference, [*rows, (solid.level, 1, left, -sum(changes))]
        if not self.polynuclear[index]:
            return _one_unit(forms, exponents, n)
        ln_free = self._ln_free(forms, exponents, n / volume_L)
        held = [volume_L * _exp(e + f.units * ln_free) for e, f in zip(exponents, forms, strict=True)]
        free_slope = -sum(f.units * f.level * h for f, h in zip(forms, held, strict=True))
        free_slope /= sum(f.units**2 * h for f, h in zip(forms, held, strict=True))
        rows = [(f.level, f.units, h, h * (f.level + f.units * free_slope)) for f, h in zip(forms, held, strict=True)]
        largest = max(range(len(forms)), key=lambda i: forms[i].units * held[i])
        return forms[largest].level / forms[largest].units, rows

    @staticmethod
    def _ln_free(forms: Sequence[Form], exponents: Sequence[float], concentration: float) -> float:
        """ln of the free base form: root of Σ u·exp(e + u·ρ) = c, convex in ρ, by Newton from above."""
        ln_c = math.log(concentration)
        ln_free = min((ln_c - math.log(f.units) - e) / f.units for f, e in zip(forms, exponents, strict=True))
        for _ in range(MOST_STEPS):
            parts = [f.units * math.exp(e + f.units * ln_free - ln_c) for f, e in zip(forms, exponents, strict=True)]
            whole = sum(parts)
            step = math.log(whole) * whole / sum(f.units * p for f, p in zip(forms, parts, strict=True))
            ln_free -= step
            if abs(step) <= STEP_TOLERANCE:
                break
        return ln_free

    def solve(
        self, amounts: Sequence[float], total: float, volume_L: float, g: float = 0.0, guess: float | None = None
    ) -> float:
        """y = ln x at equilibrium; ±inf in the limits of `limit`. Raises ValueError as `limit`."""
        end = self.limit(amounts, total)
        if end is not None:
            return end
        y = self.start(g) if guess is None or not math.isfinite(guess) else guess
        low, high = -math.inf, math.inf
        reach = 1.0
        for count in range(MOST_STEPS):
            up, down, d_up, d_down = self.terms(y, amounts, total, volume_L, g)
            if up < _LEAST_SIDE or down < _LEAST_SIDE:
                rising = up < down
                step = math.nan
            else:
                residual = math.log(up / down)
                rising = residual < 0.0
                step = -residual / max(d_up / up - d_down / down, _LEAST_SLOPE)
                if abs(step) <= self.tolerance:
                    return y + step
            if rising:
                low = y
            else:
                high = y
            step = min(max(step, -LONGEST_STEP), LONGEST_STEP)
            if not low < y + step < high or (count > _UNPAIRED_STEPS and count % 2):
                reach *= 2.0
                step = _fenced(y, low, high, reach)
            if y + step == y:
                return y
            y += step
        return y

    def start(self, g: float) -> float:
        """Where the search begins: the mean of the places at which a species gives way to the next, or neutrality."""
        if len(self.solvent) == 2:
            first, second = self.solvent
            gap = first.level - second.level
            return (second.ln_beta - first.ln_beta - (second.shift - first.shift) * g) / gap
        places = []
        for forms, solid in zip(self.forms, self.solids, strict=True):
            all_forms = forms if solid is None else (*forms, solid)
            for one, two in pairwise(all_forms):
                gap = two.level / two.units - one.level / one.units
                left, right = ((f.ln_beta - f.shift * g) / f.units for f in (one, two))
                if gap != 0.0:
                    places.append((left - right) / gap)
        return sum(places) / len(places) if places else 0.0


def _ladder(forms: Sequence[tuple[float, float, float]], n: float, y: float, g: float) -> tuple[float, Terms]:
    """(reference level, its part of P, N and their slopes) of a pool of several one-unit forms."""
    exp = math.exp
    exponents = [b - d * g + m * y for b, d, m in forms]
    top = max(exponents)
    reference = forms[exponents.index(top)][2]
    whole = mean = high = low = high_2 = low_2 = 0.0
    for exponent, (_, _, m) in zip(exponents, forms, strict=True):
        w = exp(exponent - top)
        above = m - reference
        part = above * w
        whole += w
        mean += part
        if above > 0.0:
            high += part
            high_2 += above * part
        else:
            low -= part
            low_2 -= above * part
    share, mean = n / whole, mean / whole
    return reference, (share * high, share * low, share * (high_2 - mean * high), share * (low_2 - mean * low))


def _one_unit(
    forms: Sequence[Form], exponents: Sequence[float], n: float
) -> tuple[float, list[tuple[float, int, float, float]]]:
    """What `populations` tells of a pool without solid whose species hold one base unit each: shares, no root."""
    top = max(exponents)
    weights = [math.exp(e - top) for e in exponents]
    share = n / sum(weights)
    held = [share * weight for weight in weights]
    mean = sum(f.level * h for f, h in zip(forms, held, strict=False)) / n
    rows = [(f.level, 1, h, h * (f.level - mean)) for f, h in zip(forms, held, strict=False)]
    return forms[exponents.index(top)].level, rows


def _two_forms(
    forms: Sequence[Form], n: float, volume_L: float, y: float, g: float
) -> tuple[float, list[tuple[float, int, float, float]]]:
    """What `populations` tells of a pool of two forms (a couple), with the loops laid out: it is asked most often."""
    exp = math.exp
    one, two = forms
    u, w = one.units, two.units
    e = one.ln_beta - one.shift * g + one.level * y
    f = two.ln_beta - two.shift * g + two.level * y
    ln_c = math.log(n / volume_L)
    # ln of the free base form: root of u·exp(e + u·ρ) + w·exp(f + w·ρ) = c, convex in ρ, by Newton from above.
    free = min((ln_c - math.log(u) - e) / u, (ln_c - math.log(w) - f) / w)
    for _ in range(MOST_STEPS):
        part, other = u * exp(e + u * free - ln_c), w * exp(f + w * free - ln_c)
        step = math.log(part + other) * (part + other) / (u * part + w * other)
        free -= step
        if abs(step) <= STEP_TOLERANCE:
            break
    first, second = volume_L * _exp(e + u * free), volume_L * _exp(f + w * free)
    slope = -(u * one.level * first + w * two.level * second) / (u * u * first + w * w * second)
    rows = [
        (one.level, u, first, first * (one.level + u * slope)),
        (two.level, w, second, second * (two.level + w * slope)),
    ]
    return (one.level / u if u * first >= w * second else two.level / w), rows


def _fenced(y: float, low: float, high: float, reach: float) -> float:
    """The step to the middle of the bracket, or outwards by `reach` while one side of it is open."""
    if low == -math.inf:
        return -reach
    if high == math.inf:
        return reach
    return 0.5 * (low + high) - y


def _exp(exponent: float) -> float:
    """exp that ends at 1e300 instead of overflowing."""
    return math.exp(min(exponent, 690.0))
