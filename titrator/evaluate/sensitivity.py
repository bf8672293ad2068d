"""Sensitivity coefficients of a measurement model: exact for products of powers, else by numbers with stated error.

Complex step (Squire and Trapp, SIAM Review 40 (1998) 110): c = Im f(x + ih)/h has no difference of near numbers in
it and so no rounding error, but needs a function that is analytic and takes complex numbers. Each is therefore held
against a central difference (Richardson's extrapolation of two steps, u/10 and half of it), which stands in where the
complex step fails.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from titrator.evaluate.measurement import Model
from titrator.evaluate.quantity import Quantity

SensitivityBy = Literal["analytic", "complex-step", "central-difference"]
_COMPLEX_STEP = 1e-20
_ROUNDING = 2.3e-16


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Partial derivative of the result by one input, its numerical error (absolute, 0 if exact), and the way to it."""

    value: float
    error: float
    by: SensitivityBy


def _step(quantity: Quantity) -> float:
    """Return a step within which the model is nearly straight, a tenth of u, but not lost in the rounding of x."""
    step = max(quantity.u / 10.0, 1e-6 * abs(quantity.value))
    return step if step > 1e-100 else 1e-4


def _central(model: Model, values: dict[str, float], quantity: Quantity) -> Sensitivity:
    """Return Richardson's value of two central differences; the error from their difference and from rounding."""
    name, x, step = quantity.name, quantity.value, _step(quantity)

    def slope(h: float) -> float:
        up = float(model.function({**values, name: x + h}))
        return (up - float(model.function({**values, name: x - h}))) / (2.0 * h)

    wide, narrow = slope(step), slope(step / 2.0)
    rounding = _ROUNDING * max(abs(model.value), abs(x * narrow)) / step
    return Sensitivity(narrow + (narrow - wide) / 3.0, abs(narrow - wide) + 4.0 * rounding, "central-difference")


def _complex(model: Model, values: dict[str, float], quantity: Quantity) -> float | None:
    """Return the complex-step derivative, None where the function does not take complex numbers."""
    step = _COMPLEX_STEP * _step(quantity)
    try:
        found = model.function({**values, quantity.name: complex(quantity.value, step)})
    except (TypeError, ValueError, ArithmeticError):
        return None
    return float(found.imag) / step if isinstance(found, complex) else None


def _of(model: Model, values: dict[str, float], quantity: Quantity) -> Sensitivity:
    """Return one sensitivity; ValueError where the model has no finite one."""
    if model.powers is not None and quantity.value != 0.0:
        return Sensitivity(model.powers[quantity.name] * model.value / quantity.value, 0.0, "analytic")
    central = _central(model, values, quantity)
    stepped = _complex(model, values, quantity)
    # A function that drops the imaginary part on its way (abs, a comparison) would give a wrong derivative in silence.
    if stepped is not None and abs(stepped - central.value) <= 10.0 * central.error + 1e-9 * abs(central.value):
        return Sensitivity(stepped, 4.0 * _ROUNDING * abs(stepped), "complex-step")
    if not math.isfinite(central.value):
        raise ValueError(
            f"{quantity.name}: the model has no finite sensitivity at {quantity.value:g} {quantity.unit}; "
            "check the value, or a zero beneath a fraction"
        )
    return central


def sensitivities(model: Model) -> dict[str, Sensitivity]:
    """Return the sensitivity of the result to each input by name; ValueError where the result is not finite."""
    if not math.isfinite(_value(model)):
        raise ValueError("a finite result expected from the measurement model; an input makes it infinite or undefined")
    values = {each.name: each.value for each in model.quantities}
    return {each.name: _of(model, values, each) for each in model.quantities}


def _value(model: Model) -> float:
    """Return the model's value, not a number where a division by zero stands in it."""
    try:
        return model.value
    except ArithmeticError:
        return math.nan
