"""What may be tuned: for each rule the keys of a method, how far each may be turned, and where one begins.

Limits and beginnings are derived from what method and rig state: noise, lags, the burette's error and the expected
volume. A rule is tuned once the method file knows it (`titrator.method.additions`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, get_args

from titrator.bench.rig import Rig
from titrator.control.settling.settings import REMAINDER_OVER_NOISE
from titrator.files.keys import fields_by_key, models_in
from titrator.method import Method
from titrator.method.additions import Additions
from titrator.method.plausible import DROP_mL, expected_points_mL
from titrator.method.told_drift import least_told_drift_mV_per_s
from titrator.run.fits import ERRORS_APART, ERRORS_PER_ADDITION, STEPS_PER_AIM

DIGITS: Final = 2
"""A setting is written with so many significant digits: finer differences cannot be told from scatter."""
UNITS: Final = {"_mV_per_s": " mV/s", "_mV": " mV", "_mL": " mL", "_s": " s"}
"""By the end of an attribute's name: the unit in which its key is written."""


@dataclass(frozen=True, slots=True)
class Scale:
    """The sizes that a method and a rig state, from which all limits follow.

    `least_mL`: the smallest addition that burette and tip allow, `apart_mL` that about a foreseen jump. `jump_mL`:
    volume to the first point of the weakest sample expected, `whole_mL` that to the last point of a middling one;
    without an expectation a third and two thirds of what the method may add. `wait_s`: mixing and response together.
    """

    noise_mV: float
    converter_mV: float
    random_error_mL: float
    step_mL: float
    least_mL: float
    apart_mL: float
    jump_mL: float
    whole_mL: float
    mixing_s: float
    wait_s: float
    longest_wait_s: float
    drift_mV_per_s: float
    told_drift_mV_per_s: float

    @classmethod
    def of(cls, method: Method, rig: Rig) -> Scale:
        """Return the sizes of a method on a rig."""
        reading, burette, amplifier = method.reading, rig.burette, rig.amplifier
        noise_mV = math.hypot(reading.noise_mV, amplifier.step_mV / math.sqrt(12.0))
        drop_mL = DROP_mL if method.vessel.tip == "above" else 0.0
        least_mL, apart_mL = (
            max(burette.step_mL, errors * burette.random_error_mL, drop_mL)
            for errors in (ERRORS_PER_ADDITION, ERRORS_APART)
        )
        expected = expected_points_mL(method.sample, method.titrant, method.reaction)
        told = least_told_drift_mV_per_s(
            noise_mV=noise_mV,
            response_s=reading.response_s,
            mixing_s=reading.mixing_s,
            longest_wait_s=reading.longest_wait_s,
            readings_per_second=amplifier.readings_per_second,
        )
        return cls(
            noise_mV=noise_mV,
            converter_mV=amplifier.step_mV,
            random_error_mL=burette.random_error_mL,
            step_mL=burette.step_mL,
            least_mL=least_mL,
            apart_mL=apart_mL,
            jump_mL=expected[0][0] if expected else method.ends_when.volume_above_mL / 3.0,
            whole_mL=_whole_mL(method, expected),
            mixing_s=reading.mixing_s,
            wait_s=reading.mixing_s + reading.response_s,
            longest_wait_s=reading.longest_wait_s,
            drift_mV_per_s=REMAINDER_OVER_NOISE * noise_mV / reading.response_s,  # as docs/settling.md derives it
            told_drift_mV_per_s=told,
        )


@dataclass(frozen=True, slots=True)
class Dial:
    """A key that is tuned. `limits` and `begin` are functions of the scale, in the unit of the key."""

    section: str
    key: str
    limits: Callable[[Scale], tuple[float, float]]
    begin: Callable[[Scale], float]
    whole: bool = False

    @property
    def way(self) -> str:
        """Return the key as it is told: `additions.aim`."""
        return f"{self.section}.{self.key}"

    def bounds(self, scale: Scale) -> tuple[float, float]:
        """Return both limits, the upper one above the lower one."""
        low, high = self.limits(scale)
        return low, max(high, low + 1 if self.whole else 1.1 * low)


def _whole_mL(method: Method, expected: list[tuple[float, float]]) -> float:
    sought = method.find.equivalence_points
    if 1 <= sought <= len(expected):
        return math.sqrt(math.prod(expected[sought - 1]))
    return method.ends_when.volume_above_mL / 1.5


def _largest(scale: Scale) -> float:
    return max(scale.jump_mL / 4.0, 2.0 * scale.least_mL)


_AIM = Dial(
    "additions", "aim",
    lambda s: (max(6.0 * s.noise_mV, STEPS_PER_AIM * s.converter_mV), max(80.0, 12.0 * s.noise_mV)),
    lambda s: max(25.0, 12.0 * s.noise_mV),
)  # fmt: skip
_FIRST = Dial("additions", "first", lambda s: (s.least_mL, _largest(s)), lambda s: max(s.jump_mL / 120, s.least_mL))
_LEAST = Dial("additions", "least", lambda s: (s.least_mL, 8.0 * s.least_mL), lambda s: 2.0 * s.least_mL)
_MOST = Dial(
    "additions", "most",
    lambda s: (max(s.jump_mL / 60.0, s.least_mL), _largest(s)),
    lambda s: max(s.jump_mL / 12.0, 2.0 * s.least_mL),
)  # fmt: skip
_GROWTH = Dial("additions", "growth", lambda _: (1.2, 6.0), lambda _: 2.0)
_STEP = Dial(
    "additions", "step",
    lambda s: (max(s.whole_mL / 400.0, s.least_mL), max(s.whole_mL / 30.0, 2.0 * s.least_mL)),
    lambda s: max(s.whole_mL / 150.0, s.least_mL),
)  # fmt: skip
_NEAR = Dial("additions", "near", lambda _: (3, 9), lambda _: 4, whole=True)
_PATIENCE = Dial("additions", "patience", lambda _: (0.05, 2.0), lambda _: 0.4)
_FAR = Dial("additions", "far", lambda s: (s.noise_mV, 20.0 * s.noise_mV), lambda s: 4.0 * s.noise_mV)
_FINEST = Dial(
    "additions", "finest",
    lambda s: (s.apart_mL, 4.0 * s.apart_mL),
    lambda s: s.apart_mL,
)  # fmt: skip
_DRIFT = Dial(
    "reading", "drift_below",
    lambda s: (max(0.1 * s.drift_mV_per_s, 1.1 * s.told_drift_mV_per_s), 10.0 * s.drift_mV_per_s),
    lambda s: max(s.drift_mV_per_s, 1.1 * s.told_drift_mV_per_s),
)  # fmt: skip
_LEAST_WAIT = Dial(
    "reading", "least_wait",
    lambda s: (max(1.0, s.mixing_s), min(3.0 * s.wait_s, s.longest_wait_s)),
    lambda s: min(max(3.0, 2.0 * s.mixing_s), s.longest_wait_s),
)  # fmt: skip

SETTLING: Final = (_DRIFT, _LEAST_WAIT)
DIALS: Final[dict[str, tuple[Dial, ...]]] = {
    "foreseeing": (_NEAR, _PATIENCE, _FAR, _FINEST, _MOST, _LEAST_WAIT),
    "adaptive": (_AIM, _FIRST, _LEAST, _MOST, _GROWTH, *SETTLING),
    "fixed": (_STEP, *SETTLING),
}
"""By rule: what is tuned. A key of the rule that is not here stays as the method has it, or begins as `BEGIN` says."""
BEGIN: Final = {
    dial.key: dial for dial in (_AIM, _FIRST, _LEAST, _MOST, _GROWTH, _STEP, _NEAR, _PATIENCE, _FAR, _FINEST)
}
"""Where a key of a rule begins that the method does not have."""


def rules() -> dict[str, type[Any]]:
    """Return the rules that a method file may name, each with its section's model."""
    models = models_in(get_args(Additions)[0])
    return {get_args(model.model_fields["rule"].annotation)[0]: model for model in models}


def tunable() -> tuple[str, ...]:
    """Return the rules that can be tuned, the most promising first."""
    known = rules()
    return tuple(rule for rule in DIALS if rule in known)


def written(value: float, unit: str, *, digits: int | None = DIGITS) -> str:
    """Return a value as it is written in a file: rounded to significant digits (None: not at all), with its unit."""
    if digits is not None and value:
        value = round(value, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:.12g}{unit}"


def unit_of(section: type[Any], key: str) -> str:
    """Return the unit of a key with the blank before it, "" for a plain number."""
    attribute, _ = fields_by_key(section)[key]
    return next((unit for end, unit in UNITS.items() if attribute.endswith(end)), "")


def attribute_of(section: Any, key: str) -> Any:
    """Return the value of a section's key in the program's unit, None where it is not stated or the rule has none."""
    known = fields_by_key(type(section))
    return getattr(section, known[key][0]) if key in known else None
