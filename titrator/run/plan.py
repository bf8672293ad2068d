"""From method and rig to the controller's plan: the one place where a file's words become the controller's numbers."""

from __future__ import annotations

from titrator.bench.rig import Rig
from titrator.control.direction import Direction
from titrator.control.electrode_watch import ElectrodeExpectation
from titrator.control.increments import AdaptiveSettings, ForeseeingSettings
from titrator.control.plan import EndSettings, FixedSettings, MotionSettings, Plan, PrimingSettings
from titrator.control.settling import SettlingSettings
from titrator.method import Method
from titrator.run.errand_times import refill_errand
from titrator.run.foresight import foresight_of
from titrator.run.potentials import jumps_between_mV

HALT_WITHIN_S = 3.0
"""A halt is answered within the link's attempts, a second in all; three times that leaves no doubt that it failed."""
REPORT_WITHIN_S = 5.0
"""Grace for the report of a finished dose, beyond half again its reckoned duration: a few lost frames and repeats."""
JUMP_RISE_AIMS = 3.0
"""A jump must rise by this many aimed changes between the foot of its climb and the point that ends it: an adaptive
rule that meets its aim has logged three points on it by then, so one bad reading cannot make a jump (derived)."""
FAR_IN_NOISES = 3.0
"""An error that serves far from the jump, where the method states none: then a second or two of readings are enough
(simulated, iron and chloride: two thirds of it take 2 % longer, four thirds err by 2 % more)."""
FIXED_RISE_MV = 60.0
"""The same for fixed additions, which have no aim: three Nernst steps RT/F (25 mV) short of nothing (derived)."""


def plan_for(
    method: Method, rig: Rig, *, priming: PrimingSettings | None = None, sample_in_place: bool = False
) -> Plan:
    """The plan of a run of `method` on `rig`, which must fit each other (see `titrator.run.fits`).

    `priming` (see `titrator.run.errand_times`) goes before it, and never with `sample_in_place`: ValueError.
    """
    ends, amplifier = method.ends_when, rig.amplifier
    return Plan(
        additions=_additions(method),
        settling=_settling(method, rig),
        electrode=ElectrodeExpectation(
            start_low_mV=method.electrode.start_window_mV[0],
            start_high_mV=method.electrode.start_window_mV[1],
            answers_within_mL=method.electrode.answers_within_mL,
            noise_mV=method.reading.noise_mV,
            rail_low_mV=amplifier.range.low_mV,
            rail_high_mV=amplifier.range.high_mV,
            indicator=method.electrode.indicator,
            direction=direction_of(method),
        ),
        ends=EndSettings(
            volume_above_mL=ends.volume_above_mL,
            potential_beyond_mV=ends.potential_beyond_mV,
            time_over_s=ends.time_over_s,
            points_past_jump=ends.readings_past_jump,
            jumps_sought=method.find.equivalence_points,
            least_rise_mV=least_rise_mV(method),
            jumps_between_mV=jumps_between_mV(method)[: method.find.equivalence_points],
            direction=direction_of(method),
        ),
        motion=MotionSettings(
            speed_mL_per_s=rig.burette.top_speed_mL_per_min / 60.0,
            step_mL=rig.burette.step_mL,
            report_within_s=REPORT_WITHIN_S,
            halt_within_s=HALT_WITHIN_S,
            refill=refill_errand(rig.burette) if rig.burette.refills else None,
            random_error_mL=rig.burette.random_error_mL,
        ),
        priming=priming,
        sample_in_place=sample_in_place,
        foresight=foresight_of(method, rig) if method.additions.rule == "foreseeing" else None,
    )


def _additions(method: Method) -> AdaptiveSettings | FixedSettings | ForeseeingSettings:
    additions = method.additions
    if additions.rule == "fixed":
        return FixedSettings(additions.step_mL)
    adaptive = AdaptiveSettings(
        aim_mV=additions.aim_mV,
        first_mL=additions.begins_with_mL,
        least_mL=additions.least_mL,
        most_mL=additions.most_mL,
        growth=additions.growth,
    )
    if additions.rule == "adaptive":
        return adaptive
    far_mV = additions.far_mV or FAR_IN_NOISES * method.reading.noise_mV
    return ForeseeingSettings(adaptive, additions.near, additions.patience, far_mV, additions.finest_mL)


def least_rise_mV(method: Method) -> float:
    """How high a jump is at least that counts while the run goes on."""
    additions = method.additions
    return FIXED_RISE_MV if additions.rule == "fixed" else JUMP_RISE_AIMS * additions.aim_mV


def direction_of(method: Method) -> Direction:
    """Which way the potential of the method's electrode goes, as the table of reactions tells."""
    reaction = method.reaction.known
    if reaction is None:
        return "unknown"
    return "rising" if reaction.rising else "falling"


def _settling(method: Method, rig: Rig) -> SettlingSettings:
    reading = method.reading
    return SettlingSettings(
        noise_mV=reading.noise_mV,
        resolution_mV=rig.amplifier.step_mV,
        response_s=reading.response_s,
        mixing_s=reading.mixing_s,
        least_s=reading.least_wait_s,
        longest_s=reading.longest_wait_s,
        drift_limit_mV_per_s=reading.drift_below_mV_per_s,
    )
