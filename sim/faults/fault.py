"""One fault of the catalogue, and one that is wanted at a certain volume or time."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final, Literal, TypeAlias

from sim.faults.parts import Parts
from titrator.files.quantities import DRIFT, PERCENTAGE, POTENTIAL, VOLUME, Dimension, Quantity

Where: TypeAlias = Literal["burette", "vessel", "electrode"]

STEPS: Final = Dimension("a number of steps", "80 steps", {"steps": Fraction(1)})
VOLUME_RATE: Final = Dimension(
    "a volume in a time", "5 mL/h", {"mL/h": Fraction(1), "µL/min": Fraction(6, 100), "mL/min": Fraction(60)}
)


@dataclass(frozen=True, slots=True)
class Size:
    """How large a fault can be: the quantity, the size unless told, and the largest that makes sense."""

    quantity: Quantity
    default: float
    at_most: float

    @property
    def unit(self) -> str:
        """Unit of `default` and of every parsed size."""
        return self.quantity.dimension.unit


def volume_mL(default: float, at_most: float) -> Size:
    """A volume above 0."""
    return Size(Quantity(VOLUME, above=0), default, at_most)


def steps(default: float, at_most: float) -> Size:
    """A number of steps above 0, rounded to whole ones."""
    return Size(Quantity(STEPS, above=0), default, at_most)


def percent(default: float, *, signed: bool = False) -> Size:
    """A percentage from 0 to 100, or from −50 to 50 where a sign makes sense."""
    return Size(Quantity(PERCENTAGE, at_least=-50 if signed else 0), default, 50.0 if signed else 100.0)


def potential_mV(default: float, at_most: float, *, signed: bool = True) -> Size:
    """A potential."""
    return Size(Quantity(POTENTIAL) if signed else Quantity(POTENTIAL, at_least=0), default, at_most)


def drift_mV_per_s(default: float, at_most: float) -> Size:
    """A drift of either sign."""
    return Size(Quantity(DRIFT), default, at_most)


@dataclass(frozen=True, slots=True)
class Fault:
    """An entry of the catalogue. `strike` does it to the parts of a world; the size is in `size.unit` (0 for none)."""

    name: str
    where: Where
    size: Size | None
    does: str
    strike: Callable[[Parts, float], None]

    def told(self) -> dict[str, Any]:
        """For a list of the faults."""
        size = self.size
        return {
            "name": self.name,
            "where": self.where,
            "unit": None if size is None else size.unit,
            "default": None if size is None else size.default,
            "does": self.does,
        }


@dataclass(frozen=True, slots=True)
class PlannedFault:
    """A fault that strikes as soon as the volume is delivered, in mL, or the time has come, in s: one of the two."""

    fault: Fault
    size: float
    at_mL: float | None = None
    at_s: float | None = None
