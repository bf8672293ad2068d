"""Is a living electrode connected? A dead input settles at once and must not look like a titration."""

from __future__ import annotations

import math
from dataclasses import dataclass

from titrator.control.direction import Direction
from titrator.control.electrode_causes import of_silence, of_start
from titrator.control.ends import Cause, Ending
from titrator.control.point import Point

_SHORTED_MV = 2.0
"""A shorted input reads zero within the amplifier's offset (common practice: a millivolt or two)."""
_RAIL_SHARE = 0.005
"""An input within this share of the range's span from either end is taken as being at the rail."""
_RAIL_READINGS = 10
"""Readings in a row at a rail before the run ends: one second's worth, so that a spark of static does not end it."""
_NOISE_TIMES = 20.0
"""An open input picks up mains hum and static: tens of times the noise that the method states."""
_ANSWER_SDS = 6.0
"""A response must stand this many standard deviations above the noise of the readings that it is judged by."""


@dataclass(frozen=True, slots=True)
class ElectrodeExpectation:
    """What a living electrode does. Potentials against the method's reference electrode.

    `indicator` is the calling name of its kind and `direction` that of the curve; both only choose the words.
    """

    start_low_mV: float
    start_high_mV: float
    answers_within_mL: float
    noise_mV: float
    rail_low_mV: float
    rail_high_mV: float
    indicator: str = "platinum"
    direction: Direction = "rising"


_ANSWER_NOISES = 10.0
"""…and this many times the noise of one reading, so that slow drift of a dead input is no answer. The first drops
change the potential of a living redox electrode by tens of millivolts; where a curve begins flat (strong acid, silver,
EDTA) the method names a larger volume."""


class ElectrodeWatch:
    """Judges readings (rails, hum) and points (start window, response)."""

    def __init__(self, expectation: ElectrodeExpectation) -> None:
        self._expected = expectation
        self._initial: Point | None = None
        self._answered = False
        self._at_rail = 0
        margin_mV = _RAIL_SHARE * (expectation.rail_high_mV - expectation.rail_low_mV)
        self._low_mV, self._high_mV = expectation.rail_low_mV + margin_mV, expectation.rail_high_mV - margin_mV
        self._last_mV: float | None = None
        self._hum_sum = 0.0
        self._hum_count = 0

    def add_reading(self, potential_mV: float) -> Ending | None:
        """Called for every reading of the run, in every state; cheap."""
        if self._low_mV < potential_mV < self._high_mV:
            self._at_rail = 0
        else:
            self._at_rail += 1
            if self._at_rail >= _RAIL_READINGS:
                return self._ending(
                    f"the electrode input has been at the end of its range ({potential_mV:.0f} mV)",
                    "electrode or cable not connected; reference electrode dry or its filling hole closed; amplifier "
                    "without supply",
                )
        if self._initial is None:
            if self._last_mV is not None:
                self._hum_sum += (potential_mV - self._last_mV) ** 2
                self._hum_count += 1
            self._last_mV = potential_mV
        return None

    def add_point(self, point: Point) -> Ending | None:
        """Called for every logged point."""
        if self._initial is None:
            self._initial = point
            return self._judge_start(point)
        if not self._answered:
            return self._judge_answer(point, self._initial)
        return None

    def _judge_start(self, point: Point) -> Ending | None:
        expected = self._expected
        # Successive differences of white noise have twice its variance; drift adds next to nothing between readings.
        hum_mV = math.sqrt(self._hum_sum / (2.0 * self._hum_count)) if self._hum_count else 0.0
        if hum_mV > _NOISE_TIMES * expected.noise_mV:
            return self._ending(
                f"the initial readings scatter by {hum_mV:.1f} mV where the method states {expected.noise_mV:g} mV",
                "electrode not connected or its cable broken (an open input picks up hum); shield not earthed; tip of "
                "the electrode above the liquid",
            )
        if expected.start_low_mV <= point.potential_mV <= expected.start_high_mV:
            return None
        found = (
            f"the initial potential of {point.potential_mV:.1f} mV lies outside the plausible window of "
            f"{expected.start_low_mV:g} to {expected.start_high_mV:g} mV"
        )
        if abs(point.potential_mV) <= _SHORTED_MV:
            return self._ending(found, "input shorted; electrode plugs not pushed home; indicator and reference joined")
        high = point.potential_mV > expected.start_high_mV
        return self._ending(found, of_start(expected.indicator, expected.direction, high=high))

    def _judge_answer(self, point: Point, initial: Point) -> Ending | None:
        change_mV = abs(point.potential_mV - initial.potential_mV)
        noise_mV = math.hypot(point.sd_mV, initial.sd_mV)
        if change_mV > max(_ANSWER_SDS * noise_mV, _ANSWER_NOISES * self._expected.noise_mV):
            self._answered = True
            return None
        if point.volume_mL < self._expected.answers_within_mL:
            return None
        return self._ending(
            f"the potential has changed by only {change_mV:.2f} mV after {point.volume_mL:.3f} mL of titrant",
            of_silence(self._expected.indicator),
        )

    @staticmethod
    def _ending(found: str, causes: str) -> Ending:
        return Ending(Cause.ELECTRODE, f"{found}. Likely causes: {causes}.")
