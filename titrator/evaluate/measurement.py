"""A measurement model: a pure function of named input quantities, joined to larger ones by + - * / and powers.

The function takes a mapping from name to value and must work on floats, complex numbers and arrays alike (arithmetic
and numpy functions do). A source that several parts name is one source: what they share cancels in a quotient and
stays in a mean, without anything being said about it. A product of powers is known as one, so that its sensitivities
are exact.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from titrator.evaluate.quantity import Quantity

Values = Mapping[str, Any]
Powers = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Model:
    """A pure `function` of the values of `quantities` by name; `powers` with `factor` where it is a product of them."""

    function: Callable[[Values], Any]
    quantities: tuple[Quantity, ...]
    unit: str = "1"
    powers: Powers | None = None
    factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse one name for two different sources; raises ValueError."""
        joined(self.quantities)

    @property
    def value(self) -> float:
        """The function at the values of the inputs."""
        return float(self.function({each.name: each.value for each in self.quantities}))

    def in_unit(self, unit: str) -> Model:
        """Return the same model with its result told in `unit` (nothing is converted: multiply by the factor first)."""
        return Model(self.function, self.quantities, unit, self.powers, self.factor)

    def __add__(self, other: Part) -> Model:
        """Return the sum."""
        return _together(self, other, operator.add)

    def __radd__(self, other: Part) -> Model:
        """Return the sum."""
        return _together(other, self, operator.add)

    def __sub__(self, other: Part) -> Model:
        """Return the difference."""
        return _together(self, other, operator.sub)

    def __rsub__(self, other: Part) -> Model:
        """Return the difference."""
        return _together(other, self, operator.sub)

    def __mul__(self, other: Part) -> Model:
        """Return the product."""
        return _together(self, other, operator.mul, 1.0)

    def __rmul__(self, other: Part) -> Model:
        """Return the product."""
        return _together(other, self, operator.mul, 1.0)

    def __truediv__(self, other: Part) -> Model:
        """Return the quotient."""
        return _together(self, other, operator.truediv, -1.0)

    def __rtruediv__(self, other: Part) -> Model:
        """Return the quotient."""
        return _together(other, self, operator.truediv, -1.0)

    def __pow__(self, exponent: float) -> Model:
        """Return a power with a plain number as exponent."""
        powers = None if self.powers is None else {name: exponent * each for name, each in self.powers.items()}
        factor = self.factor**exponent if powers is not None else 1.0
        function = self.function
        return Model(lambda values: function(values) ** exponent, self.quantities, self.unit, powers, factor)


Part = Model | Quantity | float


def joined(quantities: Iterable[Quantity]) -> tuple[Quantity, ...]:
    """Return the quantities without repetition, in order; ValueError where one name stands for two sources."""
    by_name: dict[str, Quantity] = {}
    for each in quantities:
        known = by_name.setdefault(each.name, each)
        if known != each:
            raise ValueError(
                f"one source under the name {each.name!r} expected, two came "
                f"({known.value:g} u {known.u:g} {known.unit} and {each.value:g} u {each.u:g} {each.unit}): "
                "name different sources differently, or pass the same quantity to both"
            )
    return tuple(by_name.values())


def model_of(part: Part) -> Model:
    """Return a model of one quantity or of a plain number; a model as it is."""
    if isinstance(part, Model):
        return part
    if isinstance(part, Quantity):
        name = part.name
        return Model(lambda values: values[name], (part,), part.unit, {name: 1.0})
    number = float(part)
    if not math.isfinite(number):
        raise ValueError(f"a finite number expected in a measurement model, {number!r} came")
    return Model(lambda _: number, (), "1", {}, number)


def _together(left: Part, right: Part, join: Callable[[Any, Any], Any], sign: float | None = None) -> Model:
    """Return both joined; with `sign` (1: product, -1: quotient) a product of powers stays one."""
    a, b = model_of(left), model_of(right)
    powers: dict[str, float] | None = None
    factor = 1.0
    if sign is not None and a.powers is not None and b.powers is not None:
        names = dict.fromkeys([*a.powers, *b.powers])
        powers = {name: a.powers.get(name, 0.0) + sign * b.powers.get(name, 0.0) for name in names}
        factor = join(a.factor, b.factor)
    of_a, of_b = a.function, b.function
    quantities = joined([*a.quantities, *b.quantities])
    return Model(lambda values: join(of_a(values), of_b(values)), quantities, a.unit, powers, factor)


def mean_of_replicates(replicates: Iterable[Part]) -> Model:
    """Return the mean of replicates as a model; ValueError for none.

    Only what each replicate has of its own (its volume's scatter, its filling of the pipette) shrinks by √n. What they
    share by name (titrant, burette calibration, temperature) is averaged with itself and stays as large as it was.
    """
    models = [model_of(each) for each in replicates]
    if not models:
        raise ValueError("one replicate or more expected for a mean, none came")
    total = models[0]
    for each in models[1:]:
        total = total + each
    return (total / float(len(models))).in_unit(models[0].unit)
