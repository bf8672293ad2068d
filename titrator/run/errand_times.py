"""How long a refill and a priming take on a rig, and after how long they have failed."""

from __future__ import annotations

import math
from typing import Final

from titrator.bench.rig import BuretteSection
from titrator.control.plan import Errand, PrimingSettings

VALVE_S: Final = 2.0
"""A usual turn of a motor valve (common practice: one to two seconds)."""
VALVE_WITHIN_S: Final = 10.0
"""A board tells a fault long before; twice the five seconds that the simulated one allows."""
REPORT_WITHIN_S: Final = 5.0
"""Grace for the report of the end, as for a dose."""


def refill_errand(burette: BuretteSection) -> Errand:
    """A refill of a whole stroke."""
    drawn_s = 60.0 * (burette.stroke_mL + burette.backlash_mL) / burette.filling_speed_mL_per_min
    rest_s = burette.settle_after_refill_s
    return Errand(
        takes_s=drawn_s + rest_s + 2 * VALVE_S,
        within_s=1.5 * drawn_s + rest_s + 2 * VALVE_WITHIN_S + REPORT_WITHIN_S,
    )


def priming_settings(burette: BuretteSection, purge_mL: float, *, empty_first: bool) -> PrimingSettings:
    """A purge over waste. `purge_mL` in mL, greater than 0; `empty_first` where the rig holds another titrant."""
    refills = 1 + empty_first + math.ceil(purge_mL / (burette.stroke_mL - burette.backlash_mL))
    pushed_s = 60.0 * (purge_mL + burette.stroke_mL * empty_first) / burette.filling_speed_mL_per_min
    refill = refill_errand(burette)
    errand = Errand(refills * refill.takes_s + pushed_s, refills * refill.within_s + 1.5 * pushed_s + REPORT_WITHIN_S)
    return PrimingSettings(purge_mL, empty_first, errand)
