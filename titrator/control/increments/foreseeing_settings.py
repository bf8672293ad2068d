"""What the rule `foreseeing` is told beforehand: how it shall go about it, and what is known of the curve."""

from __future__ import annotations

from dataclasses import dataclass

from titrator.control.foresight.design import Costs
from titrator.control.foresight.estimate import Beforehand
from titrator.control.foresight.law import Law
from titrator.control.increments.adaptive import AdaptiveSettings


@dataclass(frozen=True, slots=True)
class ForeseeingSettings:
    """`near` points are sought close about each jump. `patience`: a reading's own error may cost this share of the
    burette's; `far_mV` serves far from the jump. `finest_mL` is the least addition near the jump. `fallback` is the
    `adaptive` rule for what was not foreseen.
    """

    fallback: AdaptiveSettings
    near: int
    patience: float
    far_mV: float
    finest_mL: float

    def __post_init__(self) -> None:
        if not (self.near >= 3 and self.patience > 0.0 and self.far_mV > 0.0 and self.finest_mL > 0.0):
            raise ValueError(f"expected near >= 3, patience, far and finest > 0, got {self}")


@dataclass(frozen=True, slots=True)
class Foresight:
    """What a plan knows of the curve: its law, what is known beforehand, whether the potential rises, the points."""

    law: Law
    before: Beforehand
    rising: bool
    sought: int
    costs: Costs
