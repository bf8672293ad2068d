"""The controller with a perfect bench on a curve of any reaction family: no wire, no lag."""

from dataclasses import replace

from bench_stub import PerfectBench
from family_curves import FamilyCurve
from plans import plan

from titrator.control.controller import Controller
from titrator.control.increments import AdaptiveSettings

LEAST_mL, MOST_mL, FIRST_mL, GROWTH = 0.02, 0.5, 0.1, 2.0


def controlled(curve: FamilyCurve, aim_mV: float = 15.0) -> PerfectBench:
    """A run to its end by the adaptive rule, with as many jumps sought as the reaction has steps."""
    asked = plan(
        additions=AdaptiveSettings(aim_mV, FIRST_mL, LEAST_mL, MOST_mL, GROWTH),
        jumps_sought=len(curve.points_mL),
        least_rise_mV=3.0 * aim_mV,
        direction="rising" if curve.reaction.rising else "falling",
        time_over_s=20_000.0,
        volume_above_mL=1.6 * curve.points_mL[-1],
    )
    electrode = replace(
        asked.electrode,
        start_low_mV=-1500.0,
        start_high_mV=1500.0,
        answers_within_mL=curve.points_mL[0] / 2.0,
        indicator=curve.reaction.indicators[0],
    )
    asked = replace(asked, electrode=electrode, motion=replace(asked.motion, random_error_mL=0.001))
    bench = PerfectBench(Controller(asked), curve.potential_mV)
    bench.run(200_000)
    return bench
