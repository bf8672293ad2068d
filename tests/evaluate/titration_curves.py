"""Curves from exact balances solved by bisection: written for the tests, apart from the models of titrator.evaluate."""

import math
from collections.abc import Callable
from random import Random

import numpy as np
from scipy.optimize import brentq

SLOPE_mV = 25.2619  # RT/F at 20 °C: 8.314462618 · 293.15 / 96485.33212 V


def redox_mV(volume_mL: float, *, equivalence_mL: float, analyte_mV=470.0, titrant_mV=1230.0, slope_mV=SLOPE_mV,
             analyte_z=1, titrant_z=1, converted=0.0) -> float:  # fmt: skip
    """Potential at which electrons given (analyte) and taken (titrant) are equal; in equivalents of the analyte."""

    def surplus(potential_mV: float) -> float:
        oxidised = 1.0 / (1.0 + math.exp(-analyte_z * (potential_mV - analyte_mV) / slope_mV))
        reduced = 1.0 / (1.0 + math.exp(titrant_z * (potential_mV - titrant_mV) / slope_mV))
        return (1.0 + converted) * oxidised - converted - volume_mL / equivalence_mL * reduced

    return brentq(surplus, analyte_mV - 900.0, titrant_mV + 900.0, xtol=1e-9)


def strong_acid_ph(volume_mL: float, *, equivalence_mL: float, titrant=0.1, vessel_mL=50.0, p_kw=14.0) -> float:
    """pH of a strong acid with a strong base by the charge balance."""

    def charge(ph: float) -> float:
        acid = titrant * equivalence_mL
        return (volume_mL * titrant - acid) + (vessel_mL + volume_mL) * (10.0**-ph - 10.0 ** (ph - p_kw))

    return brentq(charge, -1.0, 15.0, xtol=1e-12)


def weak_acid_ph(volume_mL: float, *, equivalence_mL: float, p_ka=4.757, titrant=0.1, vessel_mL=50.0) -> float:
    """pH of a monoprotic weak acid with a strong base by the charge balance."""

    def charge(ph: float) -> float:
        h = 10.0**-ph
        base = titrant * equivalence_mL * 10.0**-p_ka / (10.0**-p_ka + h)
        return volume_mL * titrant - base + (vessel_mL + volume_mL) * (h - 1e-14 / h)

    return brentq(charge, -1.0, 15.0, xtol=1e-12)


def volumes_about(equivalence_mL: float, *, coarse_mL=1.0, fine_mL=0.02, reach_mL=0.1, last_mL=3.0) -> np.ndarray:
    """Volumes as a careful hand would choose them: coarse, then finer and fine through the jump, then coarse again."""
    low = np.floor((equivalence_mL - reach_mL) / fine_mL) * fine_mL
    fine = low + fine_mL * np.arange(round(2.0 * reach_mL / fine_mL) + 1)
    before = np.arange(coarse_mL, low - 0.4 * coarse_mL, coarse_mL)
    bridge = low - np.array([0.3, 0.12]) * coarse_mL
    after = fine[-1] + coarse_mL * np.array([0.12, 0.3, 0.7, *np.arange(1.5, last_mL, 1.0)])
    return np.unique(np.round(np.concatenate([before, bridge, fine, after]), 6))


def measured(curve: Callable[[float], float], volume_mL: np.ndarray, seed: int, sd_volume_mL: float, sd_signal: float):
    """Return readings with normal errors of volume (about each target) and of the signal, from a printed seed."""
    random = Random(f"titration curves/{seed}")
    return np.array(
        [curve(max(0.0, v + random.gauss(0.0, sd_volume_mL))) + random.gauss(0.0, sd_signal) for v in volume_mL]
    )
