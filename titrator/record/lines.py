"""What the lines of a journal must hold for it to be evaluated: field by field, kind by kind."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final


@dataclass(frozen=True, slots=True)
class Expected:
    """What a field may hold, and in words. An `optional` field may be missing."""

    words: str
    holds: Callable[[Any], bool]
    optional: bool = False


def _is_number(value: Any) -> bool:
    try:
        return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    except OverflowError:  # an integer beyond doubles
        return False


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


_NUMBER: Final = Expected("a finite number", _is_number)
_NOT_NEGATIVE: Final = Expected("a finite number, not negative", lambda value: _is_number(value) and value >= 0)
_COUNT: Final = Expected("a whole number, not negative", lambda value: _is_whole(value) and _is_number(value))
_SEED: Final = Expected("a whole number, not negative", _is_whole, optional=True)  # may be of any size
_TEXT: Final = Expected("a text", lambda value: isinstance(value, str))
_BOOLEAN: Final = Expected("true or false", lambda value: isinstance(value, bool))
_MORE: Final = Expected(_BOOLEAN.words, _BOOLEAN.holds, optional=True)

FIELDS: Final[Mapping[str, Mapping[str, Expected]]] = {
    "run": {
        "simulated": _BOOLEAN,
        "seed": _SEED,
        "method_sha256": _TEXT,
        "burette.random_error_mL": _NOT_NEGATIVE,
        "burette.calibration_half_width": _NOT_NEGATIVE,
    },
    "state": {"state": _TEXT, "why": _TEXT},
    "intent": {"dose": _COUNT, "volume_mL": _NUMBER, "more": _MORE},
    "outcome": {"dose": _COUNT, "volume_mL": _NUMBER},
    "halt": {"volume_mL": _NUMBER},
    "uncertain": {"why": _TEXT, "low_mL": _NUMBER, "high_mL": _NUMBER},
    "session": {"within_steps": _COUNT},
    "readings": {"missed": _COUNT},
    "point": {
        "number": _COUNT,
        "t_s": _NUMBER,
        "volume_mL": _NUMBER,
        "potential_mV": _NUMBER,
        "sd_mV": _NOT_NEGATIVE,
        "drift_mV_per_s": _NUMBER,
        "drift_sd_mV_per_s": _NOT_NEGATIVE,
        "remainder_bound_mV": _NOT_NEGATIVE,
        "lacking_mV": _NUMBER,
        "lacking_sd_mV": _NOT_NEGATIVE,
        "settled": _BOOLEAN,
        "waited_s": _NUMBER,
        "readings": _COUNT,
    },
    "passing": {
        "t_s": _NUMBER,
        "volume_mL": _NUMBER,
        "potential_mV": _NUMBER,
        "sd_mV": _NOT_NEGATIVE,
        "speed_mL_per_s": _NUMBER,
        "reached_mL": _NUMBER,
        "readings": _COUNT,
    },
    "end": {"state": _TEXT, "why": _TEXT, "volume_mL": _NUMBER},
}
"""By kind and field; `burette.random_error_mL` means that field of the mapping `burette`. Further fields, and kinds
that the evaluation does not read, are free."""


def misfits(line: Mapping[str, Any]) -> Iterator[str]:
    """What is wrong with the fields of `line`, in words: `field: expected …, got …`."""
    if not _is_number(line["t_ms"]):
        yield "t_ms: expected milliseconds, got a number beyond them"
    for name, expected in FIELDS.get(line["kind"], {}).items():
        value: Any = line
        for part in name.split("."):
            value = value.get(part, ...) if isinstance(value, Mapping) else ...
        if value is ... and expected.optional:
            continue
        if not expected.holds(value):
            yield f"{name}: expected {expected.words}, got {'nothing' if value is ... else repr(value)[:60]}"
