"""What was decided long ago because the computer slept: nothing is set in motion by that any more."""

from __future__ import annotations

from titrator.control.actions import Action, MoveTo, Prime, Refill
from titrator.control.plan import MotionSettings


def why_too_late(action: Action, late_s: float, motion: MotionSettings) -> str:
    """Why `action` is not to be carried out, `late_s` after the reading that it was decided on; empty where it is.

    A motion that begins half of the patience late would be called overdue by the next reading that comes, though
    nothing is wrong with it; and what was read then may have drifted since.
    """
    if not isinstance(action, MoveTo | Refill | Prime) or late_s <= 0.5 * motion.report_within_s:
        return ""
    return f"what comes next was decided {late_s:.0f} s too late: this computer slept or was busy"
