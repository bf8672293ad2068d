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
from titrator.chemistry.titration import Titration

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
        if len(forms) == 1 and system.balance.solids[index] is None and forms[0].units == 1:
            doubled += forms[0].charge ** 2 * n
        else:
            rows = balance_curve.populations(system.balance, index, y, states)[1]
            for f, row in zip(forms, rows, strict=False):
                doubled += f.charge**2 * row[2]
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
        with np.errstate(divide="ignore", invalid="ignore"):
            secant = tried - miss * (tried - before) / (miss - miss_before)
        good = (secant > 0.5 * found) & (secant < 2.0 * found)
        before, miss_before = tried, miss
        tried = np.where(good, secant, found)
    return y, states


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

    Vectorised for systems without solids and without species of several base units; others go point by point.
    """
    values = np.asarray(p_values, dtype=np.float64)
    system, flat = titration.system, values.ravel()
    if not system.balance.explicit or any(system.balance.solids):
        return np.asarray([titration.volume_mL(float(v)) for v in flat], dtype=np.float64).reshape(values.shape)
    if system.davies is None or system.davies.held_mol_per_L is not None:
        g_now = g(system, np.zeros(flat.shape))
        return _volume(titration, -LN_10 * flat + system.master.charge**2 * g_now, g_now).reshape(values.shape)
    strength, volume = np.zeros(flat.shape), np.full(flat.shape, np.nan)
    for _ in range(_MOST_ROUNDS):
        g_now = g(system, strength)
        y = -LN_10 * flat + system.master.charge**2 * g_now
        before, volume = volume, _volume(titration, y, g_now)
        with np.errstate(invalid="ignore"):
            close = np.abs(volume - before) <= _VOLUME_TOLERANCE * (titration.start.volume_mL + np.abs(volume))
        if bool(np.all(close | np.isinf(volume))):
            break
        on_curve = np.where(np.isfinite(volume), np.maximum(volume, 0.0), 0.0)
        strength = ionic_strength(system, y, replace(states_after(titration, on_curve), g=g_now))
    return volume.reshape(values.shape)


def _volume(titration: Titration, y: Floats, g_now: Floats) -> Floats:
    """V(y) in mL at constant activity coefficients, explicit."""
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
