"""The curve of a redox titration, vectorised with numpy: the functions of `titrator.chemistry.redox`, tested equal.

Formulas and assumptions stand there. Every function takes an array of any shape (or a number) and returns an array of
float64 of that shape. Imported only where numpy is in use anyway.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from titrator.chemistry.redox import RedoxBalance, RedoxTitration

Floats = NDArray[np.float64]

# As in the scalar engine; the reasons stand there.
_MOST_STEPS = 400
_STEP_TOLERANCE = 1e-7
_LONGEST_STEP_MV = 1000.0
_LEAST_RISE_PER_MV = 1e-300


def oxidised_fraction(x: ArrayLike) -> Floats:
    """1/(1 + exp(−x)) without overflow, elementwise; x = z·(E − E°')/s is dimensionless."""
    values = np.asarray(x, dtype=np.float64)
    small = np.exp(-np.abs(values))
    return np.asarray(np.where(values >= 0.0, 1.0, small) / (1.0 + small), dtype=np.float64)


def log_oxidised_fraction(x: ArrayLike) -> Floats:
    """ln(1/(1 + exp(−x))) without overflow or underflow, elementwise."""
    values = np.asarray(x, dtype=np.float64)
    return np.asarray(np.minimum(values, 0.0) - np.log1p(np.exp(-np.abs(values))), dtype=np.float64)


def degree(balance: RedoxBalance, potential_mV: ArrayLike) -> Floats:
    """v(E), closed form, without dimension; inf where it overflows."""
    potential, x, y = _reduced(balance, potential_mV)
    with np.errstate(over="ignore"):
        v = (oxidised_fraction(x) - balance.oxidised_at_start) * (1.0 + np.exp(np.minimum(y, 700.0)))
    return np.asarray(np.where(y > 700.0, np.inf, v), dtype=np.float64).reshape(potential.shape)


def degree_slope_per_mV(balance: RedoxBalance, potential_mV: ArrayLike) -> Floats:
    """dv/dE in 1/mV, analytic; inf where v overflows."""
    _, x, y = _reduced(balance, potential_mV)
    v = degree(balance, potential_mV)
    poise_A = (
        balance.analyte_electrons * oxidised_fraction(x) * oxidised_fraction(-x) * (1.0 + np.exp(np.minimum(y, 700.0)))
    )
    rise = poise_A + v * balance.titrant_electrons * oxidised_fraction(y)
    return np.asarray(np.where(y > 700.0, np.inf, rise / balance.slope_mV), dtype=np.float64)


def potential_mV(balance: RedoxBalance, degrees: ArrayLike) -> Floats:
    """E(v) in mV; −inf at v = 0 without oxidised analyte.

    Raises ValueError if any degree is negative, infinite or not a number.
    """
    v = np.asarray(degrees, dtype=np.float64)
    if not bool(np.all(np.isfinite(v) & (v >= 0.0))):
        wrong = v[~(np.isfinite(v) & (v >= 0.0))].ravel()[0]
        raise ValueError(f"finite degrees of titration >= 0 were expected, {wrong!r} came among them")
    flat = v.ravel()
    result = np.full(flat.shape, balance.potential_mV(0.0))
    moved = flat > 0.0
    if bool(np.any(moved)):
        result[moved] = _solve(balance, flat[moved])
    return np.asarray(result.reshape(v.shape), dtype=np.float64)


def volume_mL(titration: RedoxTitration, potential_mV: ArrayLike) -> Floats:
    """V(E) in mL."""
    return titration.total_mL * degree(titration.balance, potential_mV)


def volume_slope_mL_per_mV(titration: RedoxTitration, potential_mV: ArrayLike) -> Floats:
    """dV/dE in mL/mV, analytic."""
    return titration.total_mL * degree_slope_per_mV(titration.balance, potential_mV)


def potential_at_mV(titration: RedoxTitration, volume_mL: ArrayLike) -> Floats:
    """E(V) in mV; −inf at 0 mL without oxidised analyte. Raises ValueError for negative or non-finite volumes."""
    return potential_mV(titration.balance, np.asarray(volume_mL, dtype=np.float64) / titration.total_mL)


def _reduced(balance: RedoxBalance, potential_mV: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """(E, x, y): the potential and the reduced potentials of analyte and titrant."""
    potential = np.asarray(potential_mV, dtype=np.float64)
    x = balance.analyte_electrons * (potential - balance.analyte_mV) / balance.slope_mV
    y = balance.titrant_electrons * (potential - balance.titrant_mV) / balance.slope_mV
    return potential, np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)


def _guess_mV(balance: RedoxBalance, v: Floats) -> Floats:
    """Textbook formulas of the regions, as in the scalar engine."""
    f0, end, middle_mV = balance.oxidised_at_start, balance.equivalence_degree, balance.equivalence_mV
    with np.errstate(divide="ignore", invalid="ignore"):
        before = balance.analyte_mV + balance.slope_mV / balance.analyte_electrons * np.log((f0 + v) / (end - v))
        after = balance.titrant_mV + balance.slope_mV / balance.titrant_electrons * np.log((v - end) / end)
    guess = np.where(v < end, np.fmin(before, max(middle_mV, balance.analyte_mV)), middle_mV)
    return np.asarray(np.where(v > end, np.fmax(after, min(middle_mV, balance.titrant_mV)), guess), dtype=np.float64)


def _residual(balance: RedoxBalance, v: Floats, potential: Floats) -> tuple[Floats, Floats]:
    """Logarithmic balance and its derivative in E, by region as in the scalar engine (see there)."""
    f0, gap = balance.oxidised_at_start, balance.equivalence_degree - v
    k_A, k_T = balance.analyte_electrons / balance.slope_mV, balance.titrant_electrons / balance.slope_mV
    _, x, y = _reduced(balance, potential)
    a, c, b, d = oxidised_fraction(x), oxidised_fraction(-x), oxidised_fraction(-y), oxidised_fraction(y)
    taken, left, over = f0 + v * b, np.maximum(gap, 0.0) + v * d, c - gap
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        some = taken > 0.0
        early = (
            log_oxidised_fraction(x) - np.where(some, np.log(taken), np.log(v) - y),
            k_A * c + np.where(some, v * b * d * k_T / taken, k_T),
        )
        late = np.log(left) - log_oxidised_fraction(-x), v * d * b * k_T / left + k_A * a
        log_over = np.where(over > 0.0, np.log(over), -x)
        beyond = (
            np.log(v) + log_oxidised_fraction(y) - log_over,
            k_T * b + np.where(over > 0.0, k_A * a * c / over, k_A),
        )
    is_early, is_late = f0 + v < 0.5, gap > 0.0
    residual = np.where(is_early, early[0], np.where(is_late, late[0], beyond[0]))
    rise = np.where(is_early, early[1], np.where(is_late, late[1], beyond[1]))
    return np.asarray(residual, dtype=np.float64), np.asarray(rise, dtype=np.float64)


def _solve(balance: RedoxBalance, v: Floats) -> Floats:
    """Newton inside a bracket that only shrinks, all points at once, until the slowest has converged."""
    potential = _guess_mV(balance, v)
    low, high = np.full(v.shape, -np.inf), np.full(v.shape, np.inf)
    last = np.full(v.shape, 2.0 * _LONGEST_STEP_MV)
    for _ in range(_MOST_STEPS):
        residual, rise = _residual(balance, v, potential)
        above = residual > 0.0
        high, low = np.where(above, potential, high), np.where(above, low, potential)
        step = -residual / np.maximum(rise, _LEAST_RISE_PER_MV)
        done = np.abs(step) <= _STEP_TOLERANCE * balance.slope_mV
        newton = potential + step
        reach = np.minimum(2.0 * last, _LONGEST_STEP_MV)
        with np.errstate(invalid="ignore"):
            middle = 0.5 * (low + high) - potential
        fenced = np.where(np.isinf(low), -reach, np.where(np.isinf(high), reach, middle))
        keep = done | ((np.abs(step) <= 0.5 * last) & (newton > low) & (newton < high))
        step = np.where(keep, step, fenced)
        last = np.where(done, last, np.abs(step))
        moved = potential + step
        if bool(np.all(done | (moved == potential))):
            return moved
        potential = moved
    return potential
