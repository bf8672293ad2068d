"""The balance of `balance`, vectorised with numpy: many states at once, tested equal to the scalar one.

Formulas and reasons stand there. Imported only where numpy is in use anyway.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from titrator.chemistry.balance import (
    LONGEST_STEP,
    MOST_STEPS,
    STEP_TOLERANCE,
    Balance,
    Form,
)

Floats = NDArray[np.float64]
Population = tuple[float, int, Floats, Floats]
"""(level, base units, mol of a species, its slope in y)."""

_CHUNK = 4096
"""Points worked on at once: their arrays stay in the processor's cache."""

_UNPAIRED_STEPS = 10
_LEAST = 1e-300
_LARGEST_EXPONENT = 690.0


@dataclass(frozen=True, slots=True)
class States:
    """Many states: amounts of shape (pools, points) and totals in mol, volumes in L, g = ln(10)·A·f(I) of each."""

    amounts: Floats
    total: Floats
    volume_L: Floats
    g: Floats

    def only(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> "States":
        """Some of the points."""
        return States(self.amounts[:, which], self.total[which], self.volume_L[which], self.g[which])


def solve(balance: Balance, states: States, guess: Floats | None = None) -> Floats:
    """y = ln x of each state, shape (points,); ±inf where the scalar function says so. Raises ValueError as that."""
    result = limits(balance, states)
    start = np.full(result.shape, np.nan) if guess is None else guess
    for first in range(0, result.size, _CHUNK):
        wanted = np.flatnonzero(np.isnan(result[first : first + _CHUNK])) + first
        if wanted.size:
            result[wanted] = _solve(balance, states.only(wanted), start[wanted])
    return result


def limits(balance: Balance, states: States) -> Floats:
    """±inf where the pools are empty or full of the master and the solvent holds none, nan elsewhere."""
    amounts, total = states.amounts, states.total
    result = np.full(total.shape, np.nan)
    above, below = (any(f.level * sign > 0.0 for f in balance.solvent) for sign in (1.0, -1.0))
    slack = 4e-16 * (amounts.sum(axis=0) + np.abs(total))
    for is_open, sign, levels in (
        (below, -1.0, [pool.least_level for pool in balance.pools]),
        (above, 1.0, [pool.most_level for pool in balance.pools]),
    ):
        if is_open or (above and below):
            continue
        bound = np.asarray(levels) @ amounts
        beyond = sign * (total - bound)
        if bool(np.any(beyond > 1e3 * slack)):
            at = int(np.argmax(beyond > 1e3 * slack))
            raise ValueError(
                f"a total of {balance.master.name} {'of at least' if sign < 0 else 'of at most'} {bound[at]:g} mol was "
                f"expected, {total[at]:g} mol came (point {at})"
            )
        result[beyond >= -slack] = sign * np.inf
    return result


def terms(balance: Balance, y: Floats, states: States) -> tuple[Floats, Floats, Floats, Floats]:
    """P, N and their slopes in y, each of shape (points,); see the scalar function."""
    amounts, volume_L, g = states.amounts, states.volume_L, states.g
    up, down, d_up, d_down = (np.zeros(y.shape) for _ in range(4))
    for f in balance.solvent:
        held = volume_L * np.exp(f.ln_beta - f.shift * g + f.level * y)
        if f.level > 0.0:
            up += f.level * held
            d_up += f.level**2 * held
        else:
            down -= f.level * held
            d_down -= f.level**2 * held
    rest = np.array(np.broadcast_to(states.total, y.shape), dtype=np.float64)
    for index, level in balance.fixed:
        rest -= amounts[index] * level
    for index, ln_beta, shift, gap, low, high in balance.pairs:
        n = amounts[index]
        t = ln_beta - shift * g + gap * y
        e = np.exp(-np.abs(t))
        minor = gap * n * e / (1.0 + e)
        slope = gap * minor / (1.0 + e)
        full = t > 0.0
        rest -= n * np.where(full, high, low)
        down += np.where(full, minor, 0.0)
        d_down -= np.where(full, slope, 0.0)
        up += np.where(full, 0.0, minor)
        d_up += np.where(full, 0.0, slope)
    for index, forms in balance.ladders:
        if amounts[index].any():
            _add_ladder(forms, amounts[index], y, g, (up, down, d_up, d_down, rest))
    for index, ln_beta, shift, gap, low, high in balance.salts:
        n = amounts[index]
        dissolved = np.minimum(volume_L * np.exp(np.minimum(shift * g - ln_beta - gap * y, _LARGEST_EXPONENT)), n)
        solid = dissolved < 0.5 * n
        rest -= n * np.where(solid, high, low)
        some = dissolved < n
        down += np.where(solid, gap * dissolved, 0.0)
        d_down -= np.where(solid, gap * gap * dissolved, 0.0)
        up += np.where(some & ~solid, gap * (n - dissolved), 0.0)
        d_up += np.where(some & ~solid, gap * gap * dissolved, 0.0)
    for index in balance.others:
        if not amounts[index].any():
            continue
        reference, rows = populations(balance, index, y, states)
        rest -= amounts[index] * reference
        for level, units, held, change in rows:
            above = level - units * reference
            up += np.where(above > 0.0, above * held, 0.0)
            d_up += np.where(above > 0.0, above * change, 0.0)
            down -= np.where(above < 0.0, above * held, 0.0)
            d_down -= np.where(above < 0.0, above * change, 0.0)
    down += np.maximum(rest, 0.0)
    up -= np.minimum(rest, 0.0)
    return up, down, d_up, d_down


def _add_ladder(
    forms: Sequence[tuple[float, float, float]],
    n: Floats,
    y: Floats,
    g: Floats,
    sums: tuple[Floats, Floats, Floats, Floats, Floats],
) -> None:
    """Add a pool of several one-unit forms to P, N, their slopes and the rest, in place."""
    up, down, d_up, d_down, rest = sums
    exponents = [b - d * g + m * y if d else b + m * y for b, d, m in forms]
    top, reference = exponents[0], np.full(y.shape, forms[0][2])
    for exponent, (_, _, m) in zip(exponents[1:], forms[1:], strict=True):
        higher = exponent > top
        top = np.where(higher, exponent, top)
        reference[higher] = m
    rest -= n * reference
    whole, mean, high, low, high_2, low_2 = (np.zeros(y.shape) for _ in range(6))
    for exponent, (_, _, m) in zip(exponents, forms, strict=True):
        w = np.exp(exponent - top)
        above = m - reference
        whole += w
        one = above * w
        two = above * one
        mean += one
        positive = above > 0.0
        high += np.where(positive, one, 0.0)
        high_2 += np.where(positive, two, 0.0)
        low -= np.where(positive, 0.0, one)
        low_2 -= np.where(positive, 0.0, two)
    share = n / whole
    mean /= whole
    up += share * high
    down += share * low
    d_up += share * (high_2 - mean * high)
    d_down += share * (low_2 - mean * low)


def populations(balance: Balance, index: int, y: Floats, states: States) -> tuple[Floats, list[Population]]:
    """(reference level of a unit, populations) of one pool, as the scalar function, with the solid as last row."""
    forms, solid = balance.forms[index], balance.solids[index]
    n, volume, g = states.amounts[index], states.volume_L, states.g
    exponents = [f.ln_beta - f.shift * g + f.level * y for f in forms]
    ln_free = _ln_free(forms, exponents, n / volume)
    if solid is None:
        saturated = np.zeros(y.shape, dtype=np.bool_)
    else:
        at_solid = -(solid.ln_beta - solid.shift * g + solid.level * y)
        saturated = at_solid < ln_free
        ln_free = np.where(saturated, at_solid, ln_free)
    held = [
        np.where(n > 0.0, volume * np.exp(np.minimum(e + f.units * ln_free, _LARGEST_EXPONENT)), 0.0)
        for e, f in zip(exponents, forms, strict=True)
    ]
    weighted = sum((f.units**2 * h for f, h in zip(forms, held, strict=True)), start=np.zeros(y.shape))
    slope = -sum((f.units * f.level * h for f, h in zip(forms, held, strict=True)), start=np.zeros(y.shape))
    slope /= np.where(weighted > 0.0, weighted, 1.0)
    if solid is not None:
        slope = np.where(saturated, -solid.level, slope)
    rows: list[Population] = [
        (f.level, f.units, h, h * (f.level + f.units * slope)) for f, h in zip(forms, held, strict=True)
    ]
    largest = np.full(y.shape, -1.0)
    reference = np.zeros(y.shape)
    for f, h in zip(forms, held, strict=True):
        more = f.units * h > largest
        largest = np.where(more, f.units * h, largest)
        reference = np.where(more, f.level / f.units, reference)
    if solid is not None:
        left = np.where(saturated, n - sum(h for _, _, h, _ in rows), 0.0)
        change = np.where(saturated, -sum(c for _, _, _, c in rows), 0.0)
        rows.append((solid.level, 1, left, change))
        reference = np.where(left > 0.5 * n, solid.level, reference)
    return reference, rows


def _ln_free(forms: Sequence[Form], exponents: Sequence[Floats], concentration: Floats) -> Floats:
    """ln of the free base form without a solid, as the scalar function; −690 where the pool is empty."""
    ln_c = np.log(np.maximum(concentration, _LEAST))
    if all(f.units == 1 for f in forms):
        top = np.maximum.reduce(list(exponents))
        return np.asarray(ln_c - top - np.log(sum(np.exp(e - top) for e in exponents)), dtype=np.float64)
    starts = [(ln_c - np.log(f.units) - e) / f.units for f, e in zip(forms, exponents, strict=True)]
    ln_free = np.minimum.reduce(starts)
    for _ in range(MOST_STEPS):
        parts = [f.units * np.exp(e + f.units * ln_free - ln_c) for f, e in zip(forms, exponents, strict=True)]
        whole = np.asarray(sum(parts))
        step = np.log(whole) * whole / sum(f.units * p for f, p in zip(forms, parts, strict=True))
        ln_free -= step
        if bool(np.all(np.abs(step) <= STEP_TOLERANCE)):
            break
    return np.asarray(ln_free, dtype=np.float64)


def _solve(balance: Balance, states: States, guess: Floats) -> Floats:
    """Newton inside a bracket, all points at once; points that have converged are set aside."""
    count = states.total.size
    result = np.empty(count)
    y = np.where(np.isfinite(guess), guess, balance.start(float(states.g[0])))
    low, high = np.full(count, -np.inf), np.full(count, np.inf)
    where = np.arange(count)
    reach = 1.0
    for step_count in range(MOST_STEPS):
        up, down, d_up, d_down = terms(balance, y, states)
        with np.errstate(divide="ignore", invalid="ignore"):
            residual = np.log(up / down)
            step = -residual / np.maximum(d_up / up - d_down / down, _LEAST)
        lost = (up < _LEAST) | (down < _LEAST)
        rising = np.where(lost, up < down, residual < 0.0)
        low, high = np.where(rising, y, low), np.where(rising, high, y)
        step = np.clip(np.where(lost, np.inf, step), -LONGEST_STEP, LONGEST_STEP)
        done = np.abs(step) <= balance.tolerance
        moved = y + step
        bad = ~done & ~((moved > low) & (moved < high))
        if step_count > _UNPAIRED_STEPS and step_count % 2:
            bad = ~done
        if bool(np.any(bad)):
            reach *= 2.0
            with np.errstate(invalid="ignore"):
                fenced = np.where(np.isinf(low), y - reach, np.where(np.isinf(high), y + reach, 0.5 * (low + high)))
            moved = np.where(bad, fenced, moved)
        done |= moved == y
        result[where] = moved
        if bool(np.all(done)):
            break
        if np.count_nonzero(done) * 4 > done.size:
            keep = ~done
            where, moved, low, high = where[keep], moved[keep], low[keep], high[keep]
            states = states.only(keep)
        y = moved
    return result
