"""What a run is to do, as plain numbers: the method and the rig, translated for the controller."""

from __future__ import annotations

from dataclasses import dataclass

from titrator.control.direction import Direction
from titrator.control.electrode_watch import ElectrodeExpectation
from titrator.control.increments import AdaptiveSettings, ForeseeingSettings, Foresight
from titrator.control.settling import SettlingSettings


@dataclass(frozen=True, slots=True)
class FixedSettings:
    """Equal additions of `step_mL`."""

    step_mL: float


@dataclass(frozen=True, slots=True)
class EndSettings:
    """Limits of a run. `potential_beyond_mV` is optional; `jumps_sought` 0 for a blank.

    `jumps_between_mV`: for each jump in order, where the curve comes from and goes to, None where that is not known;
    empty for no jump known. `direction` is that of the whole curve.
    """

    volume_above_mL: float
    potential_beyond_mV: float | None
    time_over_s: float
    points_past_jump: int
    jumps_sought: int
    least_rise_mV: float
    jumps_between_mV: tuple[tuple[float, float] | None, ...] = ()
    direction: Direction = "unknown"


@dataclass(frozen=True, slots=True)
class Errand:
    """Something that the bench does step by step: about how long it takes, and after how long it has failed."""

    takes_s: float
    within_s: float


@dataclass(frozen=True, slots=True)
class PrimingSettings:
    """Deliver `purge_mL` over waste before the run; `empty_first` where the burette holds another titrant."""

    purge_mL: float
    empty_first: bool
    errand: Errand


@dataclass(frozen=True, slots=True)
class MotionSettings:
    """Speed of delivery, and how long past its reckoned end a move or a halt may go unreported.

    `step_mL` is the least volume that the burette can place; a rest further than that from the target is a fault.
    `refill` is None where the burette cannot refill itself. `random_error_mL` is the standard deviation of a position.
    """

    speed_mL_per_s: float
    step_mL: float
    report_within_s: float
    halt_within_s: float
    refill: Errand | None = None
    random_error_mL: float = 0.0


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything the controller needs to know.

    `sample_in_place` is what was declared before the run; with it the burette is never primed. ValueError.
    """

    additions: AdaptiveSettings | FixedSettings | ForeseeingSettings
    settling: SettlingSettings
    electrode: ElectrodeExpectation
    ends: EndSettings
    motion: MotionSettings
    priming: PrimingSettings | None = None
    sample_in_place: bool = False
    foresight: Foresight | None = None

    def __post_init__(self) -> None:
        if self.priming is not None and self.sample_in_place:
            raise ValueError("expected no sample in place where the burette is to be primed, got both")
