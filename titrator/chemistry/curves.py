"""Systems and titrations for many points at once, with numpy.

The functions of `system` and `titration`, tested equal. Imported only where numpy is in use anyway.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from titrator.chemistry import balance_curve
from titrator.chemistry.activity import DAVIES_UP_TO_MOL_PER_L
from titrator.chemistry.balance_curve import States
from titrator.chemistry.constants import LN_10
from titrator.chemistry.system import System
from titrator.chemistry.titration import MOST_HALVINGS, FARTHEST_mL, Titration

Floats = NDArray[np.float64]

_MOST_ROUNDS = 60
_STRENGTH_TOLERANCE = 1e-10
_VOLUME_TOLERANCE = 1e-13


def g(system: System, ionic_strength_mol_per_L: Floats) -> Floats:
    """g of each point, as the scalar function."""
    if system.davies is None:
        return np.full(ionic_strength_mol_per_L.shape, system.held_g)
    held = system.davies.held_mol_per_L
    strength = np.full(ionic_strength_mol_per_L.shape, held) if held is not None else ionic_strength_mol_per_L
    strength = np.minimum(strength, DAVIES_UP_TO_MOL_PER_L)
    root = np.sqrt(strength)
    return np.asarray(LN_10 * system.davies.A * (root / (1.0 + root) - 0.3 * strength), dtype=np.float64)


def ionic_strength(system: System, y: Floats, states: States) -> Floats:
    """I = ½ Σ c z² in mol/L of each point."""
    volume_L, g_now = states.volume_L, states.g
    y = np.clip(y, -300.0, 300.0)
    doubled = np.zeros(y.shape)
    for f in system.balance.solvent:
        if f.charge:
            doubled += f.charge**2 * volume_L * np.exp(f.ln_beta - f.shift * g_now + f.level * y)
    for index, n in enumerate(states.amounts):
        forms = system.balance.forms[index]
        if system.balance.solids[index] is not None or system.balance.polynuclear[index]:
            rows = balance_curve.populations(system.balance, index, y, states)[1]
            for f, row in zip(forms, rows, strict=False):
                doubled += f.charge**2 * row[2]
        elif len({f.charge**2 for f in forms}) == 1:
            doubled += forms[0].charge ** 2 * n
        else:
            exponents = [f.ln_beta - f.shift * g_now + f.level * y for f in forms]
            top = np.maximum.reduce(exponents)
            whole, squares = np.zeros(y.shape), np.zeros(y.shape)
            for f, exponent in zip(forms, exponents, strict=True):
                weight = np.exp(exponent - top)
                whole += weight
                squares += f.charge**2 * weight
            doubled += n * squares / whole
    return np.asarray(0.5 * doubled / volume_L, dtype=np.float64)


def equilibria(system: System, states: States) -> tuple[Floats, States]:
    """(y = ln x of each state, the states with the g that belongs to it); `states.g` is replaced, whatever it was.

    Raises ValueError as the scalar function.
    """
    if system.davies is None or system.davies.held_mol_per_L is not None:
        states = replace(states, g=g(system, np.zeros(states.total.shape)))
        return balance_curve.solve(system.balance, states), states
    return _consistent(system, states)


def _consistent(system: System, states: States) -> tuple[Floats, States]:
    """(y, states) whose g agrees with the ionic strength it leads to, by the secant method in I."""
    shape = states.total.shape
    tried, y = np.zeros(shape), np.full(shape, np.nan)
    before = miss_before = np.full(shape, np.nan)
    for _ in range(_MOST_ROUNDS):
        states = replace(states, g=g(system, tried))
        y = balance_curve.solve(system.balance, states, y)
        found = ionic_strength(system, y, states)
        miss = found - tried
        if bool(np.all(np.abs(miss) <= _STRENGTH_TOLERANCE * found + 1e-30)):
            break
        before, miss_before, tried = tried, miss, _next(tried, found, before, miss_before)
    return y, states


def _next(tried: Floats, found: Floats, before: Floats, miss_before: Floats) -> Floats:
    """The next ionic strengths to try, as the scalar function."""
    miss = found - tried
    with np.errstate(divide="ignore", invalid="ignore"):
        secant = tried - miss * (tried - before) / (miss - miss_before)
    return np.where((secant > 0.5 * found) & (secant < 2.0 * found), secant, found)


def states_after(titration: Titration, volume_mL: Floats) -> States:
    """States after the volumes of titrant, in mL and of shape (points,)."""
    litres = volume_mL / 1000.0
    start, titrant = titration.start, titration.titrant
    amounts = np.asarray(start.amounts_mol)[:, None] + volume_mL * np.asarray(titrant.amounts_mol)[:, None] / 1000.0
    total = start.total_mol + volume_mL * titrant.total_mol / 1000.0
    return States(amounts, total, start.volume_mL / 1000.0 + litres, np.zeros(litres.shape))


def p(titration: Titration, volume_mL: ArrayLike) -> Floats:
    """−log10 of the master's activity after each volume in mL, of the shape given.

    Raises ValueError if any volume is negative, infinite or not a number.
    """
    volume = np.asarray(volume_mL, dtype=np.float64)
    flat = volume.ravel()
    if not bool(np.all(np.isfinite(flat) & (flat >= 0.0))):
        wrong = flat[~(np.isfinite(flat) & (flat >= 0.0))][0]
        raise ValueError(f"volumes of titrant of 0 mL or above were expected, {wrong!r} came among them")
    system = titration.system
    y, states = equilibria(system, states_after(titration, flat))
    return np.asarray((system.master.charge**2 * states.g - y) / LN_10, dtype=np.float64).reshape(volume.shape)


def volume_mL(titration: Titration, p_values: ArrayLike) -> Floats:
    """V(p) in mL of each value, of the shape given; as the scalar function (inf where no volume leads to).

    Explicit without solids and without species of several base units, a bracketed root with them.
    """
    values = np.asarray(p_values, dtype=np.float64)
    system, flat = titration.system, values.ravel()
    if system.davies is None or system.davies.held_mol_per_L is not None:
        g_now = g(system, np.zeros(flat.shape))
        return _volume(titration, -LN_10 * flat + system.master.charge**2 * g_now, g_now).reshape(values.shape)
    strength = np.full(flat.shape, titration.titrant_strength_mol_per_L)
    volume = last = miss = np.full(flat.shape, np.nan)
    for _ in range(_MOST_ROUNDS):
        g_now = g(system, strength)
        y = -LN_10 * flat + system.master.charge**2 * g_now
        before, volume = volume, _volume(titration, y, g_now)
        with np.errstate(invalid="ignore"):
            close = np.abs(volume - before) <= _VOLUME_TOLERANCE * (titration.start.volume_mL + np.abs(volume))
        if bool(np.all(close | ~np.isfinite(volume))):
            break
        on_curve = np.where(np.isfinite(volume), np.maximum(volume, 0.0), 0.0)
        found = ionic_strength(system, y, replace(states_after(titration, on_curve), g=g_now))
        strength, last, miss = _next(strength, found, last, miss), strength, found - strength
    return volume.reshape(values.shape)


def _volume(titration: Titration, y: Floats, g_now: Floats) -> Floats:
    """V(y) in mL at constant activity coefficients."""
    balance = titration.system.balance
    if balance.explicit and not any(balance.solids):
        return _explicit(titration, y, g_now)
    if balance.explicit:
        return _piecewise(titration, y, g_now)
    return _bracketed(titration, y, g_now)


def _explicit(titration: Titration, y: Floats, g_now: Floats) -> Floats:
    """V(y) = −F(vessel)/F(one litre of titrant)."""
    balance = titration.system.balance
    excess = []
    for state in (titration.start, titration.titrant):
        amounts = np.broadcast_to(np.asarray(state.amounts_mol)[:, None], (len(state.amounts_mol), y.size))
        total, litres = (np.full(y.shape, told) for told in (state.total_mol, state.volume_mL / 1000.0))
        up, down, _, _ = balance_curve.terms(balance, y, States(amounts, total, litres, g_now))
        excess.append(up - down)
    start, titrant = excess
    with np.errstate(divide="ignore", invalid="ignore"):
        volume = np.where(start == 0.0, 0.0, -1000.0 * start / titrant)
    return np.where(((titrant < 0.0) == titration.rising) | (start == 0.0), volume, np.inf)


def _excess(titration: Titration, y: Floats, g_now: Floats, volume: Floats) -> Floats:
    """F: what the states after these volumes hold of the master at y, less their totals, in mol."""
    states = replace(states_after(titration, volume), g=g_now)
    up, down, _, _ = balance_curve.terms(titration.system.balance, y, states)
    return up - down


def _piecewise(titration: Titration, y: Floats, g_now: Floats) -> Floats:
    """V(y) with solids: F is linear in V between the volumes at which one appears or dissolves."""
    balance, start, titrant = titration.system.balance, titration.start, titration.titrant
    rows = [np.zeros(y.size)]
    for index, solid in enumerate(balance.solids):
        if solid is None:
            continue
        ln_free = -(solid.ln_beta - solid.shift * g_now + solid.level * y)
        exponents = (f.ln_beta - f.shift * g_now + f.level * y + ln_free for f in balance.forms[index])
        dissolved = sum((np.exp(np.minimum(e, 300.0)) for e in exponents), start=np.zeros(y.size))
        n, c = start.amounts_mol[index], titrant.amounts_mol[index]
        with np.errstate(divide="ignore", invalid="ignore"):
            kink = 1000.0 * (n - start.volume_mL / 1000.0 * dissolved) / (dissolved - c)
        rows.append(np.where((kink > 0.0) & (kink < FARTHEST_mL), kink, 0.0))
    kinks = np.sort(np.array(rows), axis=0)
    kinks = np.vstack([kinks, 2.0 * kinks[-1] + 1.0])
    values = [_excess(titration, y, g_now, kink) for kink in kinks]
    result = np.full(y.size, np.nan)
    for place in range(len(values) - 1):
        left, right, f_left, f_right = kinks[place], kinks[place + 1], values[place], values[place + 1]
        crossed = (f_left < 0.0) != (f_right < 0.0)
        if place == len(values) - 2:
            crossed |= np.abs(f_right) < np.abs(f_left)
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.where(f_left == 0.0, left, left - f_left * (right - left) / (f_right - f_left))
        result = np.where(np.isnan(result) & (crossed | (f_left == 0.0)), root, result)
    for at in np.flatnonzero(np.isnan(result)):
        result[at] = titration.volume_at(float(y[at]), float(g_now[at]))
    return result


def _bracketed(titration: Titration, y: Floats, g_now: Floats) -> Floats:
    """V(y) by false position and halving; what lies outside 0 to 10⁹ mL is left to the scalar function."""
    low, high = np.zeros(y.size), np.full(y.size, FARTHEST_mL)
    f_low, f_high = (_excess(titration, y, g_now, volume) for volume in (low, high))
    result = np.where(f_low == 0.0, 0.0, np.nan)
    for at in np.flatnonzero((f_low != 0.0) & (np.sign(f_low) == np.sign(f_high))):
        result[at] = titration.volume_at(float(y[at]), float(g_now[at]))
    where = np.flatnonzero(np.isnan(result))
    low, high, f_low, f_high = low[where], high[where], f_low[where], f_high[where]
    for count in range(MOST_HALVINGS):
        if where.size == 0:
            break
        middle = low - f_low * (high - low) / (f_high - f_low)
        halved = np.where(high > 4.0 * low + 1.0, np.sqrt((low + 1e-9) * high), 0.5 * (low + high))
        middle = np.where((middle > low) & (middle < high) & (count % 3 != 2), middle, halved)
        f_middle = _excess(titration, y[where], g_now[where], middle)
        done = (f_middle == 0.0) | (high - low <= _VOLUME_TOLERANCE * (1.0 + high))
        result[where[done]] = middle[done]
        same = (f_middle < 0.0) == (f_low < 0.0)
        # The side that stays is halved in weight, so that false position does not creep.
        low, f_low, f_high = (
            np.where(same, middle, low),
            np.where(same, f_middle, 0.5 * f_low),
            np.where(same, 0.5 * f_high, f_middle),
        )
        high = np.where(same, high, middle)
        keep = ~done
        where, low, high, f_low, f_high = (part[keep] for part in (where, low, high, f_low, f_high))
    return result
