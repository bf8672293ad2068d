"""The rules that a plan asks for."""

from __future__ import annotations

from titrator.control.ends import EndRule, EnoughPoints, PotentialBeyond, VolumeReached
from titrator.control.increments import (
    Adaptive,
    AdaptiveSettings,
    Fixed,
    Foreseeing,
    ForeseeingSettings,
    IncrementRule,
)
from titrator.control.jumps import JumpWatch
from titrator.control.plan import Plan


def increment_rule(plan: Plan) -> IncrementRule:
    """What volume next."""
    if isinstance(plan.additions, ForeseeingSettings):
        return Foreseeing(plan.additions, plan.foresight, plan.motion.random_error_mL)
    if isinstance(plan.additions, AdaptiveSettings):
        return Adaptive(plan.additions, plan.motion.random_error_mL)
    return Fixed(plan.additions.step_mL)


def jump_watch(plan: Plan) -> JumpWatch:
    """What counts the jumps."""
    ends = plan.ends
    return JumpWatch(ends.least_rise_mV, plan.motion.random_error_mL, ends.jumps_between_mV, ends.direction)


def end_rules(plan: Plan) -> list[EndRule]:
    """When it is enough, the rule that decides first in front."""
    ends = plan.ends
    least_mL = _least_mL(plan)
    rules: list[EndRule] = [
        EnoughPoints(jump_watch(plan), ends.jumps_sought, ends.points_past_jump),
        VolumeReached(ends.volume_above_mL, least_mL),
    ]
    if ends.potential_beyond_mV is not None:
        rules.append(PotentialBeyond(ends.potential_beyond_mV))
    return rules


def _least_mL(plan: Plan) -> float:
    """The least addition that the rule makes."""
    if isinstance(plan.additions, ForeseeingSettings):
        return plan.additions.finest_mL
    return plan.additions.least_mL if isinstance(plan.additions, AdaptiveSettings) else plan.additions.step_mL
