"""An input quantity: one source of uncertainty, with a name that is the same wherever the source is shared.

Two formulas that use the same burette name the same Quantity; that alone correlates them. Standard uncertainties of
rectangular, triangular and arcsine (U-shaped) distributions: JCGM 100:2008, 4.3.7, 4.3.9; JCGM 101:2008, table 1.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.propagation import Distribution

_DIVISORS: dict[Distribution, float] = {
    "rectangular": math.sqrt(3.0),
    "triangular": math.sqrt(6.0),
    "arcsine": math.sqrt(2.0),
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """Value and *standard* uncertainty u in `unit`, distribution and degrees of freedom (infinite: u is known).

    The name tells the source apart from all others. A mean of n readings has the distribution `t`, u = s/√n and
    n - 1 degrees of freedom. `note` says where the figure is from (certificate, balance, experience).
    """

    name: str
    value: float
    u: float
    unit: str = "1"
    distribution: Distribution = "normal"
    dof: float = math.inf
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse what has no value or no uncertainty; raises ValueError."""
        if not self.name.strip():
            raise ValueError("a name of the input quantity expected, an empty one came: say what the source is")
        if not math.isfinite(self.value):
            raise ValueError(f"{self.name}: a finite value expected, {self.value!r} came")
        if not (math.isfinite(self.u) and self.u >= 0.0):
            raise ValueError(f"{self.name}: a finite standard uncertainty >= 0 expected, {self.u!r} came")
        if not self.dof > 0.0:
            raise ValueError(f"{self.name}: degrees of freedom above 0 expected, {self.dof!r} came")
        if self.distribution == "t" and math.isinf(self.dof):
            raise ValueError(f"{self.name}: finite degrees of freedom expected for a t distribution; else say normal")

    @classmethod
    def bounded(
        cls, name: str, value: float, half_width: float, unit: str = "1", shape: Distribution = "rectangular"
    ) -> Quantity:
        """Return a quantity known by bounds value ± half_width: rectangular, triangular or arcsine. ValueError else."""
        if shape not in _DIVISORS:
            raise ValueError(f"{name}: one of {', '.join(_DIVISORS)} expected for bounds, {shape!r} came")
        return cls(name, value, half_width / _DIVISORS[shape], unit, shape)

    @classmethod
    def mean_of(cls, name: str, readings: list[float] | tuple[float, ...], unit: str = "1") -> Quantity:
        """Return the mean of independent readings, u = s/√n with n - 1 degrees of freedom; ValueError below two."""
        if len(readings) < 2:
            raise ValueError(f"{name}: two readings or more expected for a scatter, {len(readings)} came")
        mean = math.fsum(readings) / len(readings)
        dof = len(readings) - 1
        sd = math.sqrt(math.fsum((each - mean) ** 2 for each in readings) / dof)
        return cls(name, mean, sd / math.sqrt(len(readings)), unit, "t", dof)

    def named(self, name: str) -> Quantity:
        """Return the same figures under another name: another source, independent of this one."""
        return replace(self, name=name)

    def stream(self, seed: int | str) -> np.random.Generator:
        """Return this source's own stream of random numbers, the same whatever else is drawn beside it."""
        return np.random.default_rng(random.Random(f"{seed}/propagation/{self.name}").getrandbits(128))

    def drawn(self, stream: np.random.Generator, trials: int) -> FloatArray:
        """Return `trials` values from the distribution that JCGM 101 (6.4) assigns; the value itself where u is 0."""
        if self.u == 0.0:
            return np.full(trials, self.value)
        if self.distribution == "t":
            return self.value + self.u * stream.standard_t(self.dof, trials)
        if self.distribution == "normal":
            return stream.normal(self.value, self.u, trials)
        half = self.u * _DIVISORS[self.distribution]
        if self.distribution == "rectangular":
            return stream.uniform(self.value - half, self.value + half, trials)
        if self.distribution == "triangular":
            return stream.triangular(self.value - half, self.value, self.value + half, trials)
        return self.value + half * np.sin(stream.uniform(0.0, 2.0 * math.pi, trials))
