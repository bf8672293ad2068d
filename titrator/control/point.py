"""One logged point of the titration curve."""

from __future__ import annotations

from typing import NamedTuple


class Point(NamedTuple):
    """A reading that was worth logging, at one delivered volume.

    `volume_mL` is the total delivered since the run began, as the burette indicates it. `sd_mV` is the standard
    deviation of `potential_mV` as an average of readings (noise only); `remainder_bound_mV` bounds what the reading
    still lacked of its final value, `lacking_mV` estimates that (to be added), with its standard deviation. `t_s` is
    the board's time, `waited_s` the time since the addition ended.
    """

    number: int
    t_s: float
    volume_mL: float
    potential_mV: float
    sd_mV: float
    drift_mV_per_s: float
    drift_sd_mV_per_s: float
    remainder_bound_mV: float
    lacking_mV: float
    lacking_sd_mV: float
    settled: bool
    waited_s: float
    readings: int


class Passing(NamedTuple):
    """What was read while titrant ran in: an average of readings, far from settled, behind by mixing and electrode.

    `t_s` is when the leg ended, at `reached_mL`; `volume_mL` what had been delivered at the mean time of the readings.
    """

    t_s: float
    volume_mL: float
    potential_mV: float
    sd_mV: float
    speed_mL_per_s: float
    reached_mL: float
    readings: int
