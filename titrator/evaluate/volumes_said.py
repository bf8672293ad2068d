"""What is said of a curve's volumes as they were written down: their order, their repetition, where they begin."""

from __future__ import annotations

import numpy as np

from titrator.evaluate.curve import Curve

FAR_START = 3.0
"""A first reading at more than so many times the first step is hardly the first addition (common practice)."""
FEWEST = 4
"""Readings from which an order of volumes or a first step says something."""


def volumes_said(curve: Curve) -> list[str]:
    """Return a sentence each for volumes that step back, that come again, and that do not begin near 0 mL."""
    return [said for said in (_order(curve), _repeats(curve), _start(curve)) if said]


def _backwards(curve: Curve) -> bool:
    """Return whether every reading stands at a smaller volume than the one before."""
    return len(curve) >= FEWEST and curve.steps_back == len(curve) - 1


def _order(curve: Curve) -> str:
    if not curve.steps_back:
        return ""
    volume_mL = curve.volume_mL
    if _backwards(curve):
        return (
            f"every volume is smaller than the one before (from {volume_mL[0]:g} to {volume_mL[-1]:g} mL): taken as a "
            "list in reverse order. If the burette counts down, write what it had delivered (the first reading less "
            "each) and evaluate again: no model fits a curve that runs backwards"
        )
    at = int(np.argmax(np.diff(volume_mL) < 0.0))
    times = "once" if curve.steps_back == 1 else f"{curve.steps_back} times"
    return (
        f"the volume steps back {times} (from {volume_mL[at]:g} to {volume_mL[at + 1]:g} mL): the readings were put in "
        "order of volume"
    )


def _repeats(curve: Curve) -> str:
    if not curve.repeats:
        return ""
    values, counts = np.unique(curve.volume_mL, return_counts=True)
    first = float(values[np.argmax(counts > 1)])
    noun = "reading repeats a volume" if curve.repeats == 1 else "readings repeat a volume"
    return f"{curve.repeats} {noun} ({first:g} mL first): readings at one volume were averaged"


def _start(curve: Curve) -> str:
    volume_mL = np.unique(curve.volume_mL)
    if len(volume_mL) < FEWEST or _backwards(curve):
        return ""
    first, step = float(volume_mL[0]), float(volume_mL[1] - volume_mL[0])
    if first <= FAR_START * step:
        return ""
    return (
        f"the first reading stands at {first:g} mL, the next one {step:.3g} mL on: volumes are told on this scale. If "
        f"the burette stood at {first:g} mL before the titration, take that off each of them"
    )
