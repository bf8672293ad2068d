"""A plan for controller tests and events to feed it (numbers of the demonstration)."""

from titrator.control.electrode_watch import ElectrodeExpectation
from titrator.control.increments import AdaptiveSettings
from titrator.control.plan import EndSettings, Errand, FixedSettings, MotionSettings, Plan, PrimingSettings
from titrator.control.settling import SettlingSettings

REFILL = Errand(takes_s=60.0, within_s=120.0)
PRIMING = PrimingSettings(purge_mL=0.75, empty_first=False, errand=Errand(takes_s=100.0, within_s=200.0))


def plan(*, refill: Errand | None = None, priming: PrimingSettings | None = None, **changes) -> Plan:
    ends = {
        "volume_above_mL": 24.5,
        "potential_beyond_mV": None,
        "time_over_s": 1800.0,
        "points_past_jump": 6,
        "jumps_sought": 1,
        "least_rise_mV": 75.0,
    } | changes
    return Plan(
        additions=ends.pop("additions", AdaptiveSettings(25.0, 0.1, 0.02, 1.0, 2.0)),
        settling=SettlingSettings(noise_mV=0.25, resolution_mV=0.1, response_s=5.0, mixing_s=1.5, longest_s=90.0),
        electrode=ElectrodeExpectation(150.0, 480.0, 0.5, 0.25, -2000.0, 2000.0),
        ends=EndSettings(**ends),
        motion=MotionSettings(
            speed_mL_per_s=1 / 6, step_mL=0.000625, report_within_s=5.0, halt_within_s=3.0, refill=refill
        ),
        priming=priming,
    )


__all__ = ["PRIMING", "REFILL", "FixedSettings", "plan"]
