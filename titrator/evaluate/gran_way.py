"""Gran's lines as one more way to place a point, and as an estimate where a titration was stopped before it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from titrator.evaluate.choice import Stretch
from titrator.evaluate.curve import Curve, FloatArray, SignalUnit
from titrator.evaluate.evaluation import Estimate, Way
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.gran import GranKind, GranLine, GranSettings, as_estimate, gran_lines, meeting

UNSEEN = 0.001
"""Half width, relative to the volume, of what bends a line too little to be seen: side reactions, carbonate, activity
coefficients (common practice, no source)."""
WORST_RELATIVE_U = 0.1
"""A line of one branch that is more uncertain than this says nothing."""
FURTHEST = 3.0
"""Nor does one whose zero lies further than so many times the volume delivered."""


def gran_kind(expectation: Expectation) -> tuple[GranKind | None, str]:
    """Return which functions are straight for the reaction, or None and the reason why none is."""
    if expectation.model is None:
        return None, "the kind of reaction is not known: a method tells it"
    if expectation.own_slopes:
        return None, "the electrode follows one of the couples slowly: its slope is not known well enough for a line"
    if expectation.model == "exchange":
        return None, "the electrode follows another metal than the one titrated"
    if expectation.model == "acid" and expectation.sites > 1:
        return None, "several protons are taken at one point: no function of the pH is straight"
    kinds: dict[str, GranKind] = {
        "redox": "redox",
        "symmetric": "precipitation",  # the same functions as those of a strong acid or base
        "acid": "weak",
        "complexation": "complexation",
    }
    return kinds[expectation.model], ""


def gran_settings(expectation: Expectation, start_mL: float, unit: SignalUnit) -> GranSettings:
    """Return what the lines need of the method; `start_mL`: the equivalence point before, or the burette's zero."""
    vessel = None if expectation.vessel_mL is None else expectation.vessel_mL + start_mL
    in_mV = unit == "mV"
    redox = expectation.model == "redox"
    return GranSettings(
        vessel_mL=vessel,
        start_mL=start_mL,
        slope=expectation.slope_mV if in_mV else None,
        u_slope=expectation.slope_sd_mV if in_mV else None,
        electrons=(expectation.analyte_electrons, expectation.titrant_electrons) if redox else (1, 1),
        sd_volume_mL=expectation.sd_volume_mL or 0.0,
    )


def _unseen_mL(volume_mL: float) -> float:
    """Return the standard uncertainty by what a line does not see."""
    return UNSEEN / math.sqrt(3.0) * abs(volume_mL)


def _with_what_it_does_not_see(line: GranLine, start_mL: float) -> GranLine:
    """Return the line with that in its uncertainty and interval."""
    if line.volume_mL is None or not line.u_mL or line.interval_95_mL is None:
        return line
    value, u = line.volume_mL, math.hypot(line.u_mL, _unseen_mL(line.volume_mL - start_mL))
    low, high = (value + (end - value) * u / line.u_mL for end in line.interval_95_mL)
    return replace(line, u_mL=u, interval_95_mL=(low, high))


def _lines(stretch: Stretch, expectation: Expectation, start_mL: float, jump_mL: float) -> list[GranLine] | str:
    kind, reason = gran_kind(expectation)
    if kind is None:
        return reason
    data = stretch.data
    curve = Curve(data.volume_mL, data.signal, stretch.unit)
    settings = gran_settings(expectation, start_mL, stretch.unit)
    drawn = gran_lines(curve, kind, settings, sd_signal=data.sd_signal, jump_mL=jump_mL, sign=1)
    lines = [_with_what_it_does_not_see(line, start_mL) for line in drawn]
    if expectation.next_step:
        told = "another analyte follows: the branch behind is its own and no line of titrant in excess"
        lines = [line if line.side == "before" else GranLine("behind", reason=told) for line in lines]
    return lines


def gran_way(stretch: Stretch, expectation: Expectation, start_mL: float, jump_mL: float) -> Way:
    """Return where the lines of both branches of a jump meet, or why they do not.

    `start_mL`: the equivalence point before this one (0: this is the first). Beside what the readings tell, the
    uncertainty holds what a line does not see of side reactions.
    """
    lines = _lines(stretch, expectation, start_mL, jump_mL)
    found = lines if isinstance(lines, str) else meeting(lines)
    if isinstance(found, str):
        return Way("gran", stretch.number, reason=found)
    volume, u = found
    return Way("gran", stretch.number, volume, max(u, _unseen_mL(volume - start_mL)))


def gran_estimate_at(stretch: Stretch, expectation: Expectation, start_mL: float, jump_mL: float) -> Estimate | str:
    """Return what the lines say of a point that a method means to extrapolate to, or why there is nothing.

    Where both meet, their meeting; else the line before alone, which holds when something else takes titrant behind.
    """
    lines = _lines(stretch, expectation, start_mL, jump_mL)
    if isinstance(lines, str):
        return lines
    met = meeting(lines)
    if not isinstance(met, str):
        volume, u = met[0], max(met[1], _unseen_mL(met[0] - start_mL))
        reason = "extrapolated, as the method means to: where the straight lines of both branches meet"
        return Estimate(volume, u, (volume - 2.0 * u, volume + 2.0 * u), "gran", reason)
    before = lines[0]
    one = as_estimate(before, f"extrapolated, as the method means to: the line before the point alone ({met})")
    return one if one is not None else before.reason


def gran_before(ordered: Curve, sd_signal: FloatArray, expectation: Expectation, reason: str) -> Estimate | None:
    """Return where the line of a titration that was stopped too early crosses zero, or None where there is none.

    `reason` says why there is no point. Only what lies beyond the readings is an estimate of this kind.
    """
    kind, _ = gran_kind(expectation)
    if kind is None or len(ordered) < 2 or np.ptp(ordered.signal) <= 0.0:
        return None
    sign = None
    if expectation.rising is not None:
        sign = 1 if expectation.rising == (ordered.signal_unit == "mV") else -1
    settings = gran_settings(expectation, 0.0, ordered.signal_unit)
    (line,) = gran_lines(ordered, kind, settings, sd_signal=sd_signal, sign=sign)
    found = as_estimate(_with_what_it_does_not_see(line, 0.0), "extrapolated: " + reason)
    last = float(ordered.volume_mL[-1])
    if found is None or not last < found.volume_mL < FURTHEST * last:
        return None
    return found if found.u_random_mL < WORST_RELATIVE_U * found.volume_mL else None
