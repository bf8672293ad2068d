"""What an evaluation found, as data that a table, a figure and JSON are made from."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal, Protocol

from titrator.evaluate.curve import SignalUnit

FoundBy = Literal["model-fit", "second-derivative", "first-derivative", "bracket"]
WayName = Literal["model-fit", "second-derivative", "first-derivative", "bracket", "gran"]


@dataclass(frozen=True, slots=True)
class EquivalencePoint:
    """One equivalence point that readings on both sides bracket.

    `volume_mL` as the burette indicates; `u_random_mL` its standard uncertainty by scatter, lag and steps (the
    burette's calibration apart), with `dof` degrees of freedom; `interval_95_mL` for the volume as indicated; `u_mL`
    with the calibration, None where that is not known. `signal` is the potential (mV), pH or pX there.
    """

    volume_mL: float
    u_random_mL: float
    dof: float
    interval_95_mL: tuple[float, float]
    signal: float
    signal_unit: SignalUnit
    found_by: FoundBy
    u_mL: float | None = None

    @property
    def potential_mV(self) -> float | None:
        """The potential at the equivalence point in mV, None for a curve in pH or pX."""
        return self.signal if self.signal_unit == "mV" else None

    def to_json(self) -> dict[str, Any]:
        """Return the point under the keys that `--json` promises."""
        return {
            "volume_mL": self.volume_mL,
            "u_random_mL": self.u_random_mL,
            "u_mL": self.u_mL,
            "interval_95_mL": list(self.interval_95_mL),
            "potential_mV": self.potential_mV,
            "signal": self.signal,
            "signal_unit": self.signal_unit,
            "found_by": self.found_by,
        }


@dataclass(frozen=True, slots=True)
class Estimate:
    """A point that the readings do not bracket: volume and standard uncertainty in mL, and why it is no result."""

    volume_mL: float
    u_random_mL: float
    interval_95_mL: tuple[float, float]
    found_by: str
    reason: str

    def to_json(self) -> dict[str, Any]:
        """Return the estimate as JSON."""
        return {
            "volume_mL": self.volume_mL,
            "u_random_mL": self.u_random_mL,
            "interval_95_mL": list(self.interval_95_mL),
            "found_by": self.found_by,
            "reason": self.reason,
        }


@dataclass(frozen=True, slots=True)
class Way:
    """What one way says of one equivalence point (numbered from 1): volume and u in mL, or the reason for none."""

    name: WayName
    point: int
    volume_mL: float | None = None
    u_mL: float | None = None
    reason: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return the way as JSON."""
        return {
            "way": self.name,
            "point": self.point,
            "volume_mL": self.volume_mL,
            "u_random_mL": self.u_mL,
            "reason": self.reason or None,
        }


@dataclass(frozen=True, slots=True)
class FitParameter:
    """One parameter of the fitted model: value and standard uncertainty, with what was expected where it was."""

    name: str
    value: float
    u: float
    expected: float | None = None
    expected_sd: float | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the parameter as JSON."""
        return {
            "name": self.name,
            "value": self.value,
            "u": self.u,
            "expected": self.expected,
            "expected_sd": self.expected_sd,
        }


@dataclass(frozen=True, slots=True)
class FittedModel:
    """The model that was fitted to one point's curve; `misfit` is the rms residual in standard deviations.

    `line` is the fitted curve for drawing: pairs of volume in mL and signal, not part of the JSON.
    """

    name: str
    point: int
    parameters: tuple[FitParameter, ...]
    misfit: float
    outliers_mL: tuple[float, ...]
    line: tuple[tuple[float, float], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the fit as JSON."""
        return {
            "model": self.name,
            "point": self.point,
            "misfit": self.misfit,
            "parameters": [each.to_json() for each in self.parameters],
            "outliers_mL": list(self.outliers_mL),
        }


class Said(Protocol):
    """A finding at one point (from 1) with the sentence for it."""

    @property
    def point(self) -> int: ...
    @property
    def sentence(self) -> str: ...
    def to_json(self) -> dict[str, Any]:
        """Return the finding as JSON."""
        ...


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Everything found in a curve; points in order of volume. `warnings` are sentences for the chemist.

    `diagnostics` say what the curve tells of electrode, medium and titrant (empty where all is well), `inflections` how
    far the steepest place lies from the equivalence point of an unequal reaction.
    """

    equivalence_points: tuple[EquivalencePoint, ...] = ()
    estimates: tuple[Estimate, ...] = ()
    warnings: tuple[str, ...] = ()
    by_method: tuple[Way, ...] = ()
    fits: tuple[FittedModel, ...] = field(default=())
    diagnostics: tuple[Said, ...] = ()
    inflections: tuple[Said, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the evaluation under the keys that `--json` promises (`equivalence_points`, `estimates`, ...)."""
        return {
            "equivalence_points": [point.to_json() for point in self.equivalence_points],
            "estimates": [estimate.to_json() for estimate in self.estimates],
            "by_method": [way.to_json() for way in self.by_method],
            "fits": [fit.to_json() for fit in self.fits],
            "diagnostics": [each.to_json() for each in self.diagnostics],
            "inflections": [each.to_json() for each in self.inflections],
            "warnings": list(self.warnings),
        }


def with_calibration(u_random_mL: float, volume_mL: float, half_width: float | None) -> float | None:
    """Return the standard uncertainty with a rectangular relative calibration error, None where it is not known."""
    if half_width is None:
        return None
    return math.hypot(u_random_mL, volume_mL * half_width / math.sqrt(3.0))
