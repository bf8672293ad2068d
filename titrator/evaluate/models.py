"""What a model of a curve is: volume as a closed function of the signal, with weak prior knowledge beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from titrator.evaluate.curve import FloatArray

MOST_EXPONENT = 60.0
"""Exponents are clipped here: e^60 is far beyond any volume, and nothing overflows on the way of a search."""


def bounded_exp(exponent: FloatArray) -> FloatArray:
    """Return exp(exponent), the exponent clipped to ±60."""
    return np.asarray(np.exp(np.clip(exponent, -MOST_EXPONENT, MOST_EXPONENT)), dtype=np.float64)


class CurveModel(Protocol):
    """Volume in mL as a function of a *rising* signal and of parameters, the first of which is the equivalence volume.

    `signal_parameters` names the parameters that are potentials (they change sign with a falling curve).
    """

    @property
    def name(self) -> str: ...
    @property
    def parameters(self) -> tuple[str, ...]: ...
    @property
    def signal_parameters(self) -> frozenset[str]: ...

    def volume_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        """Return V(E) in mL, shape of `signal`."""
        ...

    def distance_mL(self, signal: FloatArray, x: FloatArray) -> FloatArray:
        """Return how far from the equivalence point the branches carry V, in mL: what an error of the model scales."""
        ...


@dataclass(frozen=True, eq=False)
class Start:
    """Where a fit begins and what is known beforehand: arrays of one value for each parameter of the model.

    `prior_sd` is infinite where nothing is known; `lower` and `upper` only keep a search out of nonsense.
    """

    model: CurveModel
    x: FloatArray
    lower: FloatArray
    upper: FloatArray
    prior_mean: FloatArray
    prior_sd: FloatArray


@dataclass(frozen=True, slots=True)
class Parameter:
    """One line of a start: value, bounds and prior (`prior_sd` infinite: none; `prior_mean` None: the value)."""

    value: float
    lower: float
    upper: float
    prior_sd: float = np.inf
    prior_mean: float | None = None


def start_of(model: CurveModel, lines: list[Parameter]) -> Start:
    """Return the arrays of a start; values are moved inside their bounds."""
    lower = np.array([line.lower for line in lines])
    upper = np.array([line.upper for line in lines])
    margin = 1e-6 * (upper - lower)
    value = np.clip(np.array([line.value for line in lines]), lower + margin, upper - margin)
    mean = np.array([line.value if line.prior_mean is None else line.prior_mean for line in lines])
    return Start(model, value, lower, upper, mean, np.array([line.prior_sd for line in lines]))


def between_jumps(volume_mL: FloatArray, jump_mL: float, *, others: bool) -> Parameter:
    """Return the start of the equivalence volume: anywhere on the curve, or nearer where `others` share its branches.

    A model of several analytes could otherwise change their roles.
    """
    low, high = float(np.min(volume_mL)), float(np.max(volume_mL))
    if others:
        low, high = low + 0.7 * (jump_mL - low), high - 0.7 * (high - jump_mL)
    return Parameter(jump_mL, low, high)


def median_or(values: FloatArray, otherwise: float) -> float:
    """Return the median of the finite values, or `otherwise` where there is none."""
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if len(finite) else otherwise
